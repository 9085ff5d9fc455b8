//! Creates the tables of accounts, sessions, role grants and sign-up invitations.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0001_accounts"
    }
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .create_table(table(
                "account",
                vec![
                    col::id("id").primary_key().to_owned(),
                    col::text("handle"),
                    col::text("handle_key").unique_key().to_owned(),
                    col::text("display_name"),
                    col::text("password_hash"),
                    col::number("created_at"),
                    col::number_or_none("suspended_at"),
                    col::number("version"),
                ],
            ))
            .await?;
        manager
            .create_table(
                table(
                    "session",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("account_id"),
                        col::bytes("token_hash").unique_key().to_owned(),
                        col::text("label"),
                        col::number("created_at"),
                        col::number("expires_at"),
                        col::number_or_none("revoked_at"),
                    ],
                )
                .foreign_key(&mut reference("session", "account_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "session", &["account_id"], false).await?;
        index(manager, "session", &["expires_at"], false).await?;
        manager
            .create_table(
                table(
                    "role_grant",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("account_id"),
                        col::text("role"),
                        col::text("scope"),
                        col::id_or_none("granted_by"),
                        col::number("granted_at"),
                        col::number_or_none("revoked_at"),
                    ],
                )
                .foreign_key(&mut reference("role_grant", "account_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "role_grant", &["account_id"], false).await?;
        manager
            .create_table(table(
                "invitation",
                vec![
                    col::id("id").primary_key().to_owned(),
                    col::text("kind"),
                    col::bytes("code_hash").unique_key().to_owned(),
                    col::id_or_none("created_by"),
                    col::text("note"),
                    col::number("created_at"),
                    col::number("expires_at"),
                    col::id_or_none("used_by"),
                    col::number_or_none("used_at"),
                    col::number_or_none("revoked_at"),
                ],
            ))
            .await?;
        index(manager, "invitation", &["created_by", "created_at"], false).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["invitation", "role_grant", "session", "account"]).await
    }
}
