//! Adds what tells which counts and which plants are missing: how often each record is looked up in a day, and
//! whether a member lets their plants be counted.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0020_what_is_missing"
    }
}

fn count_plants() -> ColumnDef {
    col::flag("count_plants").default(false).to_owned()
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        // Who looked is not kept.
        let columns = vec![col::id("cultivar_id"), col::number("day"), col::number("looks")];
        manager
            .create_table(
                table("look_up_day", columns)
                    .primary_key(Index::create().col(Alias::new("cultivar_id")).col(Alias::new("day")))
                    .foreign_key(&mut reference("look_up_day", "cultivar_id", "cultivar"))
                    .to_owned(),
            )
            .await?;
        index(manager, "look_up_day", &["day"], false).await?;
        let mut count_plants = count_plants();
        manager
            .alter_table(Table::alter().table(Alias::new("profile")).add_column(&mut count_plants).to_owned())
            .await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let column = Alias::new(count_plants().get_column_name());
        manager
            .alter_table(Table::alter().table(Alias::new("profile")).drop_column(column).to_owned())
            .await?;
        drop_tables(manager, &["look_up_day"]).await
    }
}
