use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "evidence")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub row_key: Option<String>,
    pub crop: String,
    pub cultivar_id: Option<Uuid>,
    pub subject: String,
    pub named_as: String,
    pub descriptor: String,
    pub value: String,
    pub place: String,
    pub source_id: String,
    pub as_stated: String,
    pub note: String,
    pub author_id: Option<Uuid>,
    pub created_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
