use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "look_up_day")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub cultivar_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub day: i64,
    pub looks: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
