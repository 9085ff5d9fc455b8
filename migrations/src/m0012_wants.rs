//! Adds the table of wants: what members seek.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0012_wants"
    }
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
                    "want",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("account_id"),
                        col::text("crop"),
                        col::id_or_none("cultivar_id"),
                        // JSON list of wishes.
                        col::text("wishes"),
                        // Comma-separated words.
                        col::text("materials"),
                        col::text("grid_code"),
                        col::number("within_km"),
                        col::text("to_area"),
                        col::number("until_day"),
                        col::text("note"),
                        col::number_or_none("withdrawn_at"),
                        col::id_or_none("entered_by"),
                        col::number("created_at"),
                    ],
                )
                .foreign_key(&mut reference("want", "account_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "want", &["crop", "until_day"], false).await?;
        index(manager, "want", &["account_id", "id"], false).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["want"]).await
    }
}
