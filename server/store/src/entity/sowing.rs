use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "sowing")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub account_id: Uuid,
    pub cultivar_id: Uuid,
    pub crop: String,
    pub sown_day: i64,
    pub seeds: i64,
    pub tree: String,
    pub note: String,
    pub closed_at: Option<i64>,
    pub closed_why: String,
    pub version: i64,
    pub created_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
