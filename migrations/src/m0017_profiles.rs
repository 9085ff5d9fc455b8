//! Adds the profiles of members, and the short numbers that members have for their items.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0017_profiles"
    }
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let profile = vec![
            col::id("account_id"),
            col::text("home_label"),
            col::text_or_none("area_code"),
            col::text_or_none("grid_code"),
            col::text("contact"),
            col::flag("imperial"),
            col::text("crop"),
            col::text_or_none("climate"),
            col::number("version"),
        ];
        manager
            .create_table(
                table("profile", profile)
                    .primary_key(Index::create().col(Alias::new("account_id")))
                    .foreign_key(&mut reference("profile", "account_id", "account"))
                    .to_owned(),
            )
            .await?;
        let number = vec![col::id("account_id"), col::number("number"), col::text("item_id")];
        manager
            .create_table(
                table("item_number", number)
                    .primary_key(Index::create().col(Alias::new("account_id")).col(Alias::new("number")))
                    .foreign_key(&mut reference("item_number", "account_id", "account"))
                    .to_owned(),
            )
            .await?;
        index(manager, "item_number", &["account_id", "item_id"], true).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["item_number", "profile"]).await
    }
}
