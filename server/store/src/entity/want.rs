use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "want")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub account_id: Uuid,
    pub crop: String,
    pub cultivar_id: Option<Uuid>,
    pub wishes: String,
    pub materials: String,
    pub grid_code: String,
    pub within_km: i64,
    pub to_area: String,
    pub until_day: i64,
    pub note: String,
    pub withdrawn_at: Option<i64>,
    pub entered_by: Option<Uuid>,
    pub created_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
