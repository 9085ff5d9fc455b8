//! Opens a file in the shed: an empty database is filled with its rows.

use scionary_domain::{account::Password, club::Standing, ids::AccountId};
use scionary_store::{Job, Store, StoreError, Tx, account_store, club_store, day_store, round_store};

use super::DayFile;
use crate::{Error, movement::MovementFiles, passwords::Passwords};

/// A database that holds a day.
#[derive(Debug)]
pub struct Shed {
    /// Handles of the organisers; the file's word is their password.
    pub organisers: Vec<String>,
    /// The rules on moving plants.
    pub movement: Vec<MovementFiles>,
}

struct Fill {
    tables: Vec<day_store::Table>,
}

impl Job for Fill {
    type Out = ();
    type Error = StoreError;
    async fn run(&self, tx: &Tx) -> Result<(), StoreError> {
        day_store::paste_day(tx, &self.tables).await
    }
    fn is_collision(error: &StoreError) -> bool {
        matches!(error, StoreError::Collision)
    }
}

struct LetIn {
    people: Vec<AccountId>,
    hash: String,
}

impl Job for LetIn {
    type Out = ();
    type Error = StoreError;
    async fn run(&self, tx: &Tx) -> Result<(), StoreError> {
        day_store::set_day_password(tx, &self.people, &self.hash).await
    }
    fn is_collision(error: &StoreError) -> bool {
        matches!(error, StoreError::Collision)
    }
}

impl Shed {
    /// Fills an empty database, and lets the club's organisers in with the file's word.
    ///
    /// # Errors
    /// It is another word; the rows do not fit; the database's.
    pub async fn fill(
        store: &Store,
        passwords: &Passwords,
        file: &DayFile,
        word: &str,
    ) -> Result<Self, String> {
        let words = |e: Error| e.to_string();
        let (tables, movement) = file.unlock(word)?;
        let round = file.header.round;
        store.write(Fill { tables }).await.map_err(|e| e.to_string())?;
        let reader = store.reader();
        let found = round_store::one(reader, round).await.map_err(|e| e.to_string())?;
        let club = found.ok_or("the file lacks its round")?.club;
        let found = async {
            let people = club_store::accounts(reader, club, &[Standing::Organiser]).await?;
            let accounts = account_store::people(reader, &people).await?;
            Ok::<_, StoreError>((people, accounts))
        };
        let (people, accounts) = found.await.map_err(|e| e.to_string())?;
        let hash = passwords.hash(Password::offered(word.trim())).await.map_err(words)?;
        store.write(LetIn { people, hash }).await.map_err(|e| e.to_string())?;
        Ok(Self { organisers: accounts.iter().map(|a| a.handle.to_string()).collect(), movement })
    }
}
