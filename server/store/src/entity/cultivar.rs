use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "cultivar")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub crop: String,
    pub name: String,
    pub name_key: String,
    pub qualifier: String,
    pub botanical_name: String,
    pub rank: String,
    pub origin: String,
    pub notes: String,
    pub catalogue: Option<String>,
    pub version: i64,
    pub created_at: i64,
    pub updated_at: i64,
    pub pins: String,
    pub locked_why: Option<String>,
    pub merged_into: Option<Uuid>,
    pub curated: bool,
    pub catalogue_key: Option<String>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
