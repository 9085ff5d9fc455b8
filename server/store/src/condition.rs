//! Whether the place where things are kept is well, and what to do where it is not. What goes wrong anywhere is noted
//! here; a look at the database (`Store::examine`) finds out whether it is over.

use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::watch;

use crate::{error::StoreError, sqlite::Files};

/// What is wrong with the place where things are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ailment {
    /// No room is left.
    Full,
    /// It may be read only.
    ReadOnly,
    /// What is stored is damaged, or is no database.
    Damaged,
    /// The disk fails.
    Unreadable,
    /// The database lacks memory.
    Memory,
    /// The file, or one that belongs to it, was moved, replaced or deleted under the server.
    Moved,
    /// Another program holds the database, or a write of ours does not end.
    Held,
    /// The database server does not answer.
    Away,
}

impl Ailment {
    /// What it is, as the middle of a sentence.
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

    /// What whoever runs the server does about it.
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

    /// By a code of SQLite's, extended or not (sqlite.org/rescode.html): the low byte says which.
    fn of_sqlite(code: i64) -> Option<Self> {
        // the file is not where it was (READONLY_DBMOVED)
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

    /// By an SQLSTATE (PostgreSQL's manual, appendix A).
    fn of_postgres(code: &str) -> Option<Self> {
        match code {
            "53100" => Some(Self::Full),
            "53200" => Some(Self::Memory),
            // a standby, or default_transaction_read_only
            "25006" => Some(Self::ReadOnly),
            "58030" => Some(Self::Unreadable),
            "XX001" | "XX002" => Some(Self::Damaged),
            // going down, starting up, too many connections, a broken connection
            "57P01" | "57P02" | "57P03" | "53300" => Some(Self::Away),
            _ if code.starts_with("08") => Some(Self::Away),
            _ => None,
        }
    }

    /// By the code of either database. SQLSTATEs have five characters; SQLite's codes are shorter numbers.
    pub(crate) fn of(code: &str) -> Option<Self> {
        if code.len() == 5 { Self::of_postgres(code) } else { code.parse().ok().and_then(Self::of_sqlite) }
    }
}

/// What is known of the store's health; shared by all who use it.
#[derive(Clone, Debug)]
pub struct Condition(Arc<Known>);

#[derive(Debug)]
struct Known {
    ailment: watch::Sender<Option<Ailment>>,
    /// The files that were opened.
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
    /// Other files are to be there from now on.
    pub(crate) fn expects(&self, files: Files) {
        *self.0.files.lock().unwrap_or_else(PoisonError::into_inner) = files;
    }
    /// What ails it now.
    pub fn now(&self) -> Option<Ailment> {
        *self.0.ailment.borrow()
    }
    /// Notes what went wrong, if it was the place where things are kept, and gives it its right name: whatever SQLite
    /// says of a file that is gone, it is gone.
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
    /// A look found it well again.
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
    /// Waits until it is well, or ails, differently from now.
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

    /// Codes of sqlite.org/rescode.html and of PostgreSQL's manual, appendix A.
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
