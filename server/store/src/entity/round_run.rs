use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "round_run")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub round_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub number: i64,
    pub input: String,
    pub input_hash: String,
    pub outcome: Option<String>,
    pub by_id: Uuid,
    pub at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
