use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "lot")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub code: String,
    pub holder_id: Uuid,
    pub crop: String,
    pub cultivar_id: Option<Uuid>,
    pub unknown_seedling: bool,
    pub kind: String,
    pub quantity: i64,
    pub made_day: i64,
    pub source: String,
    pub note: String,
    pub claim_id: Option<Uuid>,
    pub ended_day: Option<i64>,
    pub ended_why: String,
    pub entered_by: Option<Uuid>,
    pub version: i64,
    pub created_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
