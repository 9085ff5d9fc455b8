use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "round_member")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub round_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub account_id: Uuid,
    pub number: i64,
    pub area_code: String,
    pub meeting: bool,
    pub post: bool,
    pub contact: String,
    pub give_more: i64,
    pub absent: bool,
    pub entered_by: Option<Uuid>,
    pub on_sheets: bool,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
