use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "plan")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub account_id: Uuid,
    pub cultivar_id: Uuid,
    pub crop: String,
    pub title: String,
    pub note: String,
    pub way: String,
    pub south: bool,
    pub climate: String,
    pub has_rootstock: bool,
    pub start_day: i64,
    pub steps: String,
    pub version: i64,
    pub created_at: i64,
    pub updated_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
