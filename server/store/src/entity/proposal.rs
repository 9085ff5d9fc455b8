use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "proposal")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub crop: String,
    pub cultivar_id: Option<Uuid>,
    pub change: String,
    pub change_word: String,
    pub reason: String,
    pub citation: String,
    pub author_id: Uuid,
    pub created_at: i64,
    pub state: String,
    pub ruled_by: Option<Uuid>,
    pub ruled_at: Option<i64>,
    pub ruling: String,
    pub outcome: String,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
