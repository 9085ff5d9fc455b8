use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "record_event")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub seq: i64,
    pub cultivar_id: Option<Uuid>,
    pub crop: String,
    pub at: i64,
    pub actor_id: Option<Uuid>,
    pub action: String,
    pub subject: String,
    pub why: String,
    pub detail: String,
    pub version: Option<i64>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
