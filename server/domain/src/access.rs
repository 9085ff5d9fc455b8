//! Who may do what to which object. Pure: facts in, verdict out. A store function that changes an object asks
//! for a [`Granted`], so that nothing is changed without a verdict.

use std::marker::PhantomData;

use crate::{
    account::{Account, Role},
    ids::AccountId,
};

/// Proof that somebody may do `Act`: made by the verdicts below, or by [`Granted::system`] for the server's own
/// jobs.
#[derive(Debug)]
pub struct Granted<Act> {
    by: Option<AccountId>,
    act: PhantomData<Act>,
}

impl<Act> Granted<Act> {
    /// For jobs of the server itself; the reason is for the reader of the code.
    pub fn system(_reason: &'static str) -> Self {
        Self { by: None, act: PhantomData }
    }
    /// On whose behalf.
    pub fn by(&self) -> Option<AccountId> {
        self.by
    }
    fn to(account: &Account) -> Self {
        Self { by: Some(account.id), act: PhantomData }
    }
}

/// To change or withdraw an offer.
#[derive(Debug)]
pub struct EditOffer;
/// To take back an invitation.
#[derive(Debug)]
pub struct RevokeInvitation;
/// To give or take roles.
#[derive(Debug)]
pub struct ChangeRoles;
/// To invite.
#[derive(Debug)]
pub struct Invite;

/// A verdict against.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Denied {
    /// It is not theirs, and they may know that it exists.
    #[error("only the giver may change or withdraw an offer")]
    NotTheGiver,
    /// A role is missing.
    #[error("only a {0} may do this")]
    RoleMissing(&'static str),
}

/// Offers are public: everyone may know that one exists, only its giver may change it.
///
/// # Errors
/// [`Denied::NotTheGiver`].
pub fn edit_offer(account: &Account, giver: AccountId) -> Result<Granted<EditOffer>, Denied> {
    if account.id == giver { Ok(Granted::to(account)) } else { Err(Denied::NotTheGiver) }
}

/// Invitations are private: to anyone else than the inviter or a steward there is none.
pub fn revoke_invitation(account: &Account, inviter: Option<AccountId>) -> Option<Granted<RevokeInvitation>> {
    (inviter == Some(account.id) || account.is(&Role::Steward)).then(|| Granted::to(account))
}

/// Stewards give and take roles.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn change_roles(account: &Account) -> Result<Granted<ChangeRoles>, Denied> {
    if account.is(&Role::Steward) { Ok(Granted::to(account)) } else { Err(Denied::RoleMissing("steward")) }
}

/// Every member may invite where the server is set so; stewards always may.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn invite(account: &Account, members_may_invite: bool) -> Result<Granted<Invite>, Denied> {
    if members_may_invite || account.is(&Role::Steward) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("steward"))
    }
}
