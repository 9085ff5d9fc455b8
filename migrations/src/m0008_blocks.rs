//! Adds the table of members that a member has blocked.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0008_blocks"
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
                    "member_block",
                    vec![col::id("account_id"), col::id("blocked_id"), col::number("created_at")],
                )
                .primary_key(Index::create().col(Alias::new("account_id")).col(Alias::new("blocked_id")))
                .foreign_key(&mut reference("member_block", "account_id", "account"))
                .foreign_key(&mut reference("member_block", "blocked_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "member_block", &["blocked_id"], false).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["member_block"]).await
    }
}
