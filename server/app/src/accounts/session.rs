//! Signing in and out.

use scionary_domain::{
    account::{Account, Actor, Password},
    field::Fields,
    ids::SessionId,
    limits,
    time::Timestamp,
};
use scionary_store::{NewSession, account_store};

use crate::{App, Call, Done, Error, KeepReply, UseCase, Write, door, secrets};

/// A new session.
#[derive(Clone)]
pub struct SignedIn {
    /// The token; it is not kept.
    pub token: String,
    /// When the session ends.
    pub expires_at: Timestamp,
    /// Whose it is.
    pub account: Account,
}

struct MakeSession {
    account: Account,
    token_hash: [u8; 32],
    label: String,
    expires_at: Timestamp,
    /// The hash that the password was checked against, and the one to keep: a password that was changed in
    /// between makes no session.
    verified_hash: String,
    new_hash: Option<String>,
}

impl UseCase for MakeSession {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        let id = SessionId::from_uuid(write.new_uuid()?);
        let new = NewSession {
            id,
            account: self.account.id,
            token_hash: self.token_hash,
            label: &self.label,
            at: write.call.now,
            expires_at: self.expires_at,
        };
        let kept = self.new_hash.as_ref().unwrap_or(&self.verified_hash);
        if !account_store::set_password(write.tx, self.account.id, &self.verified_hash, kept).await? {
            return Err(Error::WrongPassword);
        }
        account_store::insert_session(write.tx, &new).await?;
        let change = serde_json::json!({ "session": id.to_string(), "rehashed": self.new_hash.is_some() });
        Ok(Done::new((), "session.made", self.account.id, change))
    }
}

impl App {
    /// Signs in. An unknown handle takes as long as a wrong password and gets the same answer.
    ///
    /// # Errors
    /// [`Error::WrongPassword`], [`Error::Suspended`], [`Error::Limited`].
    pub async fn sign_in(
        &self,
        call: &Call,
        handle: &str,
        password: &str,
        label: &str,
    ) -> Result<SignedIn, Error> {
        let mut fields = Fields::new();
        let label = fields.line("label", label, 0, limits::SESSION_LABEL_CHARS_MAX);
        let label = fields.finish(label)?;
        let key = handle.trim().to_ascii_lowercase();
        let found = account_store::account_to_sign_in(self.store().reader(), &key).await?;
        let (account, hash) = found.unzip();
        let verdict = self.passwords().verify(Password::offered(password), hash.clone()).await?;
        let account = account.filter(|_| verdict.right).ok_or(Error::WrongPassword)?;
        if account.suspended_at.is_some() {
            return Err(Error::Suspended);
        }
        let new_hash =
            if verdict.outdated { Some(self.passwords().hash(verdict.password).await?) } else { None };
        let token = secrets::new_token(self.entropy())?;
        let expires_at = call.now.plus_days(self.policy().session_days);
        let make = MakeSession {
            account: account.clone(),
            token_hash: secrets::hash_token(&token),
            label,
            expires_at,
            verified_hash: hash.unwrap_or_default(),
            new_hash,
        };
        self.write(call, make, KeepReply::Secret, |()| Vec::new()).await?;
        Ok(SignedIn { token, expires_at, account })
    }

    /// Who a session token belongs to; a visitor if it is not, or no longer, valid.
    ///
    /// # Errors
    /// When the database is away; [`Error::Suspended`].
    pub async fn actor_of(&self, token: &str, now: Timestamp) -> Result<Option<Actor>, Error> {
        let facts =
            account_store::session_of(self.store().reader(), &secrets::hash_token(token), now).await?;
        let Some(facts) = facts else { return Ok(None) };
        if facts.account.suspended_at.is_some() {
            return Err(Error::Suspended);
        }
        Ok(Some(Actor::Member {
            account: facts.account,
            session: facts.id,
            session_expires_at: facts.expires_at,
        }))
    }
}

/// Ends this session, or all of the caller's.
pub struct SignOut {
    /// All of them.
    pub everywhere: bool,
}

impl UseCase for SignOut {
    type Out = u64;
    async fn run(&self, write: &Write<'_>) -> Result<Done<u64>, Error> {
        let Actor::Member { account, session, .. } = &write.call.actor else {
            return Err(Error::SignInNeeded);
        };
        let only = (!self.everywhere).then_some(*session);
        let ended = account_store::end_sessions(write.tx, account.id, only, None, write.call.now).await?;
        let done = Done::new(ended, "session.ended", account.id, serde_json::json!({ "ended": ended }));
        // watches of theirs look whether they may go on
        Ok(done.and_publish(door::NOTICE_TOPIC, account.id))
    }
}
