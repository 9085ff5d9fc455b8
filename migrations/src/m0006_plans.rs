//! Adds plans, the grafting log, and the shelf-life columns of offers.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0006_plans"
    }
}

fn new_columns() -> Vec<(&'static str, ColumnDef)> {
    vec![
        ("offer", col::number_or_none("taken_day")),
        ("offer", col::text("kept_how").default("").to_owned()),
        ("offer", col::number_or_none("use_by_day")),
    ]
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for (name, mut column) in new_columns() {
            manager
                .alter_table(Table::alter().table(Alias::new(name)).add_column(&mut column).to_owned())
                .await?;
        }
        manager
            .create_table(
                table(
                    "plan",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("account_id"),
                        col::id("cultivar_id"),
                        col::text("crop"),
                        col::text("title"),
                        col::text("note"),
                        col::text("way"),
                        col::flag("south"),
                        col::text("climate"),
                        col::flag("has_rootstock"),
                        col::number("start_day"),
                        // JSON, because the server always reads and writes all steps of a plan together.
                        col::text("steps"),
                        col::number("version"),
                        col::number("created_at"),
                        col::number("updated_at"),
                    ],
                )
                .foreign_key(&mut reference("plan", "account_id", "account"))
                .foreign_key(&mut reference("plan", "cultivar_id", "cultivar"))
                .to_owned(),
            )
            .await?;
        index(manager, "plan", &["account_id", "id"], false).await?;
        manager
            .create_table(
                table(
                    "grafts",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("account_id"),
                        col::id("cultivar_id"),
                        col::text("crop"),
                        col::text("method"),
                        col::number("made_day"),
                        col::flag("south"),
                        // Month as it would be north of the equator (six months later in the south), so that
                        // rates group by season.
                        col::number("northern_month"),
                        col::text("scion_from"),
                        col::text("rootstock"),
                        col::number("made"),
                        col::number_or_none("taken"),
                        col::number_or_none("seen_day"),
                        col::text("note"),
                        col::number("version"),
                        col::number("created_at"),
                    ],
                )
                .foreign_key(&mut reference("grafts", "account_id", "account"))
                .foreign_key(&mut reference("grafts", "cultivar_id", "cultivar"))
                .to_owned(),
            )
            .await?;
        index(manager, "grafts", &["account_id", "id"], false).await?;
        index(manager, "grafts", &["crop", "cultivar_id"], false).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["grafts", "plan"]).await?;
        for (name, column) in new_columns().into_iter().rev() {
            let column = Alias::new(column.get_column_name());
            manager
                .alter_table(Table::alter().table(Alias::new(name)).drop_column(column).to_owned())
                .await?;
        }
        Ok(())
    }
}
