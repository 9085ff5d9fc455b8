use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "club_invitation")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub club_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub handle_key: String,
    pub words: String,
    pub invited_by: Uuid,
    pub since: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
