use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "claim")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub offer_id: Uuid,
    pub giver_id: Uuid,
    pub taker_id: Uuid,
    pub quantity: i64,
    pub to_area: String,
    pub note: String,
    pub taker_contact: String,
    pub giver_contact: String,
    pub answer: String,
    pub movement: String,
    pub state: String,
    pub asked_at: i64,
    pub lapses_at: i64,
    pub given_at: Option<i64>,
    pub taken_at: Option<i64>,
    pub giver_missed: String,
    pub taker_missed: String,
    pub entered_by: Option<Uuid>,
    pub version: i64,
    pub round_id: Option<Uuid>,
    pub round_lot_id: Option<Uuid>,
    pub round_units: i64,
    pub round_gift: bool,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
