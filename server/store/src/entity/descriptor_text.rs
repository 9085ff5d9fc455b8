use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "descriptor_text")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub crop: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub descriptor: String,
    pub label: Option<String>,
    pub question: Option<String>,
    pub observe: Option<String>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
