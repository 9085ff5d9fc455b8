use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "round_share")]
pub struct Model {
    pub round_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub round_lot_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub wish_id: Uuid,
    pub units: i64,
    #[sea_orm(primary_key, auto_increment = false)]
    pub claim_id: Uuid,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
