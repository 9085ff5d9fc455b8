use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "alert_start")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub alert_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub lot_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub part: String,
    pub since_day: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
