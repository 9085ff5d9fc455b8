//! Adds the events of swap days that were run away from the server and brought home, so that none counts twice, and
//! whether a member's contact may stand on the sheets of a day.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0019_day_events"
    }
}

fn on_sheets() -> ColumnDef {
    col::flag("on_sheets").default(false).to_owned()
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let columns = vec![
            col::id("id"),
            col::id("round_id"),
            // The file that was taken along.
            col::id("take_id"),
            // Who noted it, and when, by the clock of the computer that ran the day.
            col::id("noted_by"),
            col::number("noted_at"),
            // Who brought it home, and when.
            col::id("by_id"),
            col::number("at"),
        ];
        manager
            .create_table(
                table("day_event", columns)
                    .primary_key(Index::create().col(Alias::new("id")))
                    .foreign_key(&mut reference("day_event", "round_id", "round"))
                    .foreign_key(&mut reference("day_event", "by_id", "account"))
                    .to_owned(),
            )
            .await?;
        index(manager, "day_event", &["round_id", "take_id"], false).await?;
        let mut on_sheets = on_sheets();
        manager
            .alter_table(
                Table::alter().table(Alias::new("round_member")).add_column(&mut on_sheets).to_owned(),
            )
            .await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let column = Alias::new(on_sheets().get_column_name());
        manager
            .alter_table(Table::alter().table(Alias::new("round_member")).drop_column(column).to_owned())
            .await?;
        drop_tables(manager, &["day_event"]).await
    }
}
