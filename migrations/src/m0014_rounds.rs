//! Adds swap rounds: members, lots, wishes, authorities' answers, settled runs, and the resulting claims.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0014_rounds"
    }
}

fn new_columns() -> Vec<(&'static str, ColumnDef)> {
    vec![
        // Not foreign keys: SQLite cannot add one to an existing table.
        ("claim", col::id_or_none("round_id")),
        ("claim", col::id_or_none("round_lot_id")),
        ("claim", col::number("round_units").default(0).to_owned()),
        ("claim", col::flag("round_gift").default(false).to_owned()),
    ]
}

/// A taker has at most one open claim on an offer, and at most one on each lot of a round.
const OPEN_CLAIMS: [&str; 2] = [
    "CREATE UNIQUE INDEX uq_claim_open ON claim (offer_id, taker_id) WHERE state IN ('waiting', 'accepted') AND round_id IS NULL",
    "CREATE UNIQUE INDEX uq_claim_round ON claim (round_lot_id, taker_id) WHERE state IN ('waiting', 'accepted')",
];

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .create_table(
                table(
                    "round",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("club_id"),
                        col::text("title"),
                        col::text("about"),
                        col::text("place"),
                        col::text("area_code"),
                        col::number("day"),
                        col::number("gather_until"),
                        // JSON.
                        col::text("settings"),
                        col::text("phase"),
                        col::text("commitment"),
                        // Published only after the round is settled.
                        col::text("secret"),
                        col::text_or_none("input_hash"),
                        col::number("runs"),
                        col::number("created_at"),
                        col::number("version"),
                    ],
                )
                .foreign_key(&mut reference("round", "club_id", "club"))
                .to_owned(),
            )
            .await?;
        index(manager, "round", &["club_id", "id"], false).await?;
        manager
            .create_table(
                table(
                    "round_member",
                    vec![
                        col::id("round_id"),
                        col::id("account_id"),
                        col::number("number"),
                        col::text("area_code"),
                        col::flag("meeting"),
                        col::flag("post"),
                        col::text("contact"),
                        col::number("give_more"),
                        col::flag("absent"),
                        col::id_or_none("entered_by"),
                    ],
                )
                .primary_key(Index::create().col(Alias::new("round_id")).col(Alias::new("account_id")))
                .foreign_key(&mut reference("round_member", "round_id", "round"))
                .foreign_key(&mut reference("round_member", "account_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "round_member", &["round_id", "number"], true).await?;
        manager
            .create_table(
                table(
                    "round_lot",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("round_id"),
                        col::id("offer_id"),
                        col::id("account_id"),
                        col::number("number"),
                        col::number("units"),
                        col::number("per_unit"),
                        col::flag("gift"),
                        col::text("papers"),
                        col::number_or_none("checked_in_at"),
                        col::id_or_none("entered_by"),
                    ],
                )
                .foreign_key(&mut reference("round_lot", "round_id", "round"))
                .foreign_key(&mut reference("round_lot", "offer_id", "offer"))
                .foreign_key(&mut reference("round_lot", "account_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "round_lot", &["round_id", "number"], true).await?;
        index(manager, "round_lot", &["round_id", "offer_id"], true).await?;
        index(manager, "round_lot", &["offer_id"], false).await?;
        manager
            .create_table(
                table(
                    "round_wish",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("round_id"),
                        col::id("account_id"),
                        col::number("rank"),
                        col::number("quantity"),
                        // JSON list of acceptable lots or cultivars.
                        col::text("accepts"),
                        col::id_or_none("entered_by"),
                    ],
                )
                .foreign_key(&mut reference("round_wish", "round_id", "round"))
                .foreign_key(&mut reference("round_wish", "account_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "round_wish", &["round_id", "account_id"], false).await?;
        manager
            .create_table(
                table(
                    "round_advice",
                    vec![
                        col::id("round_id"),
                        col::text("from_area"),
                        col::text("to_area"),
                        col::text("asked"),
                        col::text("said"),
                        col::id("by_id"),
                        col::number("at"),
                    ],
                )
                .primary_key(
                    Index::create()
                        .col(Alias::new("round_id"))
                        .col(Alias::new("from_area"))
                        .col(Alias::new("to_area")),
                )
                .foreign_key(&mut reference("round_advice", "round_id", "round"))
                .foreign_key(&mut reference("round_advice", "by_id", "account"))
                .to_owned(),
            )
            .await?;
        manager
            .create_table(
                table(
                    "round_run",
                    vec![
                        col::id("round_id"),
                        // 0 is the sealed input; each settlement run counts up from 1.
                        col::number("number"),
                        // Canonical JSON.
                        col::text("input"),
                        col::text("input_hash"),
                        // JSON; null in the sealed row.
                        col::text_or_none("outcome"),
                        col::id("by_id"),
                        col::number("at"),
                    ],
                )
                .primary_key(Index::create().col(Alias::new("round_id")).col(Alias::new("number")))
                .foreign_key(&mut reference("round_run", "round_id", "round"))
                .foreign_key(&mut reference("round_run", "by_id", "account"))
                .to_owned(),
            )
            .await?;
        manager
            .create_table(
                table(
                    "round_share",
                    vec![
                        col::id("round_id"),
                        col::id("round_lot_id"),
                        col::id("wish_id"),
                        col::number("units"),
                        col::id("claim_id"),
                    ],
                )
                .primary_key(
                    Index::create()
                        .col(Alias::new("round_lot_id"))
                        .col(Alias::new("wish_id"))
                        .col(Alias::new("claim_id")),
                )
                .foreign_key(&mut reference("round_share", "round_id", "round"))
                .foreign_key(&mut reference("round_share", "round_lot_id", "round_lot"))
                .foreign_key(&mut reference("round_share", "wish_id", "round_wish"))
                .foreign_key(&mut reference("round_share", "claim_id", "claim"))
                .to_owned(),
            )
            .await?;
        index(manager, "round_share", &["round_id"], false).await?;
        index(manager, "round_share", &["claim_id"], false).await?;
        index(manager, "round_share", &["wish_id"], false).await?;
        for (name, mut column) in new_columns() {
            manager
                .alter_table(Table::alter().table(Alias::new(name)).add_column(&mut column).to_owned())
                .await?;
        }
        manager.get_connection().execute_unprepared("DROP INDEX uq_claim_open").await?;
        for statement in OPEN_CLAIMS {
            manager.get_connection().execute_unprepared(statement).await?;
        }
        index(manager, "claim", &["round_id"], false).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for name in ["ix_claim_round_id", "uq_claim_round", "uq_claim_open"] {
            manager.get_connection().execute_unprepared(&format!("DROP INDEX {name}")).await?;
        }
        drop_tables(
            manager,
            &["round_share", "round_run", "round_advice", "round_wish", "round_lot", "round_member", "round"],
        )
        .await?;
        for (name, column) in new_columns().into_iter().rev() {
            let column = Alias::new(column.get_column_name());
            manager
                .alter_table(Table::alter().table(Alias::new(name)).drop_column(column).to_owned())
                .await?;
        }
        manager
            .get_connection()
            .execute_unprepared(
                "CREATE UNIQUE INDEX uq_claim_open ON claim (offer_id, taker_id) WHERE state IN ('waiting', 'accepted')",
            )
            .await?;
        Ok(())
    }
}
