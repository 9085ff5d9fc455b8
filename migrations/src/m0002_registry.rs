//! Creates the tables of crops, sources, cultivars with their names and parents, and evidence.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0002_registry"
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
                "crop",
                vec![
                    col::text("slug").primary_key().to_owned(),
                    col::text("profile"),
                    col::number("updated_at"),
                ],
            ))
            .await?;
        manager
            .create_table(table(
                "source",
                vec![col::text("id").primary_key().to_owned(), col::text("citation"), col::text("read")],
            ))
            .await?;
        manager
            .create_table(table(
                "cultivar",
                vec![
                    col::id("id").primary_key().to_owned(),
                    col::text("crop"),
                    col::text("name"),
                    col::text("name_key"),
                    col::text("qualifier"),
                    col::text("botanical_name"),
                    col::text("rank"),
                    col::text("origin"),
                    col::text("notes"),
                    col::text_or_none("catalogue"),
                    col::number("version"),
                    col::number("created_at"),
                    col::number("updated_at"),
                ],
            ))
            .await?;
        index(manager, "cultivar", &["crop", "name_key", "qualifier"], true).await?;
        manager
            .create_table(
                table(
                    "cultivar_name",
                    vec![
                        col::counter("id"),
                        col::id("cultivar_id"),
                        col::text("name"),
                        col::text("kind"),
                        col::flag("disputed"),
                        col::text("source_id"),
                        col::text("note"),
                        col::text_or_none("catalogue"),
                    ],
                )
                .foreign_key(&mut reference("cultivar_name", "cultivar_id", "cultivar"))
                .to_owned(),
            )
            .await?;
        index(manager, "cultivar_name", &["cultivar_id"], false).await?;
        manager
            .create_table(
                table(
                    "cultivar_parent",
                    vec![
                        col::counter("id"),
                        col::id("cultivar_id"),
                        col::text("role"),
                        col::text("name"),
                        col::flag("disputed"),
                        col::text("source_id"),
                        col::text("note"),
                        col::text_or_none("catalogue"),
                    ],
                )
                .foreign_key(&mut reference("cultivar_parent", "cultivar_id", "cultivar"))
                .to_owned(),
            )
            .await?;
        index(manager, "cultivar_parent", &["cultivar_id"], false).await?;
        manager
            .create_table(
                table(
                    "evidence",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::text_or_none("row_key").unique_key().to_owned(),
                        col::text("crop"),
                        col::id_or_none("cultivar_id"),
                        col::text("subject"),
                        col::text("named_as"),
                        col::text("descriptor"),
                        col::text("value"),
                        col::text("place"),
                        col::text("source_id"),
                        col::text("as_stated"),
                        col::text("note"),
                        col::id_or_none("author_id"),
                        col::number("created_at"),
                    ],
                )
                .foreign_key(&mut reference("evidence", "cultivar_id", "cultivar"))
                .foreign_key(&mut reference("evidence", "source_id", "source"))
                .to_owned(),
            )
            .await?;
        index(manager, "evidence", &["cultivar_id"], false).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["evidence", "cultivar_parent", "cultivar_name", "cultivar", "source", "crop"])
            .await
    }
}
