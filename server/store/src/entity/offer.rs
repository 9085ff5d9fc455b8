use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "offer")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub account_id: Uuid,
    pub crop: String,
    pub cultivar_id: Uuid,
    pub unknown_seedling: bool,
    pub material: String,
    pub quantity: i64,
    pub unit: String,
    pub terms: String,
    pub from_day: i64,
    pub until_day: i64,
    pub taken_day: Option<i64>,
    pub kept_how: String,
    pub use_by_day: Option<i64>,
    pub promised: i64,
    pub auto_accept: bool,
    pub contact: String,
    pub lot_id: Option<Uuid>,
    pub club_id: Option<Uuid>,
    pub holder_consent: String,
    pub entered_by: Option<Uuid>,
    pub area_code: Option<String>,
    pub grid_code: String,
    pub place_label: String,
    pub latitude_e4: i64,
    pub longitude_e4: i64,
    pub by_collect: bool,
    pub by_meeting: bool,
    pub by_post: bool,
    pub note: String,
    pub search_text: String,
    pub health: String,
    pub withdrawn_at: Option<i64>,
    pub version: i64,
    pub created_at: i64,
    pub updated_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
