//! Opening a database.

use std::time::Duration;

use sea_orm::{
    ConnectOptions, ConnectionTrait, Database, DatabaseConnection, DbErr,
    sqlx::sqlite::{SqliteJournalMode, SqliteSynchronous},
};

use crate::{door::Writer, error::StoreError, source::Reader};

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
        }
    }
}

/// Why a database could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum ConnectError {
    /// Neither SQLite nor PostgreSQL.
    #[error("a database URL such as sqlite:scionary.db or postgres://user@host/name expected")]
    Url,
    /// The database said no. The URL is left out: it may hold a password.
    #[error("the database could not be opened: {0}")]
    Open(String),
}

/// An open database.
#[derive(Clone, Debug)]
pub struct Store {
    backend: Backend,
    reader: Reader,
    writer: Writer,
    /// For migrations and checks: a connection that may write.
    admin: DatabaseConnection,
}

fn base(url: &str, connections: u32, wait: Duration) -> ConnectOptions {
    let mut options = ConnectOptions::new(url);
    options
        .max_connections(connections)
        .acquire_timeout(wait)
        .connect_timeout(wait)
        .sqlx_logging_level(log::LevelFilter::Trace)
        .sqlx_slow_statements_logging_settings(log::LevelFilter::Warn, Duration::from_secs(1));
    options
}

impl Store {
    /// Opens a database. Nothing is migrated yet.
    ///
    /// # Errors
    /// [`ConnectError`].
    pub async fn open(options: &Options) -> Result<Self, ConnectError> {
        let backend = if options.url.starts_with("sqlite:") {
            Backend::Sqlite
        } else if options.url.starts_with("postgres://") || options.url.starts_with("postgresql://") {
            Backend::Postgres
        } else {
            return Err(ConnectError::Url);
        };
        let shown = |e: DbErr| ConnectError::Open(hide_password(&e.to_string(), &options.url));
        match backend {
            Backend::Sqlite => {
                make_private(&options.url).map_err(|e| ConnectError::Open(e.to_string()))?;
                let writer = Database::connect(sqlite(options, 1, false)).await.map_err(shown)?;
                // the file and its journal mode exist before readers come
                writer.execute_unprepared("PRAGMA user_version").await.map_err(shown)?;
                let reader = Database::connect(sqlite(options, options.connections.max(1), true))
                    .await
                    .map_err(shown)?;
                Ok(Self {
                    backend,
                    reader: Reader(reader),
                    writer: Writer::grouped(writer.clone(), options.write_queue, options.write_group),
                    admin: writer,
                })
            }
            Backend::Postgres => {
                let pool = Database::connect(base(&options.url, options.connections.max(2), options.wait))
                    .await
                    .map_err(shown)?;
                Ok(Self {
                    backend,
                    reader: Reader(pool.clone()),
                    writer: Writer::direct(pool.clone()),
                    admin: pool,
                })
            }
        }
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
    /// Whether the database answers.
    ///
    /// # Errors
    /// [`StoreError::Unavailable`] and the like.
    pub async fn ping(&self) -> Result<(), StoreError> {
        self.reader.0.execute_unprepared("SELECT 1").await?;
        Ok(())
    }
    /// Waits for writes under way, then closes all connections.
    pub async fn close(self) {
        self.writer.finish().await;
        let _ = self.reader.0.close().await;
        let _ = self.admin.close().await;
    }
}

fn sqlite(options: &Options, connections: u32, read_only: bool) -> ConnectOptions {
    let mut connect = base(&options.url, connections, options.wait);
    connect.idle_timeout(None::<Duration>).max_lifetime(None::<Duration>);
    connect.map_sqlx_sqlite_opts(move |o| {
        let o = o
            .journal_mode(SqliteJournalMode::Wal)
            // an acknowledged write survives a power cut; group commit pays for it
            .synchronous(SqliteSynchronous::Full)
            .busy_timeout(Duration::from_secs(5))
            .foreign_keys(true)
            .create_if_missing(true)
            .pragma("cache_size", "-16384")
            .statement_cache_capacity(256);
        if read_only { o.pragma("query_only", "on") } else { o }
    });
    connect
}

/// A new file is its owner's alone, whatever the umask: it holds password hashes and sessions. SQLite gives
/// the files beside it the same permissions.
fn make_private(url: &str) -> std::io::Result<()> {
    let path = url.trim_start_matches("sqlite:").trim_start_matches("//");
    let path = path.split('?').next().unwrap_or_default();
    if path.is_empty() || path == ":memory:" {
        return Ok(());
    }
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    match options.open(path) {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => Err(error),
        Ok(_) | Err(_) => Ok(()),
    }
}

fn hide_password(text: &str, url: &str) -> String {
    text.replace(url, "the database")
}
