//! Adds what a swap day needs: reasons kept with a settlement, the log of the day, the packs that came, and
//! the order of equal wishes. A pair of a lot and a taker has one claim that no one has confirmed yet, beside
//! those that a side has.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0018_round_days"
    }
}

fn new_columns() -> Vec<(&'static str, ColumnDef)> {
    vec![
        // Packs that came on the day; null while no one has counted.
        ("round_lot", col::number_or_none("came")),
        // Place on the member's list, which orders wishes of equal rank.
        ("round_wish", col::number("place").default(0).to_owned()),
    ]
}

const ONE_OPEN: &str = "CREATE UNIQUE INDEX uq_claim_round ON claim (round_lot_id, taker_id) WHERE state IN ('waiting', 'accepted')";
const ONE_UNTOUCHED: &str = "CREATE UNIQUE INDEX uq_claim_round ON claim (round_lot_id, taker_id) WHERE state IN ('waiting', 'accepted') AND given_at IS NULL AND taken_at IS NULL";

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let reasons = vec![
            col::id("round_id"),
            col::id("account_id"),
            // JSON: for each wish that is not met, its lots with their reasons.
            col::text("reasons"),
        ];
        manager
            .create_table(
                table("round_reason", reasons)
                    .primary_key(Index::create().col(Alias::new("round_id")).col(Alias::new("account_id")))
                    .foreign_key(&mut reference("round_reason", "round_id", "round"))
                    .foreign_key(&mut reference("round_reason", "account_id", "account"))
                    .to_owned(),
            )
            .await?;
        let events = vec![
            col::id("round_id"),
            col::number("number"),
            col::text("kind"),
            col::id_or_none("round_lot_id"),
            col::id_or_none("account_id"),
            col::number("units"),
            col::text("words"),
            col::id("by_id"),
            col::number("at"),
        ];
        manager
            .create_table(
                table("round_event", events)
                    .primary_key(Index::create().col(Alias::new("round_id")).col(Alias::new("number")))
                    .foreign_key(&mut reference("round_event", "round_id", "round"))
                    .foreign_key(&mut reference("round_event", "by_id", "account"))
                    .to_owned(),
            )
            .await?;
        for (name, mut column) in new_columns() {
            manager
                .alter_table(Table::alter().table(Alias::new(name)).add_column(&mut column).to_owned())
                .await?;
        }
        index(manager, "claim", &["round_lot_id"], false).await?;
        let connection = manager.get_connection();
        connection.execute_unprepared("DROP INDEX uq_claim_round").await?;
        connection.execute_unprepared(ONE_UNTOUCHED).await?;
        Ok(())
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let connection = manager.get_connection();
        connection.execute_unprepared("DROP INDEX uq_claim_round").await?;
        connection.execute_unprepared("DROP INDEX ix_claim_round_lot_id").await?;
        connection.execute_unprepared(ONE_OPEN).await?;
        for (name, column) in new_columns().into_iter().rev() {
            let column = Alias::new(column.get_column_name());
            manager
                .alter_table(Table::alter().table(Alias::new(name)).drop_column(column).to_owned())
                .await?;
        }
        drop_tables(manager, &["round_event", "round_reason"]).await
    }
}
