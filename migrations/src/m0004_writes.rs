//! Creates the tables that every write uses: idempotency keys, the audit log (triggers keep it append-only),
//! the outbox, and settings shared by all servers on one database.

use sea_orm_migration::{
    prelude::*,
    sea_orm::{ConnectionTrait, DatabaseBackend},
};

use crate::{col, drop_tables, index, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0004_writes"
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
                    "idempotency",
                    vec![
                        col::text("scope"),
                        col::text("key"),
                        col::text("rpc"),
                        col::bytes("fingerprint"),
                        col::bytes_or_none("reply"),
                        col::number("created_at"),
                    ],
                )
                .primary_key(Index::create().col(Alias::new("scope")).col(Alias::new("key")))
                .to_owned(),
            )
            .await?;
        index(manager, "idempotency", &["created_at"], false).await?;
        manager
            .create_table(table(
                "audit_log",
                vec![
                    col::counter("seq"),
                    col::number("at"),
                    col::id_or_none("actor_id"),
                    col::text("action"),
                    col::text("subject"),
                    col::text("change"),
                    col::id("request_id"),
                ],
            ))
            .await?;
        index(manager, "audit_log", &["subject"], false).await?;
        manager
            .create_table(table(
                "outbox",
                vec![col::counter("seq"), col::number("at"), col::text("topic"), col::text("subject")],
            ))
            .await?;
        manager
            .create_table(table(
                "setting",
                vec![
                    col::text("name").primary_key().to_owned(),
                    col::text("value"),
                    col::number("updated_at"),
                ],
            ))
            .await?;
        #[expect(
            clippy::wildcard_enum_match_arm,
            reason = "the library's own enum; two of its databases are ours"
        )]
        let statements: &[&str] = match manager.get_database_backend() {
            DatabaseBackend::Postgres => &[
                "CREATE FUNCTION audit_log_is_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'the audit log is append-only'; END $$",
                "CREATE TRIGGER audit_log_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON audit_log FOR EACH STATEMENT EXECUTE FUNCTION audit_log_is_append_only()",
            ],
            _ => &[
                "CREATE TRIGGER audit_log_no_update BEFORE UPDATE ON audit_log BEGIN SELECT RAISE(ABORT, 'the audit log is append-only'); END",
                "CREATE TRIGGER audit_log_no_delete BEFORE DELETE ON audit_log BEGIN SELECT RAISE(ABORT, 'the audit log is append-only'); END",
            ],
        };
        for statement in statements {
            manager.get_connection().execute_unprepared(statement).await?;
        }
        Ok(())
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["setting", "outbox", "audit_log", "idempotency"]).await?;
        if manager.get_database_backend() == DatabaseBackend::Postgres {
            manager.get_connection().execute_unprepared("DROP FUNCTION audit_log_is_append_only()").await?;
        }
        Ok(())
    }
}
