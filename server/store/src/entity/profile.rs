use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "profile")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub account_id: Uuid,
    pub home_label: String,
    pub area_code: Option<String>,
    pub grid_code: Option<String>,
    pub contact: String,
    pub imperial: bool,
    pub crop: String,
    pub climate: Option<String>,
    pub count_plants: bool,
    pub version: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
