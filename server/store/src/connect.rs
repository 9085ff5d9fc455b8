//! Opens a database and checks its health.

use std::{path::PathBuf, sync::Arc, time::Duration};

use scionary_domain::time::Timestamp;
use sea_orm::{
    ConnectOptions, ConnectionTrait, Database, DatabaseConnection, DbErr, Statement, TransactionTrait,
};

use crate::{
    condition::{Ailment, Condition},
    door::{Tx, Writer},
    error::StoreError,
    records,
    source::Reader,
    sqlite::{Lock, Place},
};

/// Timeout of the smallest query to a database server.
const ANSWER: Duration = Duration::from_secs(2);
/// Timeout of a probe behind earlier writes; the largest imports take some ten seconds.
const WRITER_ANSWER: Duration = Duration::from_secs(60);
/// Name of the setting that a probe writes.
const PROBE: &str = "storage.probe";

/// Kind of database.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Backend {
    /// An embedded SQLite file.
    Sqlite,
    /// A PostgreSQL server.
    Postgres,
}

/// Settings for opening a database.
#[derive(Clone, Debug)]
pub struct Options {
    /// `sqlite:PATH` or `postgres://…`.
    pub url: String,
    /// Maximum number of connections: readers on SQLite, all on PostgreSQL.
    pub connections: u32,
    /// How long a call waits for a connection.
    pub wait: Duration,
    /// Maximum number of queued writes on SQLite.
    pub write_queue: usize,
    /// Maximum number of writes in one group commit on SQLite.
    pub write_group: usize,
    /// True to create a missing SQLite file.
    pub create: bool,
    /// True to lock an SQLite file against other servers.
    pub alone: bool,
}

impl Options {
    /// Returns the default settings for a database URL.
    pub fn new(url: impl Into<String>) -> Self {
        Self {
            url: url.into(),
            connections: 8,
            wait: Duration::from_secs(5),
            write_queue: 1024,
            write_group: 64,
            create: true,
            alone: false,
        }
    }

    pub(crate) fn connect(&self, connections: u32) -> ConnectOptions {
        let mut options = ConnectOptions::new(&self.url);
        options
            .max_connections(connections)
            .acquire_timeout(self.wait)
            .connect_timeout(self.wait)
            .sqlx_logging_level(log::LevelFilter::Trace)
            .sqlx_slow_statements_logging_settings(log::LevelFilter::Warn, Duration::from_secs(1));
        options
    }
}

/// Why a database could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum ConnectError {
    /// The URL is neither SQLite nor PostgreSQL.
    #[error("a database URL such as sqlite:scionary.db or postgres://user@host/name expected")]
    Url,
    /// The file does not exist, and `create` is false.
    #[error(
        "there is no file {}. Set storage.database (or --database) to the server's own, or start the server once: it makes the file",
        .0.display()
    )]
    NoFile(PathBuf),
    /// Opening failed: the reason and a remedy. The URL is left out because it may contain a password.
    #[error("{0}")]
    Open(String),
}

/// An open database.
#[derive(Clone, Debug)]
pub struct Store {
    backend: Backend,
    reader: Reader,
    writer: Writer,
    /// Own connection for migrations and health checks. It may write, and it shows whether the database answers
    /// even if all pooled connections are busy.
    admin: DatabaseConnection,
    condition: Condition,
    lock: Option<Arc<Lock>>,
    shown: Arc<str>,
}

impl Store {
    /// Opens a database without migrating it.
    ///
    /// # Errors
    /// Returns [`ConnectError`] when the URL is wrong or the database cannot be opened.
    pub async fn open(options: &Options) -> Result<Self, ConnectError> {
        if options.url.starts_with("sqlite:") {
            Self::open_sqlite(options).await
        } else if options.url.starts_with("postgres://") || options.url.starts_with("postgresql://") {
            Self::open_postgres(options).await
        } else {
            Err(ConnectError::Url)
        }
    }

    async fn open_sqlite(options: &Options) -> Result<Self, ConnectError> {
        let place = Place::new(options)?;
        place.prepare()?;
        let lock = if options.alone { place.lock()?.map(Arc::new) } else { None };
        let explain = |error: DbErr| place.explain(error);
        let first = place.connect(1, false).await.map_err(explain)?;
        // Creates the file and its journal mode before readers open it.
        first.execute_unprepared("PRAGMA user_version").await.map_err(explain)?;
        let reader = place.connect(options.connections.max(1), true).await.map_err(explain)?;
        let admin = place.connect_for_a_while().await.map_err(explain)?;
        let condition = Condition::of(place.files());
        let writer = Writer::grouped(
            place.clone(),
            first,
            condition.clone(),
            options.write_queue,
            options.write_group,
        );
        Ok(Self {
            backend: Backend::Sqlite,
            reader: Reader(reader),
            writer,
            admin,
            condition,
            lock,
            shown: place.shown().into(),
        })
    }

    async fn open_postgres(options: &Options) -> Result<Self, ConnectError> {
        let shut = |error: DbErr| {
            ConnectError::Open(format!(
                "the database server did not let us in: {}. Start it, or look at its address, user and password in storage.database",
                error.to_string().replace(&options.url, "the database")
            ))
        };
        // Connections open on demand; the second pool opens one, for health checks.
        let open = || Database::connect(options.connect(options.connections.max(2)));
        let pool = open().await.map_err(shut)?;
        let admin = open().await.map_err(shut)?;
        Ok(Self {
            backend: Backend::Postgres,
            reader: Reader(pool.clone()),
            writer: Writer::direct(pool.clone()),
            admin,
            condition: Condition::default(),
            lock: None,
            shown: "the PostgreSQL database".into(),
        })
    }

    /// Returns the kind of database.
    pub fn backend(&self) -> Backend {
        self.backend
    }
    /// Returns the readers' pool.
    pub fn reader(&self) -> &Reader {
        &self.reader
    }
    pub(crate) fn writer(&self) -> &Writer {
        &self.writer
    }
    /// Returns the raw connection for migrations.
    pub fn admin(&self) -> &DatabaseConnection {
        &self.admin
    }
    /// Returns the shared health record.
    pub fn condition(&self) -> &Condition {
        &self.condition
    }

    /// Checks that the database can be read and that its writer can begin a transaction. After a problem it
    /// also checks that a write commits. It records the result in the health record.
    ///
    /// # Errors
    /// Returns the problem as [`StoreError`].
    pub async fn examine(&self, now: Timestamp) -> Result<(), StoreError> {
        let ailed = self.condition.now();
        // Damage does not repair itself.
        if ailed == Some(Ailment::Damaged) {
            return Err(StoreError::Sick(Ailment::Damaged, "it was found damaged".into()));
        }
        let found = self.look(ailed.is_some(), now).await;
        match found {
            Ok(()) => {
                self.condition.well();
                Ok(())
            }
            Err(error) => Err(self.condition.note(error)),
        }
    }

    /// Checks that the database can be read and that a write commits.
    ///
    /// # Errors
    /// Returns the problem as [`StoreError`].
    pub async fn try_a_write(&self, now: Timestamp) -> Result<(), StoreError> {
        self.look(true, now).await
    }

    async fn look(&self, write: bool, now: Timestamp) -> Result<(), StoreError> {
        let away = |why: String| StoreError::Sick(Ailment::Away, why);
        match tokio::time::timeout(ANSWER, self.admin.execute_unprepared("SELECT 1")).await {
            Err(_) => return Err(away("no answer in time".into())),
            Ok(Err(error)) => {
                let error = StoreError::from(error);
                return Err(if let StoreError::Unavailable(why) = error { away(why) } else { error });
            }
            Ok(Ok(_)) => {}
        }
        let written = write.then_some(now);
        match self.backend {
            Backend::Postgres => match written {
                Some(now) => tokio::time::timeout(ANSWER, probe(&self.admin, now))
                    .await
                    .unwrap_or_else(|_| Err(away("no answer in time".into()))),
                None => Ok(()),
            },
            Backend::Sqlite => match tokio::time::timeout(WRITER_ANSWER, self.writer.probe(written)).await {
                Ok(Err(StoreError::Collision)) => {
                    Err(StoreError::Sick(Ailment::Held, "no transaction could be begun".into()))
                }
                Ok(looked) => looked,
                Err(_) => Err(StoreError::Sick(Ailment::Held, "the writer does not answer".into())),
            },
        }
    }

    /// Runs SQLite's own checks on the file and returns at most five findings. It checks nothing on PostgreSQL,
    /// where that is the operator's job.
    ///
    /// # Errors
    /// Returns [`StoreError`] when the file cannot be read.
    pub async fn damage(&self) -> Result<Vec<String>, StoreError> {
        if self.backend == Backend::Postgres {
            return Ok(Vec::new());
        }
        let mut found = Vec::new();
        for (sql, column) in [("PRAGMA quick_check(5)", "quick_check"), ("PRAGMA foreign_key_check", "table")]
        {
            let statement = Statement::from_string(sea_orm::DatabaseBackend::Sqlite, sql);
            for row in self.reader.0.query_all_raw(statement).await? {
                let text: String = row.try_get("", column).map_err(StoreError::from)?;
                if column == "table" {
                    found.push(format!("a row of {text} names one that is not there"));
                } else if text != "ok" {
                    found.push(text);
                }
                if found.len() == 5 {
                    return Ok(found);
                }
            }
        }
        Ok(found)
    }

    /// Checks for damage and records it in the health record.
    ///
    /// # Errors
    /// Returns [`StoreError`] when the file is damaged or cannot be read.
    pub async fn look_for_damage(&self) -> Result<(), StoreError> {
        let found = self.damage().await;
        let found = found.and_then(|found| match found.is_empty() {
            true => Ok(()),
            false => Err(StoreError::Sick(Ailment::Damaged, format!("{}: {}", self.shown, found.join("; ")))),
        });
        found.map_err(|error| self.condition.note(error))
    }

    /// Returns a name for people: the path, for a file. Never the URL, which may contain a password.
    pub fn shown(&self) -> &str {
        &self.shown
    }

    /// Waits for writes in progress, then closes all connections.
    pub async fn close(self) {
        self.writer.finish().await;
        let _ = self.reader.0.close().await;
        let _ = self.admin.close().await;
        if let Some(lock) = &self.lock {
            lock.closed();
        }
    }
}

/// Writes a setting without meaning, to see whether the write commits.
pub(crate) async fn probe(db: &DatabaseConnection, now: Timestamp) -> Result<(), StoreError> {
    let tx = Tx(db.begin().await?);
    records::set_setting(&tx, PROBE, "", now).await?;
    tx.0.commit().await?;
    Ok(())
}
