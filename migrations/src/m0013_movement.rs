//! Adds steward-published releases of movement rules, and protected cultivars.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0013_movement"
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
                "movement_release",
                vec![
                    col::counter("seq"),
                    col::text("note"),
                    // JSON: the files exactly as proposed.
                    col::text("files"),
                    col::id("proposed_by"),
                    col::number("proposed_at"),
                    col::id_or_none("published_by"),
                    col::number_or_none("published_at"),
                    col::number_or_none("withdrawn_at"),
                ],
            ))
            .await?;
        manager
            .create_table(table(
                "protection",
                vec![
                    // A cultivar has at most one protection; a newer decision replaces the row.
                    col::id("cultivar_id").primary_key().to_owned(),
                    col::text("kind"),
                    col::text("office"),
                    col::text("reference"),
                    col::text("area_codes"),
                    col::number_or_none("until_day"),
                    col::text("citation"),
                    col::id("entered_by"),
                    col::number("entered_at"),
                ],
            ))
            .await?;
        // The giver's statement about the rights holder's consent.
        manager
            .alter_table(
                Table::alter()
                    .table(Alias::new("offer"))
                    .add_column(col::text("holder_consent").default("").to_owned())
                    .to_owned(),
            )
            .await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .alter_table(
                Table::alter()
                    .table(Alias::new("offer"))
                    .drop_column(Alias::new("holder_consent"))
                    .to_owned(),
            )
            .await?;
        drop_tables(manager, &["protection", "movement_release"]).await
    }
}
