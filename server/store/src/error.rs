//! What can go wrong below: named conflicts, a database that is away, a row that cannot be read.

use sea_orm::{DbErr, RuntimeErr, SqlErr};

use crate::condition::Ailment;

/// An error of the store.
#[derive(Clone, Debug, thiserror::Error)]
pub enum StoreError {
    /// Something with that key exists.
    #[error("it exists already")]
    Exists,
    /// The database cannot be reached or is too busy; trying again may help.
    #[error("the database is not available: {0}")]
    Unavailable(String),
    /// The place where things are kept is in trouble: what it is, and what the database said.
    #[error("the database is in trouble, as {what}: {1}", what = .0.what())]
    Sick(Ailment, String),
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
/// A call that took too long, or was called off: trying again may help.
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
