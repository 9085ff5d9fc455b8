use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "movement_release")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub seq: i64,
    pub note: String,
    pub files: String,
    pub proposed_by: Uuid,
    pub proposed_at: i64,
    pub published_by: Option<Uuid>,
    pub published_at: Option<i64>,
    pub withdrawn_at: Option<i64>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
