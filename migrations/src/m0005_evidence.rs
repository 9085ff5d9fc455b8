//! Adds growers' evidence, checks, grower weights, sowings, and the curation tables: versions, events,
//! proposals, tickets.

use sea_orm_migration::{prelude::*, sea_orm::ConnectionTrait};

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0005_evidence"
    }
}

/// Returns a text column that is empty in existing rows.
fn empty_text(name: &str) -> ColumnDef {
    col::text(name).default("").to_owned()
}

fn new_columns() -> Vec<(&'static str, ColumnDef)> {
    vec![
        ("evidence", col::text_or_none("kind")),
        ("evidence", col::id_or_none("report_id")),
        ("evidence", col::id_or_none("sowing_id")),
        ("evidence", col::number_or_none("observed_day")),
        ("evidence", col::text_or_none("area_code")),
        ("evidence", col::text_or_none("grid_code")),
        ("evidence", empty_text("place_label")),
        ("evidence", empty_text("tree")),
        ("evidence", empty_text("method")),
        ("evidence", empty_text("citation")),
        // Evidence is never updated: a correction ends the old piece and names its successor.
        ("evidence", col::number_or_none("ended_at")),
        ("evidence", col::text_or_none("ended_why")),
        ("evidence", col::id_or_none("replaced_by")),
        // True after a split moved the piece to another record; catalogue imports then leave it there.
        ("evidence", col::flag("moved").default(false).to_owned()),
        ("cultivar", col::text("pins").default("[]").to_owned()),
        ("cultivar", col::text_or_none("locked_why")),
        ("cultivar", col::id_or_none("merged_into")),
        // Set by the first steward decision; from then on catalogue imports do not change the record.
        ("cultivar", col::flag("curated").default(false).to_owned()),
        // Key under which a catalogue knows the record; it survives later renames.
        ("cultivar", col::text_or_none("catalogue_key")),
    ]
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    #[expect(clippy::too_many_lines, reason = "one table after another")]
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for (name, mut column) in new_columns() {
            manager
                .alter_table(Table::alter().table(Alias::new(name)).add_column(&mut column).to_owned())
                .await?;
        }
        index(manager, "evidence", &["author_id", "created_at"], false).await?;
        index(manager, "cultivar", &["merged_into"], false).await?;
        index(manager, "cultivar", &["catalogue_key"], false).await?;
        index(manager, "outbox", &["topic", "seq"], false).await?;
        let db = manager.get_connection();
        db.execute_unprepared(
            "UPDATE cultivar SET catalogue_key = crop || '/' || name_key || '/' || qualifier WHERE catalogue IS NOT NULL",
        )
        .await?;
        // Growers' evidence needs a row in `source` because `evidence.source_id` references it.
        db.execute_unprepared(
            "INSERT INTO source (id, citation, read) VALUES ('grower', 'Observed by growers of this registry.', '')",
        )
        .await?;
        manager
            .create_table(
                table(
                    "evidence_check",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("evidence_id"),
                        col::id("account_id"),
                        col::text("verdict"),
                        col::text("reason"),
                        col::number("created_at"),
                        col::number_or_none("ended_at"),
                    ],
                )
                .foreign_key(&mut reference("evidence_check", "evidence_id", "evidence"))
                .to_owned(),
            )
            .await?;
        index(manager, "evidence_check", &["evidence_id"], false).await?;
        db.execute_unprepared(
            "CREATE UNIQUE INDEX uq_evidence_check_open ON evidence_check (evidence_id, account_id) WHERE ended_at IS NULL",
        )
        .await?;
        manager
            .create_table(table(
                "observer",
                vec![
                    col::id("account_id").primary_key().to_owned(),
                    col::id("group_id"),
                    col::number_or_none("vouched_at"),
                    col::id_or_none("vouched_by"),
                    col::flag("suspended"),
                ],
            ))
            .await?;
        // Existing accounts become observers. Those who signed up with an invitation are vouched for by its creator.
        db.execute_unprepared(
            "INSERT INTO observer (account_id, group_id, vouched_at, vouched_by, suspended) SELECT a.id, a.id, (SELECT i.used_at FROM invitation i WHERE i.used_by = a.id), (SELECT i.created_by FROM invitation i WHERE i.used_by = a.id), a.suspended_at IS NOT NULL FROM account a",
        )
        .await?;
        manager
            .create_table(table(
                "grower_weight",
                vec![
                    col::id("account_id").primary_key().to_owned(),
                    col::number("version"),
                    // Stored in millionths, so that both databases return the same number.
                    col::number("accuracy_e6"),
                    col::number("compared_e3"),
                    col::number("right_e3"),
                    col::number("borne_out"),
                    col::number("doubted"),
                    col::number("pieces"),
                    col::number_or_none("diagnosis_e6"),
                    col::number("diagnosis_items"),
                ],
            ))
            .await?;
        manager
            .create_table(
                table(
                    "sowing",
                    vec![
                        col::id("id").primary_key().to_owned(),
                        col::id("account_id"),
                        col::id("cultivar_id"),
                        col::text("crop"),
                        col::number("sown_day"),
                        col::number("seeds"),
                        col::text("tree"),
                        col::text("note"),
                        col::number_or_none("closed_at"),
                        col::text("closed_why"),
                        col::number("version"),
                        col::number("created_at"),
                    ],
                )
                .foreign_key(&mut reference("sowing", "cultivar_id", "cultivar"))
                .to_owned(),
            )
            .await?;
        index(manager, "sowing", &["account_id", "sown_day"], false).await?;
        manager
            .create_table(
                table(
                    "cultivar_version",
                    vec![
                        col::id("cultivar_id"),
                        col::number("version"),
                        col::text("content"),
                        col::number("at"),
                        col::id_or_none("actor_id"),
                        col::id_or_none("proposal_id"),
                    ],
                )
                .primary_key(Index::create().col(Alias::new("cultivar_id")).col(Alias::new("version")))
                .foreign_key(&mut reference("cultivar_version", "cultivar_id", "cultivar"))
                .to_owned(),
            )
            .await?;
        manager
            .create_table(table(
                "record_event",
                vec![
                    col::counter("seq"),
                    col::id_or_none("cultivar_id"),
                    col::text("crop"),
                    col::number("at"),
                    col::id_or_none("actor_id"),
                    col::text("action"),
                    col::text("subject"),
                    col::text("why"),
                    col::text("detail"),
                    col::number_or_none("version"),
                ],
            ))
            .await?;
        index(manager, "record_event", &["cultivar_id", "seq"], false).await?;
        manager
            .create_table(table(
                "proposal",
                vec![
                    col::id("id").primary_key().to_owned(),
                    col::text("crop"),
                    col::id_or_none("cultivar_id"),
                    col::text("change"),
                    col::text("change_word"),
                    col::text("reason"),
                    col::text("citation"),
                    col::id("author_id"),
                    col::number("created_at"),
                    col::text("state"),
                    col::id_or_none("ruled_by"),
                    col::number_or_none("ruled_at"),
                    col::text("ruling"),
                    col::text("outcome"),
                ],
            ))
            .await?;
        index(manager, "proposal", &["state", "crop", "created_at"], false).await?;
        index(manager, "proposal", &["author_id", "created_at"], false).await?;
        index(manager, "proposal", &["cultivar_id"], false).await?;
        manager
            .create_table(
                table(
                    "descriptor_text",
                    vec![
                        col::text("crop"),
                        col::text("descriptor"),
                        col::text_or_none("label"),
                        col::text_or_none("question"),
                        col::text_or_none("observe"),
                    ],
                )
                .primary_key(Index::create().col(Alias::new("crop")).col(Alias::new("descriptor")))
                .to_owned(),
            )
            .await?;
        manager
            .create_table(table(
                "ticket",
                vec![
                    col::id("id").primary_key().to_owned(),
                    col::text("subject_kind"),
                    col::text("subject"),
                    col::text_or_none("crop"),
                    col::text("reason"),
                    col::id("author_id"),
                    col::number("created_at"),
                    col::number_or_none("closed_at"),
                    col::id_or_none("closed_by"),
                    col::text("outcome"),
                ],
            ))
            .await?;
        index(manager, "ticket", &["closed_at", "created_at"], false).await
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(
            manager,
            &[
                "ticket",
                "descriptor_text",
                "proposal",
                "record_event",
                "cultivar_version",
                "sowing",
                "grower_weight",
                "observer",
                "evidence_check",
            ],
        )
        .await?;
        let db = manager.get_connection();
        db.execute_unprepared("DELETE FROM evidence WHERE source_id = 'grower'").await?;
        db.execute_unprepared("DELETE FROM source WHERE id = 'grower'").await?;
        for (table, columns) in [
            ("outbox", vec!["topic", "seq"]),
            ("cultivar", vec!["catalogue_key"]),
            ("cultivar", vec!["merged_into"]),
            ("evidence", vec!["author_id", "created_at"]),
        ] {
            let name = format!("ix_{table}_{}", columns.join("_"));
            manager.drop_index(Index::drop().name(name).table(Alias::new(table)).to_owned()).await?;
        }
        for (name, column) in new_columns().into_iter().rev() {
            let column = Alias::new(column.get_column_name());
            manager
                .alter_table(Table::alter().table(Alias::new(name)).drop_column(column).to_owned())
                .await?;
        }
        Ok(())
    }
}
