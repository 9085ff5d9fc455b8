use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "grower_weight")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub account_id: Uuid,
    pub version: i64,
    pub accuracy_e6: i64,
    pub compared_e3: i64,
    pub right_e3: i64,
    pub borne_out: i64,
    pub doubted: i64,
    pub pieces: i64,
    pub diagnosis_e6: Option<i64>,
    pub diagnosis_items: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
