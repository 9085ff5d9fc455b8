use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "evidence")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub row_key: Option<String>,
    pub crop: String,
    pub cultivar_id: Option<Uuid>,
    pub subject: String,
    pub named_as: String,
    pub descriptor: String,
    pub value: String,
    pub place: String,
    pub source_id: String,
    pub as_stated: String,
    pub note: String,
    pub author_id: Option<Uuid>,
    pub created_at: i64,
    pub kind: Option<String>,
    pub report_id: Option<Uuid>,
    pub sowing_id: Option<Uuid>,
    pub observed_day: Option<i64>,
    pub area_code: Option<String>,
    pub grid_code: Option<String>,
    pub place_label: String,
    pub tree: String,
    pub method: String,
    pub citation: String,
    pub ended_at: Option<i64>,
    pub ended_why: Option<String>,
    pub replaced_by: Option<Uuid>,
    pub moved: bool,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
