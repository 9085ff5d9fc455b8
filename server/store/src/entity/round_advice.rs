use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "round_advice")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub round_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub from_area: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub to_area: String,
    pub asked: String,
    pub said: String,
    pub by_id: Uuid,
    pub at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
