use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "grafts")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub account_id: Uuid,
    pub cultivar_id: Uuid,
    pub crop: String,
    pub method: String,
    pub made_day: i64,
    pub south: bool,
    pub northern_month: i64,
    pub scion_from: String,
    pub rootstock: String,
    pub made: i64,
    pub taken: Option<i64>,
    pub seen_day: Option<i64>,
    pub note: String,
    pub version: i64,
    pub created_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
