//! Changing a password.

use scionary_domain::{
    account::{Actor, Password},
    field::FieldError,
};
use scionary_store::account_store;

use crate::{App, Call, Done, Error, UseCase, Write, door, secrets};

/// A checked change of password.
pub struct ChangePassword {
    old_hash: String,
    new_hash: String,
}

impl App {
    /// Checks the password so far and hashes the new one.
    ///
    /// # Errors
    /// A wrong password, or one that is guessed too easily.
    pub async fn prepare_change_password(
        &self,
        call: &Call,
        current: &str,
        new: &str,
    ) -> Result<ChangePassword, Error> {
        let account = call.account()?;
        let own = vec![account.handle.clone(), account.display_name.clone()];
        let judged = self.passwords().judge(new.to_string(), own).await?;
        let judged = judged.map_err(|expected| FieldError::new("new_password", expected))?;
        let stored = account_store::password_hash(self.store().reader(), account.id).await?;
        let verdict = self.passwords().verify(Password::offered(current), stored.clone()).await?;
        if !verdict.right {
            return Err(FieldError::new("current_password", "the password so far expected").into());
        }
        Ok(ChangePassword {
            old_hash: stored.unwrap_or_default(),
            new_hash: self.passwords().hash(judged).await?,
        })
    }
}

impl App {
    /// Looks whether a password is the one that the first run of a repeated call has set: an idempotency key is not bound
    /// to passwords, which leave no quick hash behind.
    ///
    /// # Errors
    /// [`Error::KeyReused`]: it is another one.
    pub async fn same_password(&self, handle: &str, offered: &str) -> Result<(), Error> {
        let key = handle.trim().to_ascii_lowercase();
        let stored = account_store::account_to_sign_in(self.store().reader(), &key).await?;
        let verdict =
            self.passwords().verify(Password::offered(offered), stored.map(|(_, hash)| hash)).await?;
        if verdict.right { Ok(()) } else { Err(Error::KeyReused) }
    }
}

impl UseCase for ChangePassword {
    type Out = u64;
    async fn run(&self, write: &Write<'_>) -> Result<Done<u64>, Error> {
        let Actor::Member { account, session, .. } = &write.call.actor else {
            return Err(Error::SignInNeeded);
        };
        if !account_store::set_password(write.tx, account.id, &self.old_hash, &self.new_hash).await? {
            return Err(FieldError::new(
                "current_password",
                "the password so far expected; it was changed just now",
            )
            .into());
        }
        let ended =
            account_store::end_sessions(write.tx, account.id, None, Some(*session), write.call.now).await?;
        let change = serde_json::json!({ "sessions_ended": ended });
        Ok(Done::new(ended, "password.changed", account.id, change)
            .and_publish(door::NOTICE_TOPIC, account.id))
    }
}

/// A password's hash on its way to be stored; not shown.
pub struct PasswordHash(String);

impl PasswordHash {
    pub(crate) fn as_str(&self) -> &str {
        &self.0
    }
}

impl App {
    /// The hash of a password that no one knows: for an account that no one signs in to.
    ///
    /// # Errors
    /// Too many wait for the hasher; no randomness.
    pub(crate) async fn unusable_password(&self) -> Result<PasswordHash, Error> {
        let random = secrets::new_token(self.entropy())?;
        Ok(PasswordHash(self.passwords().hash(Password::offered(&random)).await?))
    }
}
