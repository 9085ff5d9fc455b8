//! Adds clubs, their members, club-only offers, and `entered_by` for entries that an organiser makes for a member.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0011_clubs"
    }
}

fn new_columns() -> Vec<(&'static str, ColumnDef)> {
    vec![
        // Not foreign keys: SQLite cannot add one to an existing table.
        ("offer", col::id_or_none("club_id")),
        ("offer", col::id_or_none("entered_by")),
        ("claim", col::id_or_none("entered_by")),
        ("lot", col::id_or_none("entered_by")),
    ]
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .create_table(table(
                "club",
                vec![
                    col::id("id").primary_key().to_owned(),
                    col::text("name"),
                    // Folded name; unique among open clubs.
                    col::text("name_key"),
                    col::text("about"),
                    col::text_or_none("area_code"),
                    col::flag("takes_requests"),
                    col::number("created_at"),
                    col::number_or_none("closed_at"),
                    col::number("version"),
                ],
            ))
            .await?;
        manager
            .get_connection()
            .execute_unprepared("CREATE UNIQUE INDEX uq_club_name ON club (name_key) WHERE closed_at IS NULL")
            .await?;
        manager
            .create_table(
                table(
                    "club_member",
                    vec![
                        col::id("club_id"),
                        col::id("account_id"),
                        col::text("standing"),
                        col::text("words"),
                        // How the member agreed that organisers act for them; null without consent.
                        col::text_or_none("consent"),
                        col::number("since"),
                    ],
                )
                .primary_key(Index::create().col(Alias::new("club_id")).col(Alias::new("account_id")))
                .foreign_key(&mut reference("club_member", "club_id", "club"))
                .foreign_key(&mut reference("club_member", "account_id", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "club_member", &["account_id", "standing"], false).await?;
        for (name, column) in new_columns() {
            manager.alter_table(Table::alter().table(Alias::new(name)).add_column(column).to_owned()).await?;
        }
        index(manager, "offer", &["club_id"], false).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .drop_index(Index::drop().name("ix_offer_club_id").table(Alias::new("offer")).to_owned())
            .await?;
        for (name, column) in new_columns().into_iter().rev() {
            let column = Alias::new(column.get_column_name());
            manager
                .alter_table(Table::alter().table(Alias::new(name)).drop_column(column).to_owned())
                .await?;
        }
        drop_tables(manager, &["club_member", "club"]).await
    }
}
