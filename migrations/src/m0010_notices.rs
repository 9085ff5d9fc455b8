//! Adds the members' inbox and their mail addresses.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0010_notices"
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
                    "notice",
                    vec![
                        col::counter("seq"),
                        col::id("account_id"),
                        // Deduplication key: a member gets one notice per key.
                        col::text("once"),
                        col::text("kind"),
                        col::text("subject"),
                        col::text("words"),
                        col::number("at"),
                        col::number_or_none("read_at"),
                        col::number_or_none("mailed_at"),
                    ],
                )
                .foreign_key(&mut reference("notice", "account_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "notice", &["account_id", "once"], true).await?;
        index(manager, "notice", &["account_id", "seq"], false).await?;
        index(manager, "notice", &["subject"], false).await?;
        index(manager, "notice", &["mailed_at", "seq"], false).await?;
        manager
            .create_table(
                table(
                    "mail_address",
                    vec![
                        col::id("account_id").primary_key().to_owned(),
                        col::text("address"),
                        // Hash of the confirmation code; null after confirmation.
                        col::bytes_or_none("code_hash"),
                        col::number("asked_at"),
                        col::number_or_none("confirmed_at"),
                    ],
                )
                .foreign_key(&mut reference("mail_address", "account_id", "account"))
                .to_owned(),
            )
            .await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["mail_address", "notice"]).await
    }
}
