use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "alert")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub lot_id: Uuid,
    pub crop: String,
    pub kind: String,
    pub part: String,
    pub raised_by: Uuid,
    pub words: String,
    pub pest: String,
    pub carriers: String,
    pub since_day: Option<i64>,
    pub seen_day: i64,
    pub trace_back: bool,
    pub state: String,
    pub ruling: String,
    pub lifted_why: String,
    pub version: i64,
    pub created_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
