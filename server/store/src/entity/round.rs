use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "round")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub club_id: Uuid,
    pub title: String,
    pub about: String,
    pub place: String,
    pub area_code: String,
    pub day: i64,
    pub gather_until: i64,
    pub settings: String,
    pub phase: String,
    pub commitment: String,
    pub secret: String,
    pub input_hash: Option<String>,
    pub runs: i64,
    pub created_at: i64,
    pub version: i64,
    pub says_version: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
