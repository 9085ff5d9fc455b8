//! Adds claims on offers.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0007_claims"
    }
}

fn new_columns() -> Vec<(&'static str, ColumnDef)> {
    vec![
        // Sum of accepted and handed-over quantities; never more than `quantity`.
        ("offer", col::number("promised").default(0).to_owned()),
        ("offer", col::flag("auto_accept").default(false).to_owned()),
        // The giver's contact for automatically accepted claims; never shown with the offer.
        ("offer", col::text("contact").default("").to_owned()),
    ]
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for (name, mut column) in new_columns() {
            manager
                .alter_table(Table::alter().table(Alias::new(name)).add_column(&mut column).to_owned())
                .await?;
        }
        manager
            .create_table(
                table(
                    "claim",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("offer_id"),
                        col::id("giver_id"),
                        col::id("taker_id"),
                        col::number("quantity"),
                        col::text("to_area"),
                        col::text("note"),
                        col::text("taker_contact"),
                        col::text("giver_contact"),
                        col::text("answer"),
                        // JSON: the snapshot of movement rules that the taker saw.
                        col::text("movement"),
                        col::text("state"),
                        col::number("asked_at"),
                        col::number("lapses_at"),
                        col::number_or_none("given_at"),
                        col::number_or_none("taken_at"),
                        col::text("giver_missed"),
                        col::text("taker_missed"),
                        col::number("version"),
                    ],
                )
                .foreign_key(&mut reference("claim", "offer_id", "offer"))
                .foreign_key(&mut reference("claim", "giver_id", "account"))
                .foreign_key(&mut reference("claim", "taker_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "claim", &["offer_id", "state", "asked_at"], false).await?;
        index(manager, "claim", &["taker_id", "id"], false).await?;
        index(manager, "claim", &["giver_id", "id"], false).await?;
        index(manager, "claim", &["state", "lapses_at"], false).await?;
        // A taker has at most one open claim on an offer.
        manager
            .get_connection()
            .execute_unprepared(
                "CREATE UNIQUE INDEX uq_claim_open ON claim (offer_id, taker_id) WHERE state IN ('waiting', 'accepted')",
            )
            .await?;
        Ok(())
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["claim"]).await?;
        for (name, column) in new_columns().into_iter().rev() {
            let column = Alias::new(column.get_column_name());
            manager
                .alter_table(Table::alter().table(Alias::new(name)).drop_column(column).to_owned())
                .await?;
        }
        Ok(())
    }
}
