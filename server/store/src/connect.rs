//! Opening a database, and looking whether it is well.

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

/// How long a database server may take for the smallest question.
const ANSWER: Duration = Duration::from_secs(2);
/// How long the writer may be busy with what came before a look at it: the largest imports take some ten seconds.
const WRITER_ANSWER: Duration = Duration::from_secs(60);
/// The setting that a look writes.
const PROBE: &str = "storage.probe";

/// Which database it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Backend {
    /// An embedded file.
    Sqlite,
    /// A PostgreSQL server.
    Postgres,
}

/// How to open a database.
#[derive(Clone, Debug)]
pub struct Options {
    /// `sqlite:PATH` or `postgres://…`.
    pub url: String,
    /// Connections at most: readers on SQLite, all on PostgreSQL.
    pub connections: u32,
    /// How long a call waits for a connection.
    pub wait: Duration,
    /// Writes that may wait on SQLite.
    pub write_queue: usize,
    /// Writes committed together at most on SQLite.
    pub write_group: usize,
    /// Make an SQLite file that is not there yet.
    pub create: bool,
    /// Keep other servers from an SQLite file.
    pub alone: bool,
}

impl Options {
    /// The usual settings for a database.
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
    /// Neither SQLite nor PostgreSQL.
    #[error("a database URL such as sqlite:scionary.db or postgres://user@host/name expected")]
    Url,
    /// There is no such file, and none is to be made.
    #[error(
        "there is no file {}. Set storage.database (or --database) to the server's own, or start the server once: it makes the file",
        .0.display()
    )]
    NoFile(PathBuf),
    /// It could not be opened: why, and what to do. The URL is left out: it may hold a password.
    #[error("{0}")]
    Open(String),
}

/// An open database.
#[derive(Clone, Debug)]
pub struct Store {
    backend: Backend,
    reader: Reader,
    writer: Writer,
    /// For migrations and looks: a connection of their own that may write, so that a look tells whether the database
    /// answers, and not whether all connections are at work.
    admin: DatabaseConnection,
    condition: Condition,
    lock: Option<Arc<Lock>>,
    shown: Arc<str>,
}

impl Store {
    /// Opens a database. Nothing is migrated yet.
    ///
    /// # Errors
    /// [`ConnectError`].
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
        // the file and its journal mode exist before readers come
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
        // opened as they are needed: of the second pool that is one, for looks
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

    /// Which database it is.
    pub fn backend(&self) -> Backend {
        self.backend
    }
    /// The readers' pool.
    pub fn reader(&self) -> &Reader {
        &self.reader
    }
    pub(crate) fn writer(&self) -> &Writer {
        &self.writer
    }
    /// The raw connection, for migrations.
    pub fn admin(&self) -> &DatabaseConnection {
        &self.admin
    }
    /// What is known of its health.
    pub fn condition(&self) -> &Condition {
        &self.condition
    }

    /// Looks whether it can be read, and whether its writer can begin a transaction; where something ailed it, also
    /// whether a write is committed. What is found is noted as its condition.
    ///
    /// # Errors
    /// What is wrong.
    pub async fn examine(&self, now: Timestamp) -> Result<(), StoreError> {
        let ailed = self.condition.now();
        // what was damaged does not mend by itself
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

    /// Looks whether it can be read, and whether a write is committed.
    ///
    /// # Errors
    /// What is wrong.
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

    /// Looks for damage in an SQLite file: what SQLite's own checks find, at most a few lines. PostgreSQL is asked
    /// nothing: its checks belong to whoever runs it.
    ///
    /// # Errors
    /// It cannot be read.
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

    /// Looks for damage, and notes it as the store's condition.
    ///
    /// # Errors
    /// It cannot be read.
    pub async fn look_for_damage(&self) -> Result<(), StoreError> {
        let found = self.damage().await;
        let found = found.and_then(|found| match found.is_empty() {
            true => Ok(()),
            false => Err(StoreError::Sick(Ailment::Damaged, format!("{}: {}", self.shown, found.join("; ")))),
        });
        found.map_err(|error| self.condition.note(error))
    }

    /// What people call it: its path, for a file. Never its URL, which may hold a password.
    pub fn shown(&self) -> &str {
        &self.shown
    }

    /// Waits for writes under way, then closes all connections.
    pub async fn close(self) {
        self.writer.finish().await;
        let _ = self.reader.0.close().await;
        let _ = self.admin.close().await;
        if let Some(lock) = &self.lock {
            lock.closed();
        }
    }
}

/// Writes a line of no meaning, and looks whether it is committed.
pub(crate) async fn probe(db: &DatabaseConnection, now: Timestamp) -> Result<(), StoreError> {
    let tx = Tx(db.begin().await?);
    records::set_setting(&tx, PROBE, "", now).await?;
    tx.0.commit().await?;
    Ok(())
}
