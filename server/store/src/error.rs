//! What can go wrong below: named conflicts, a database that is away, a row that cannot be read.

use sea_orm::{DbErr, RuntimeErr, SqlErr};

/// An error of the store.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Something with that key exists.
    #[error("it exists already")]
    Exists,
    /// The database cannot be reached or is too busy; trying again may help.
    #[error("the database is not available: {0}")]
    Unavailable(String),
    /// Two writers met; trying again helps.
    #[error("two writers met")]
    Collision,
    /// The writer's queue is full.
    #[error("too many writes are waiting")]
    Busy,
    /// Stored data cannot be read: a bug, or another program wrote it.
    #[error("{what} is not readable: {why}")]
    Corrupt {
        /// Which column.
        what: &'static str,
        /// Why.
        why: String,
    },
    /// Anything else that the database says.
    #[error("the database refused: {0}")]
    Refused(String),
}

impl StoreError {
    /// Another error in place of [`StoreError::Exists`]: what it means that the thing exists.
    pub fn if_exists<E: From<Self>>(self, meaning: E) -> E {
        if matches!(self, Self::Exists) { meaning } else { self.into() }
    }
    pub(crate) fn corrupt(what: &'static str, why: impl std::fmt::Display) -> Self {
        Self::Corrupt { what, why: why.to_string() }
    }
}

/// SQLSTATE and SQLite codes of conflicts that go away by trying again: serialization failure, deadlock;
/// busy, busy snapshot.
const COLLISIONS: [&str; 5] = ["40001", "40P01", "5", "517", "261"];
/// SQLSTATE classes of a server that is going away or full.
const AWAY: [&str; 5] = ["57P01", "57P02", "57P03", "53300", "57014"];

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
            return match e.as_database_error().and_then(|d| d.code().map(|c| c.to_string())) {
                Some(code) if COLLISIONS.contains(&code.as_str()) => Self::Collision,
                Some(code) if AWAY.contains(&code.as_str()) => Self::Unavailable(text),
                Some(_) => Self::Refused(text),
                // no answer of the database: the connection broke
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
