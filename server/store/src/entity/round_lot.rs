use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "round_lot")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub round_id: Uuid,
    pub offer_id: Uuid,
    pub account_id: Uuid,
    pub number: i64,
    pub units: i64,
    pub per_unit: i64,
    pub gift: bool,
    pub papers: String,
    pub checked_in_at: Option<i64>,
    pub entered_by: Option<Uuid>,
    pub came: Option<i64>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
