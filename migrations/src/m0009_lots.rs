//! Adds mother plants and lots, their descent, tests and alerts, and the lot that an offer comes from.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0009_lots"
    }
}

fn offer_column() -> ColumnDef {
    // Not a foreign key: SQLite cannot add one to an existing table.
    col::id_or_none("lot_id")
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .create_table(
                table(
                    "lot",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        // Six characters; the check character is not stored.
                        col::text("code"),
                        col::id("holder_id"),
                        col::text("crop"),
                        col::id_or_none("cultivar_id"),
                        col::flag("unknown_seedling"),
                        col::text("kind"),
                        col::number("quantity"),
                        col::number("made_day"),
                        col::text("source"),
                        col::text("note"),
                        col::id_or_none("claim_id"),
                        col::number_or_none("ended_day"),
                        col::text("ended_why"),
                        col::number("version"),
                        col::number("created_at"),
                    ],
                )
                .foreign_key(&mut reference("lot", "holder_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "lot", &["code"], true).await?;
        index(manager, "lot", &["holder_id", "id"], false).await?;
        manager
            .create_table(
                table(
                    "lot_link",
                    vec![
                        col::id("parent_id"),
                        col::id("child_id"),
                        col::text("descent"),
                        col::number("day"),
                        col::number("created_at"),
                    ],
                )
                .primary_key(
                    Index::create()
                        .col(Alias::new("child_id"))
                        .col(Alias::new("parent_id"))
                        .col(Alias::new("descent"))
                        .col(Alias::new("day")),
                )
                .foreign_key(&mut reference("lot_link", "parent_id", "lot"))
                .foreign_key(&mut reference("lot_link", "child_id", "lot"))
                .to_owned(),
            )
            .await?;
        index(manager, "lot_link", &["parent_id"], false).await?;
        manager
            .create_table(
                table(
                    "lot_test",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("lot_id"),
                        col::text("pest"),
                        // Folded, as alerts search for it.
                        col::text("pest_key"),
                        col::number("sampled_day"),
                        col::number("latency_days"),
                        col::text("method"),
                        col::number("created_at"),
                    ],
                )
                .foreign_key(&mut reference("lot_test", "lot_id", "lot"))
                .to_owned(),
            )
            .await?;
        index(manager, "lot_test", &["lot_id", "pest_key"], false).await?;
        manager
            .create_table(
                table(
                    "alert",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("lot_id"),
                        col::text("crop"),
                        col::text("kind"),
                        col::text("part"),
                        col::id("raised_by"),
                        col::text("words"),
                        col::text("pest"),
                        // Comma-separated words.
                        col::text("carriers"),
                        col::number_or_none("since_day"),
                        col::number("seen_day"),
                        col::flag("trace_back"),
                        col::text("state"),
                        col::text("ruling"),
                        col::text("lifted_why"),
                        col::number("version"),
                        col::number("created_at"),
                    ],
                )
                .foreign_key(&mut reference("alert", "lot_id", "lot"))
                .foreign_key(&mut reference("alert", "raised_by", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "alert", &["raised_by", "state"], false).await?;
        index(manager, "alert", &["state", "id"], false).await?;
        // Lots where the trace down the descent starts: the alert's own lot and its possible origins.
        manager
            .create_table(
                table(
                    "alert_start",
                    vec![col::id("alert_id"), col::id("lot_id"), col::text("part"), col::number("since_day")],
                )
                .primary_key(
                    Index::create()
                        .col(Alias::new("alert_id"))
                        .col(Alias::new("lot_id"))
                        .col(Alias::new("part")),
                )
                .foreign_key(&mut reference("alert_start", "alert_id", "alert"))
                .foreign_key(&mut reference("alert_start", "lot_id", "lot"))
                .to_owned(),
            )
            .await?;
        index(manager, "alert_start", &["lot_id"], false).await?;
        manager
            .alter_table(Table::alter().table(Alias::new("offer")).add_column(offer_column()).to_owned())
            .await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .alter_table(
                Table::alter().table(Alias::new("offer")).drop_column(Alias::new("lot_id")).to_owned(),
            )
            .await?;
        drop_tables(manager, &["alert_start", "alert", "lot_test", "lot_link", "lot"]).await
    }
}
