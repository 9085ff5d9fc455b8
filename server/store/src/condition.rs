//! Health of the database, and what an operator can do about it. Every part of the store notes errors here;
//! `Store::examine` finds out whether the trouble is over.

use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::watch;

use crate::{error::StoreError, sqlite::Files};

/// A problem of the database or its disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ailment {
    /// The disk is full.
    Full,
    /// The database may only be read.
    ReadOnly,
    /// The stored data is damaged, or the file is no database.
    Damaged,
    /// The disk fails.
    Unreadable,
    /// The database lacks memory.
    Memory,
    /// The database file, or one that belongs to it, was moved, replaced or deleted while the server ran.
    Moved,
    /// Another program holds the database, or one of our writes does not end.
    Held,
    /// The database server does not answer.
    Away,
}

impl Ailment {
    /// Returns the problem as the middle of a sentence.
    pub fn what(self) -> &'static str {
        match self {
            Self::Full => "its disk is full",
            Self::ReadOnly => "it may be read only",
            Self::Damaged => "what it holds is damaged",
            Self::Unreadable => "its disk fails",
            Self::Memory => "it lacks memory",
            Self::Moved => "its file, or one that belongs to it, was moved or deleted while the server ran",
            Self::Held => "another program holds it, or a write does not end",
            Self::Away => "it does not answer",
        }
    }

    /// Returns what the operator should do.
    pub fn remedy(self) -> &'static str {
        match self {
            Self::Full => "make room on its disk; the server goes on by itself",
            Self::ReadOnly => {
                "give the server's user the right to write to the file and its folder, or mount the disk for writing; then start the server again"
            }
            Self::Damaged => {
                "stop the server, keep the file and those beside it, and put the last good copy back with deploy/restore"
            }
            Self::Unreadable => "look at the disk and at the system's log; copy the file elsewhere first",
            Self::Memory => "free memory, or give the database more; the server goes on by itself",
            Self::Moved => {
                "stop the server, put the file back beside those that end in -wal and -shm, and start it again"
            }
            Self::Held => "end the other program that uses the database",
            Self::Away => {
                "start the database server, or look whether it can be reached; the server goes on by itself"
            }
        }
    }

    /// Maps an SQLite result code, extended or not (sqlite.org/rescode.html); the low byte is the primary code.
    fn of_sqlite(code: i64) -> Option<Self> {
        // SQLITE_READONLY_DBMOVED: the file was moved.
        if code == 1032 {
            return Some(Self::Moved);
        }
        match code & 0xff {
            7 => Some(Self::Memory),
            8 => Some(Self::ReadOnly),
            10 | 14 => Some(Self::Unreadable),
            11 | 26 => Some(Self::Damaged),
            13 => Some(Self::Full),
            _ => None,
        }
    }

    /// Maps an SQLSTATE (PostgreSQL's manual, appendix A).
    fn of_postgres(code: &str) -> Option<Self> {
        match code {
            "53100" => Some(Self::Full),
            "53200" => Some(Self::Memory),
            // A standby, or default_transaction_read_only.
            "25006" => Some(Self::ReadOnly),
            "58030" => Some(Self::Unreadable),
            "XX001" | "XX002" => Some(Self::Damaged),
            // Shutting down, starting up, too many connections, or a broken connection.
            "57P01" | "57P02" | "57P03" | "53300" => Some(Self::Away),
            _ if code.starts_with("08") => Some(Self::Away),
            _ => None,
        }
    }

    /// Maps a code of either database. SQLSTATEs have five characters; SQLite's codes are shorter numbers.
    pub(crate) fn of(code: &str) -> Option<Self> {
        if code.len() == 5 { Self::of_postgres(code) } else { code.parse().ok().and_then(Self::of_sqlite) }
    }
}

/// Shared record of the store's health. Clones share the state.
#[derive(Clone, Debug)]
pub struct Condition(Arc<Known>);

#[derive(Debug)]
struct Known {
    ailment: watch::Sender<Option<Ailment>>,
    /// The database files that were opened.
    files: Mutex<Files>,
}

impl Default for Condition {
    fn default() -> Self {
        Self::of(Files::default())
    }
}

impl Condition {
    pub(crate) fn of(files: Files) -> Self {
        Self(Arc::new(Known { ailment: watch::Sender::new(None), files: Mutex::new(files) }))
    }
    pub(crate) fn files(&self) -> Files {
        self.0.files.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
    /// Replaces the files that must exist.
    pub(crate) fn expects(&self, files: Files) {
        *self.0.files.lock().unwrap_or_else(PoisonError::into_inner) = files;
    }
    /// Returns the current problem; `None` if healthy.
    pub fn now(&self) -> Option<Ailment> {
        *self.0.ailment.borrow()
    }
    /// Records an error if it is a problem of the database, and returns it. A missing file overrides SQLite's
    /// own error, which can be misleading.
    #[must_use]
    pub fn note(&self, error: StoreError) -> StoreError {
        let StoreError::Sick(said, why) = &error else { return error };
        let (ailment, why) = match self.files().look() {
            Err(StoreError::Sick(Ailment::Moved, where_)) if *said != Ailment::Moved => {
                (Ailment::Moved, format!("{where_}; {why}"))
            }
            Ok(()) | Err(_) => (*said, why.clone()),
        };
        if self.set(Some(ailment)) {
            tracing::error!(what = ailment.what(), remedy = ailment.remedy(), %why, "the database is in trouble");
        }
        StoreError::Sick(ailment, why)
    }
    /// Records that the database is healthy again.
    pub(crate) fn well(&self) {
        if self.set(None) {
            tracing::info!("the database is well again");
        }
    }
    fn set(&self, now: Option<Ailment>) -> bool {
        self.0.ailment.send_if_modified(|was| {
            let changed = *was != now;
            *was = now;
            changed
        })
    }
    /// Waits until the state changes.
    pub async fn changed(&self) {
        let _ = self.0.ailment.subscribe().changed().await;
    }
    /// Waits until the database does not answer.
    pub async fn lost(&self) {
        let _ = self.0.ailment.subscribe().wait_for(|now| *now == Some(Ailment::Away)).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes from sqlite.org/rescode.html and from PostgreSQL's manual, appendix A.
    #[test]
    fn codes_of_both_databases_are_known() {
        for (code, ailment) in [
            ("13", Some(Ailment::Full)),
            ("8", Some(Ailment::ReadOnly)),
            ("776", Some(Ailment::ReadOnly)),
            ("1032", Some(Ailment::Moved)),
            ("10", Some(Ailment::Unreadable)),
            ("778", Some(Ailment::Unreadable)),
            ("1034", Some(Ailment::Unreadable)),
            ("11", Some(Ailment::Damaged)),
            ("26", Some(Ailment::Damaged)),
            ("7", Some(Ailment::Memory)),
            ("5", None),
            ("2067", None),
            ("53100", Some(Ailment::Full)),
            ("53200", Some(Ailment::Memory)),
            ("58030", Some(Ailment::Unreadable)),
            ("25006", Some(Ailment::ReadOnly)),
            ("57P03", Some(Ailment::Away)),
            ("08006", Some(Ailment::Away)),
            ("23505", None),
        ] {
            assert_eq!(Ailment::of(code), ailment, "{code}");
        }
    }
}
