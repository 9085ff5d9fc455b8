//! File of an SQLite database: its permissions, how it is opened, whether it is still in place, and the lock
//! that makes one server its only user.

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

/// Content of the lock file while a server runs. A later start that finds it knows that the server was not
/// stopped in order.
const SERVED: &[u8] = b"a server serves this database\n";

/// Location and options of the database.
#[derive(Clone, Debug)]
pub(crate) struct Place {
    options: Options,
    /// Path of the file; `None` for a database in memory.
    file: Option<PathBuf>,
}

/// Returns the path of a companion file of the database: `-wal`, `-shm`, `-lock`.
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

    /// Creates the file if the options allow it, and checks that it is an SQLite database.
    ///
    /// # Errors
    /// Returns [`ConnectError`] with a remedy when the file is missing, unreadable or no database.
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
                // First bytes of every SQLite database (sqlite.org/fileformat2.html); a new file is empty.
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

    /// Opens connections that write or only read. They never create the file.
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

    /// Opens a connection for migrations and checks; it closes after 10 seconds of idling.
    pub(crate) async fn connect_for_a_while(&self) -> Result<DatabaseConnection, DbErr> {
        let mut connect = self.options.connect(1);
        connect.min_connections(0).idle_timeout(Duration::from_secs(10));
        settled(&mut connect, false);
        Database::connect(connect).await
    }

    /// Explains why opening failed, with the path and a remedy.
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

    /// Returns the path for messages.
    pub(crate) fn shown(&self) -> String {
        self.file.as_ref().map_or_else(|| "the database in memory".into(), |f| f.display().to_string())
    }

    /// Returns the present files with their identities; call it while a connection is open.
    pub(crate) fn files(&self) -> Files {
        let Some(file) = &self.file else { return Files(Vec::new()) };
        let seen = ["", "-wal", "-shm"].map(|end| beside(file, end)).map(|path| {
            let identity = identity(&path);
            (path, identity)
        });
        Files(seen.into_iter().filter_map(|(path, identity)| Some((path, identity?))).collect())
    }

    /// Locks the database against other servers until the lock is dropped.
    ///
    /// # Errors
    /// Returns [`ConnectError`] when another server holds the lock, or when the lock file cannot be written.
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
            // An acknowledged write survives a power cut; group commit pays the cost.
            .synchronous(SqliteSynchronous::Full)
            .busy_timeout(Duration::from_secs(5))
            .foreign_keys(true)
            // `Place::prepare` creates it; a file that was moved away must not be replaced by an empty one.
            .create_if_missing(false)
            .pragma("cache_size", "-16384")
            .statement_cache_capacity(256);
        if reads_only { o.pragma("query_only", "on") } else { o }
    });
}

/// Fails if a transaction is still open, because SQLite then refuses this statement (pragma.c: "Safety level
/// may not be changed inside a transaction"). Success proves that earlier work was committed.
pub(crate) async fn is_out_of_transactions(db: &DatabaseConnection) -> Result<(), DbErr> {
    db.execute_unprepared("PRAGMA synchronous = FULL").await.map(|_| ())
}

/// Lock that makes this server the only user of a file.
#[derive(Debug)]
pub(crate) struct Lock(File);

impl Lock {
    fn holds(&self, text: &[u8]) -> std::io::Result<()> {
        let mut file = &self.0;
        file.set_len(0)?;
        file.rewind()?;
        file.write_all(text)
    }
    /// Records that the server closed the database in order.
    pub(crate) fn closed(&self) {
        if let Err(error) = self.holds(b"") {
            tracing::warn!(%error, "the lock could not be marked as given back");
        }
    }
}

/// Files by identity, independent of their names.
#[derive(Clone, Debug, Default)]
pub(crate) struct Files(Vec<(PathBuf, (u64, u64))>);

impl Files {
    /// Returns true if the log and its index existed too.
    pub(crate) fn are_all(&self) -> bool {
        self.0.is_empty() || self.0.len() == 3
    }
    /// Returns the database file alone.
    pub(crate) fn first(&self) -> Self {
        Self(self.0.first().cloned().into_iter().collect())
    }
    /// Checks that every path still leads to the same file.
    ///
    /// # Errors
    /// Returns [`StoreError::Sick`] with [`Ailment::Moved`] when a file was moved, replaced or deleted.
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

/// Returns device and inode number of a file. Other systems than Unix only check existence.
#[cfg(unix)]
fn identity(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt as _;
    std::fs::metadata(path).ok().map(|m| (m.dev(), m.ino()))
}
#[cfg(not(unix))]
fn identity(path: &Path) -> Option<(u64, u64)> {
    path.exists().then_some((0, 0))
}

/// Creates a file that only its owner can access, with any umask, because it holds password hashes and
/// sessions. SQLite gives its companion files the same permissions.
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
