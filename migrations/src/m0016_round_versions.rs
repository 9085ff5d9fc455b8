//! Adds `says_version`, which counts edits of the round's own details. `version` also counts what members do.

use sea_orm_migration::prelude::*;

use crate::col;

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0016_round_versions"
    }
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut column = col::number("says_version").default(1).to_owned();
        manager
            .alter_table(Table::alter().table(Alias::new("round")).add_column(&mut column).to_owned())
            .await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let column = Alias::new("says_version");
        manager.alter_table(Table::alter().table(Alias::new("round")).drop_column(column).to_owned()).await
    }
}
