use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "ticket")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub subject_kind: String,
    pub subject: String,
    pub crop: Option<String>,
    pub reason: String,
    pub author_id: Uuid,
    pub created_at: i64,
    pub closed_at: Option<i64>,
    pub closed_by: Option<Uuid>,
    pub outcome: String,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
