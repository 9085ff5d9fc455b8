//! The file of an SQLite database: who may read it, how it is opened, whether it is still where it was, and that one
//! server alone serves it.

use std::{
    fs::{File, OpenOptions, TryLockError},
    io::{Read as _, Seek as _, Write as _},
    path::{Path, PathBuf},
    str::FromStr as _,
    time::Duration,
};

use sea_orm::{
    ConnectOptions, ConnectionTrait as _, Database, DatabaseConnection, DbErr,
    sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous},
};

use crate::{
    condition::Ailment,
    connect::{ConnectError, Options},
    error::StoreError,
};

/// What the lock file holds while a server serves the database: left there, the server was not stopped.
const SERVED: &[u8] = b"a server serves this database\n";

/// Where the database is, and how it is opened.
#[derive(Clone, Debug)]
pub(crate) struct Place {
    options: Options,
    /// None for a database in memory.
    file: Option<PathBuf>,
}

/// A file beside a database's own: `-wal`, `-shm`, `-lock`.
fn beside(file: &Path, ending: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

impl Place {
    pub(crate) fn new(options: &Options) -> Result<Self, ConnectError> {
        let parsed = SqliteConnectOptions::from_str(&options.url).map_err(|_| ConnectError::Url)?;
        let in_memory = options.url.contains(":memory:") || options.url.contains("mode=memory");
        let file = (!in_memory).then(|| parsed.get_filename().to_path_buf());
        Ok(Self { options: options.clone(), file })
    }

    /// Makes the file where it may, and looks whether it can be what it should be.
    ///
    /// # Errors
    /// There is none, or it cannot be read: what to do.
    pub(crate) fn prepare(&self) -> Result<(), ConnectError> {
        let Some(file) = &self.file else { return Ok(()) };
        let shown = file.display();
        if self.options.create {
            make_private(file).map_err(|e| {
                ConnectError::Open(format!(
                    "{shown} could not be made: {e}. Make its folder, and let the server's user write there; or set storage.database"
                ))
            })?;
        }
        match File::open(file) {
            Ok(open) => {
                let mut head = Vec::new();
                let read = open.take(16).read_to_end(&mut head);
                read.map_err(|e| ConnectError::Open(format!("{shown} could not be read: {e}")))?;
                // the first bytes of every SQLite database (sqlite.org/fileformat2.html); a new one is empty
                if !head.is_empty() && head != b"SQLite format 3\0" {
                    return Err(ConnectError::Open(format!(
                        "{shown} is no SQLite database, or its beginning is damaged. {}; or set storage.database to another file",
                        capital(Ailment::Damaged.remedy())
                    )));
                }
                Ok(())
            }
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                Err(ConnectError::NoFile(file.clone()))
            }
            Err(error) => Err(ConnectError::Open(format!(
                "{shown} could not be read: {error}. Run this as the user that owns it"
            ))),
        }
    }

    /// Connections that write, or read only. None of them makes a file.
    pub(crate) async fn connect(
        &self,
        connections: u32,
        reads_only: bool,
    ) -> Result<DatabaseConnection, DbErr> {
        let mut connect = self.options.connect(connections);
        connect.idle_timeout(None::<Duration>).max_lifetime(None::<Duration>);
        settled(&mut connect, reads_only);
        Database::connect(connect).await
    }

    /// A connection for migrations and checks, which goes when it is not used.
    pub(crate) async fn connect_for_a_while(&self) -> Result<DatabaseConnection, DbErr> {
        let mut connect = self.options.connect(1);
        connect.min_connections(0).idle_timeout(Duration::from_secs(10));
        settled(&mut connect, false);
        Database::connect(connect).await
    }

    /// Why it could not be opened, with its path and what to do.
    pub(crate) fn explain(&self, error: DbErr) -> ConnectError {
        let said = error.to_string();
        let shown = self.shown();
        ConnectError::Open(match StoreError::from(error) {
            StoreError::Sick(ailment, _) => {
                format!(
                    "{shown} could not be opened: {} ({said}). {}",
                    ailment.what(),
                    capital(ailment.remedy())
                )
            }
            StoreError::Collision => {
                format!("{shown} is held by another program ({said}). {}", capital(Ailment::Held.remedy()))
            }
            StoreError::Exists
            | StoreError::Unavailable(_)
            | StoreError::Busy
            | StoreError::Corrupt { .. }
            | StoreError::Refused(_) => format!("{shown} could not be opened: {said}"),
        })
    }

    /// Its path.
    pub(crate) fn shown(&self) -> String {
        self.file.as_ref().map_or_else(|| "the database in memory".into(), |f| f.display().to_string())
    }

    /// The files as they are now, once a connection is open.
    pub(crate) fn files(&self) -> Files {
        let Some(file) = &self.file else { return Files(Vec::new()) };
        let seen = ["", "-wal", "-shm"].map(|end| beside(file, end)).map(|path| {
            let identity = identity(&path);
            (path, identity)
        });
        Files(seen.into_iter().filter_map(|(path, identity)| Some((path, identity?))).collect())
    }

    /// Keeps all other servers from this file until the lock is dropped.
    ///
    /// # Errors
    /// Another server serves it, or the lock cannot be made.
    pub(crate) fn lock(&self) -> Result<Option<Lock>, ConnectError> {
        let Some(file) = &self.file else { return Ok(None) };
        let path = beside(file, "-lock");
        let shown = path.display();
        let failed = |e: std::io::Error| {
            ConnectError::Open(format!(
                "{shown} could not be made: {e}. Let the server's user write to its folder"
            ))
        };
        let mut open = OpenOptions::new();
        open.read(true).write(true).create(true).truncate(false);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut open, 0o600);
        let mut lock = open.open(&path).map_err(failed)?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(ConnectError::Open(format!(
                    "another server serves {} already. Stop it first; several servers at once need PostgreSQL",
                    file.display()
                )));
            }
            Err(TryLockError::Error(error)) => return Err(failed(error)),
        }
        let mut was = Vec::new();
        lock.read_to_end(&mut was).map_err(failed)?;
        if was == SERVED && !beside(file, "-wal").exists() {
            tracing::warn!(
                "the server was not stopped last time, and {}-wal, which held the last writes, is gone. If no other program opened the database since, those writes are lost: put the file back before anything else is written",
                file.display()
            );
        }
        let lock = Lock(lock);
        lock.holds(SERVED).map_err(failed)?;
        Ok(Some(lock))
    }
}

fn settled(connect: &mut ConnectOptions, reads_only: bool) {
    connect.map_sqlx_sqlite_opts(move |o| {
        let o = o
            .journal_mode(SqliteJournalMode::Wal)
            // an acknowledged write survives a power cut; group commit pays for it
            .synchronous(SqliteSynchronous::Full)
            .busy_timeout(Duration::from_secs(5))
            .foreign_keys(true)
            // `Place::prepare` makes it; one that was moved away is not replaced by an empty one
            .create_if_missing(false)
            .pragma("cache_size", "-16384")
            .statement_cache_capacity(256);
        if reads_only { o.pragma("query_only", "on") } else { o }
    });
}

/// Fails where a transaction is still open: SQLite refuses this statement then (pragma.c: "Safety level may not be
/// changed inside a transaction"). So it says for certain that what went before was committed.
pub(crate) async fn is_out_of_transactions(db: &DatabaseConnection) -> Result<(), DbErr> {
    db.execute_unprepared("PRAGMA synchronous = FULL").await.map(|_| ())
}

/// The right to serve a file alone.
#[derive(Debug)]
pub(crate) struct Lock(File);

impl Lock {
    fn holds(&self, text: &[u8]) -> std::io::Result<()> {
        let mut file = &self.0;
        file.set_len(0)?;
        file.rewind()?;
        file.write_all(text)
    }
    /// The database was closed in order.
    pub(crate) fn closed(&self) {
        if let Err(error) = self.holds(b"") {
            tracing::warn!(%error, "the lock could not be marked as given back");
        }
    }
}

/// Files by what they are, whatever they are called.
#[derive(Clone, Debug, Default)]
pub(crate) struct Files(Vec<(PathBuf, (u64, u64))>);

impl Files {
    /// Whether the log and its index were there to be seen.
    pub(crate) fn are_all(&self) -> bool {
        self.0.is_empty() || self.0.len() == 3
    }
    /// The database's own file alone.
    pub(crate) fn first(&self) -> Self {
        Self(self.0.first().cloned().into_iter().collect())
    }
    /// Looks whether they are still where they were.
    ///
    /// # Errors
    /// One was moved, replaced or deleted.
    pub(crate) fn look(&self) -> Result<(), StoreError> {
        match self.0.iter().find(|(path, was)| identity(path).as_ref() != Some(was)) {
            None => Ok(()),
            Some((path, _)) => Err(StoreError::Sick(
                Ailment::Moved,
                format!("{} is not the file that was opened", path.display()),
            )),
        }
    }
}

/// What a file is: its device and its number there. Elsewhere than on Unix it is not known, and not compared.
#[cfg(unix)]
fn identity(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt as _;
    std::fs::metadata(path).ok().map(|m| (m.dev(), m.ino()))
}
#[cfg(not(unix))]
fn identity(path: &Path) -> Option<(u64, u64)> {
    path.exists().then_some((0, 0))
}

/// A new file is its owner's alone, whatever the umask: it holds password hashes and sessions. SQLite gives
/// the files beside it the same permissions.
fn make_private(file: &Path) -> std::io::Result<()> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    match options.open(file) {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => Err(error),
        Ok(_) | Err(_) => Ok(()),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
}
