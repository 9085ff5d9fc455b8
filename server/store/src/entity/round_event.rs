use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "round_event")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub round_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub number: i64,
    pub kind: String,
    pub round_lot_id: Option<Uuid>,
    pub account_id: Option<Uuid>,
    pub units: i64,
    pub words: String,
    pub by_id: Uuid,
    pub at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
