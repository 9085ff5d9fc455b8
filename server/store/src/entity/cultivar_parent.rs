use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "cultivar_parent")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub cultivar_id: Uuid,
    pub role: String,
    pub name: String,
    pub disputed: bool,
    pub source_id: String,
    pub note: String,
    pub catalogue: Option<String>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
