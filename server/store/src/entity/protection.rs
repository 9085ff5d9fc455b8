use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "protection")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub cultivar_id: Uuid,
    pub kind: String,
    pub office: String,
    pub reference: String,
    pub area_codes: String,
    pub until_day: Option<i64>,
    pub citation: String,
    pub entered_by: Uuid,
    pub entered_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
