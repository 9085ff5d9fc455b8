//! Creates the table of offers.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0003_offers"
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
                    "offer",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("account_id"),
                        col::text("crop"),
                        col::id("cultivar_id"),
                        col::flag("unknown_seedling"),
                        col::text("material"),
                        col::number("quantity"),
                        col::text("unit"),
                        col::text("terms"),
                        col::number("from_day"),
                        col::number("until_day"),
                        col::text_or_none("area_code"),
                        col::text("grid_code"),
                        col::text("place_label"),
                        // Centre of the grid cell in 1/10,000 degree, so that SQL can filter by distance.
                        col::number("latitude_e4"),
                        col::number("longitude_e4"),
                        col::flag("by_collect"),
                        col::flag("by_meeting"),
                        col::flag("by_post"),
                        col::text("note"),
                        // Folded words of the note and of the cultivar's names, for full-text search.
                        col::text("search_text"),
                        col::text("health"),
                        col::number_or_none("withdrawn_at"),
                        col::number("version"),
                        col::number("created_at"),
                        col::number("updated_at"),
                    ],
                )
                .foreign_key(&mut reference("offer", "account_id", "account"))
                .foreign_key(&mut reference("offer", "cultivar_id", "cultivar"))
                .to_owned(),
            )
            .await?;
        index(manager, "offer", &["account_id", "created_at"], false).await?;
        index(manager, "offer", &["cultivar_id", "until_day"], false).await?;
        index(manager, "offer", &["until_day", "created_at"], false).await?;
        index(manager, "offer", &["latitude_e4", "longitude_e4"], false).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["offer"]).await
    }
}
