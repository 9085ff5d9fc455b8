//! One call: who, when, under which key.

use std::sync::Arc;

use scionary_domain::{
    account::{Account, Actor},
    ids::{AccountId, ClubId, RequestId},
    time::Timestamp,
};

use crate::{day::DayCall, error::Error};

/// The idempotency key of a write, bound to its method and its bytes.
#[derive(Clone, Debug)]
pub struct WriteKey {
    /// As the caller sent it.
    pub key: String,
    /// The method's path.
    pub rpc: &'static str,
    /// A hash of the request.
    pub fingerprint: [u8; 32],
}

/// One call.
#[derive(Clone, Debug)]
pub struct Call {
    /// Who calls.
    pub actor: Actor,
    /// The organiser who acts for the caller.
    pub entered_by: Option<AccountId>,
    /// The clubs in which they may: the caller agreed to it there, and they arrange them.
    pub helped_in: Vec<ClubId>,
    /// When.
    pub now: Timestamp,
    /// Its id, in logs and errors.
    pub request: RequestId,
    /// The key, where the method asks for one.
    pub key: Option<WriteKey>,
    /// The step of a swap day away from the server that it is.
    pub day: Option<Arc<DayCall>>,
}

impl Call {
    /// A call of the server itself.
    pub fn system(now: Timestamp, request: RequestId) -> Self {
        Self {
            actor: Actor::Visitor,
            entered_by: None,
            helped_in: Vec::new(),
            now,
            request,
            key: None,
            day: None,
        }
    }
    /// The caller's account. The gate lets no one else through to a method for members.
    ///
    /// # Errors
    /// [`Error::SignInNeeded`].
    pub fn account(&self) -> Result<&Account, Error> {
        self.actor.account().ok_or(Error::SignInNeeded)
    }
    /// The caller's account id.
    ///
    /// # Errors
    /// [`Error::SignInNeeded`].
    pub fn account_id(&self) -> Result<AccountId, Error> {
        self.account().map(|a| a.id)
    }
    /// Whether the call may have to do with something of a club, or of no club: an organiser who acts for a member does
    /// so in that club's matters alone.
    pub fn covers(&self, club: Option<ClubId>) -> bool {
        self.entered_by.is_none() || club.is_some_and(|club| self.helped_in.contains(&club))
    }
    /// The clubs that an organiser's call for a member is bound to; none where people call for themselves.
    pub fn bounds(&self) -> Option<&[ClubId]> {
        self.entered_by.map(|_| self.helped_in.as_slice())
    }
    /// Within whom a key is unique.
    pub(crate) fn key_scope(&self) -> String {
        match (self.actor.id(), self.entered_by) {
            (None, _) => "visitor".to_string(),
            (Some(id), None) => id.to_string(),
            (Some(id), Some(by)) => format!("{id} by {by}"),
        }
    }
}
