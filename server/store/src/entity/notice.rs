use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "notice")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub seq: i64,
    pub account_id: Uuid,
    pub once: String,
    pub kind: String,
    pub subject: String,
    pub words: String,
    pub at: i64,
    pub read_at: Option<i64>,
    pub mailed_at: Option<i64>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
