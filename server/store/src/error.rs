//! Errors of the store: named conflicts, an unavailable database, an unreadable row.

use sea_orm::{DbErr, RuntimeErr, SqlErr};

use crate::condition::Ailment;

/// An error of the store.
#[derive(Clone, Debug, thiserror::Error)]
pub enum StoreError {
    /// A row with the same unique key exists.
    #[error("it exists already")]
    Exists,
    /// The database cannot be reached or is too busy; a retry may help.
    #[error("the database is not available: {0}")]
    Unavailable(String),
    /// The database or its disk has a problem: its kind, and the database's message.
    #[error("the database is in trouble, as {what}: {1}", what = .0.what())]
    Sick(Ailment, String),
    /// Two writers collided; a retry helps.
    #[error("two writers met")]
    Collision,
    /// The writer's queue is full.
    #[error("too many writes are waiting")]
    Busy,
    /// Stored data cannot be read, because of a bug or a foreign writer.
    #[error("{what} is not readable: {why}")]
    Corrupt {
        /// Column that cannot be read.
        what: &'static str,
        /// Reason from the parser.
        why: String,
    },
    /// Any other error of the database.
    #[error("the database refused: {0}")]
    Refused(String),
}

impl StoreError {
    /// Replaces [`StoreError::Exists`] by `meaning`, and converts every other error.
    pub fn if_exists<E: From<Self>>(self, meaning: E) -> E {
        if matches!(self, Self::Exists) { meaning } else { self.into() }
    }
    pub(crate) fn corrupt(what: &'static str, why: impl std::fmt::Display) -> Self {
        Self::Corrupt { what, why: why.to_string() }
    }
}

/// SQLSTATEs and SQLite codes of conflicts that a retry resolves: serialization failure, deadlock; busy, busy
/// snapshot, busy recovery.
const COLLISIONS: [&str; 5] = ["40001", "40P01", "5", "517", "261"];
/// SQLSTATE of a cancelled query, such as after a timeout; a retry may help.
const TOO_SLOW: &str = "57014";

impl From<DbErr> for StoreError {
    fn from(error: DbErr) -> Self {
        if let Some(SqlErr::UniqueConstraintViolation(_)) = error.sql_err() {
            return Self::Exists;
        }
        let text = error.to_string();
        if let DbErr::Query(RuntimeErr::SqlxError(e))
        | DbErr::Exec(RuntimeErr::SqlxError(e))
        | DbErr::Conn(RuntimeErr::SqlxError(e)) = &error
        {
            return match e.as_database_error().and_then(|d| d.code()) {
                Some(code) if COLLISIONS.contains(&code.as_ref()) => Self::Collision,
                Some(code) if code == TOO_SLOW => Self::Unavailable(text),
                Some(code) => match Ailment::of(&code) {
                    Some(ailment) => Self::Sick(ailment, text),
                    None => Self::Refused(text),
                },
                // Without a code the connection broke before the database answered.
                None => Self::Unavailable(text),
            };
        }
        #[expect(clippy::wildcard_enum_match_arm, reason = "the library's own enum, open to new variants")]
        match error {
            DbErr::ConnectionAcquire(_) | DbErr::Conn(_) => Self::Unavailable(text),
            _ => Self::Refused(text),
        }
    }
}
