use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "cultivar_version")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub cultivar_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub version: i64,
    pub content: String,
    pub at: i64,
    pub actor_id: Option<Uuid>,
    pub proposal_id: Option<Uuid>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
