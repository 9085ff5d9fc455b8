//! The database schema as a list of migration steps. Add new steps only at the end; never change a released
//! step. Times are microseconds since 1970-01-01 UTC and days are days since 1970-01-01, so SQLite and
//! PostgreSQL order them alike.

pub use sea_orm_migration::{MigratorTrait, MigratorTraitSelf, sea_orm};

use sea_orm_migration::{
    prelude::*,
    sea_orm::{ConnectionTrait, DatabaseBackend, DatabaseConnection, DbErr, TransactionTrait},
};

mod m0001_accounts;
mod m0002_registry;
mod m0003_offers;
mod m0004_writes;
mod m0005_evidence;
mod m0006_plans;
mod m0007_claims;
mod m0008_blocks;
mod m0009_lots;
mod m0010_notices;
mod m0011_clubs;
mod m0012_wants;
mod m0013_movement;
mod m0014_rounds;
mod m0015_club_invitations;
mod m0016_round_versions;
mod m0017_profiles;
mod m0018_round_days;
mod m0019_day_events;
mod m0020_what_is_missing;

/// Lists all migration steps, oldest first.
#[derive(Debug)]
pub struct Migrator;

impl MigratorTrait for Migrator {
    fn migrations() -> Vec<Box<dyn MigrationTrait>> {
        vec![
            Box::new(m0001_accounts::Step),
            Box::new(m0002_registry::Step),
            Box::new(m0003_offers::Step),
            Box::new(m0004_writes::Step),
            Box::new(m0005_evidence::Step),
            Box::new(m0006_plans::Step),
            Box::new(m0007_claims::Step),
            Box::new(m0008_blocks::Step),
            Box::new(m0009_lots::Step),
            Box::new(m0010_notices::Step),
            Box::new(m0011_clubs::Step),
            Box::new(m0012_wants::Step),
            Box::new(m0013_movement::Step),
            Box::new(m0014_rounds::Step),
            Box::new(m0015_club_invitations::Step),
            Box::new(m0016_round_versions::Step),
            Box::new(m0017_profiles::Step),
            Box::new(m0018_round_days::Step),
            Box::new(m0019_day_events::Step),
            Box::new(m0020_what_is_missing::Step),
        ]
    }
}

/// Applies all missing steps in one transaction. On PostgreSQL an advisory lock makes servers that start at the
/// same time wait for each other.
///
/// # Errors
/// Returns the database's [`DbErr`]; the transaction is then rolled back.
pub async fn up(db: &DatabaseConnection) -> Result<(), DbErr> {
    let transaction = db.begin().await?;
    if transaction.get_database_backend() == DatabaseBackend::Postgres {
        transaction.execute_unprepared("SELECT pg_advisory_xact_lock(5120727)").await?;
    }
    <Migrator as MigratorTrait>::up(&transaction, None).await?;
    transaction.commit().await
}

/// Returns the names of the steps that the database still lacks, oldest first.
///
/// # Errors
/// Returns the database's [`DbErr`].
pub async fn pending(db: &DatabaseConnection) -> Result<Vec<String>, DbErr> {
    Ok(<Migrator as MigratorTrait>::get_pending_migrations(db)
        .await?
        .iter()
        .map(|m| m.name().to_string())
        .collect())
}

/// Returns the names of applied steps that this build does not know. They come from a newer server version.
///
/// # Errors
/// Returns the database's [`DbErr`].
pub async fn unknown(db: &DatabaseConnection) -> Result<Vec<String>, DbErr> {
    <Migrator as MigratorTrait>::install(db).await?;
    let known: Vec<String> =
        <Migrator as MigratorTrait>::migrations().iter().map(|m| m.name().to_string()).collect();
    let made = <Migrator as MigratorTrait>::get_migration_models(db).await?;
    Ok(made.into_iter().map(|m| m.version).filter(|version| !known.contains(version)).collect())
}

/// Returns the name of the newest step.
pub fn newest() -> String {
    <Migrator as MigratorTrait>::migrations().last().map(|m| m.name().to_string()).unwrap_or_default()
}

/// Undoes all steps. Only tests use this.
///
/// # Errors
/// Returns the database's [`DbErr`].
pub async fn down(db: &DatabaseConnection) -> Result<(), DbErr> {
    <Migrator as MigratorTrait>::down(db, None).await
}

/// Column types shared by all steps, so that SQLite and PostgreSQL get the same schema.
mod col {
    use sea_orm_migration::prelude::*;

    pub(crate) fn id(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).uuid().not_null().to_owned()
    }
    pub(crate) fn id_or_none(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).uuid().null().to_owned()
    }
    pub(crate) fn text(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).text().not_null().to_owned()
    }
    pub(crate) fn text_or_none(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).text().null().to_owned()
    }
    pub(crate) fn number(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).big_integer().not_null().to_owned()
    }
    pub(crate) fn number_or_none(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).big_integer().null().to_owned()
    }
    pub(crate) fn flag(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).boolean().not_null().to_owned()
    }
    pub(crate) fn bytes(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).binary().not_null().to_owned()
    }
    pub(crate) fn bytes_or_none(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).binary().null().to_owned()
    }
    pub(crate) fn counter(name: &str) -> ColumnDef {
        ColumnDef::new(Alias::new(name)).big_integer().not_null().auto_increment().primary_key().to_owned()
    }
}

/// Starts a `CREATE TABLE` statement with these columns.
fn table(name: &str, columns: Vec<ColumnDef>) -> TableCreateStatement {
    let mut statement = Table::create();
    statement.table(Alias::new(name));
    for column in columns {
        statement.col(column);
    }
    statement
}

/// Builds a foreign key from `from.column` to `to.id`. It has no cascade: deleting a referenced row fails.
fn reference(from: &str, column: &str, to: &str) -> ForeignKeyCreateStatement {
    ForeignKey::create()
        .name(format!("fk_{from}_{column}"))
        .from(Alias::new(from), Alias::new(column))
        .to(Alias::new(to), Alias::new("id"))
        .to_owned()
}

async fn index(
    manager: &SchemaManager<'_>,
    table: &str,
    columns: &[&str],
    unique: bool,
) -> Result<(), DbErr> {
    let mut statement = Index::create();
    statement.name(format!("{}_{table}_{}", if unique { "uq" } else { "ix" }, columns.join("_")));
    statement.table(Alias::new(table));
    for column in columns {
        statement.col(Alias::new(*column));
    }
    if unique {
        statement.unique();
    }
    manager.create_index(statement).await
}

async fn drop_tables(manager: &SchemaManager<'_>, tables: &[&str]) -> Result<(), DbErr> {
    for table in tables {
        manager.drop_table(Table::drop().table(Alias::new(*table)).to_owned()).await?;
    }
    Ok(())
}
