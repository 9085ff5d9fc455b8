//! Who may do what to which object. Pure: facts in, verdict out. A store function that changes an object asks
//! for a [`Granted`], so that nothing is changed without a verdict.

use std::marker::PhantomData;

use crate::{
    account::{Account, Role},
    claim::{Claim, Side},
    club::Standing,
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

/// To correct or withdraw evidence.
#[derive(Debug)]
pub struct EditEvidence;
/// To check a piece of evidence.
#[derive(Debug)]
pub struct CheckEvidence;
/// To take a proposal back.
#[derive(Debug)]
pub struct WithdrawProposal;
/// To rule on a proposal.
#[derive(Debug)]
pub struct RuleOnProposal;
/// To lock or unlock a record.
#[derive(Debug)]
pub struct LockRecord;
/// To suspend and restore accounts.
#[derive(Debug)]
pub struct SuspendAccount;
/// To vouch for somebody.
#[derive(Debug)]
pub struct Vouch;
/// To read and close complaints.
#[derive(Debug)]
pub struct HandleTickets;

/// To answer, take back or confirm a claim.
#[derive(Debug)]
pub struct EditClaim;
/// To change a lot, note what became of it, test it.
#[derive(Debug)]
pub struct EditLot;
/// To propose, publish or take back rules on moving plants.
#[derive(Debug)]
pub struct PublishRules;
/// To say that a cultivar is protected.
#[derive(Debug)]
pub struct Protect;
/// To take a want back.
#[derive(Debug)]
pub struct WithdrawWant;
/// To arrange a club: its words, its members, its end.
#[derive(Debug)]
pub struct OrganiseClub;
/// To take part in a club's round: bring lots, list wishes, leave.
#[derive(Debug)]
pub struct TakePart;
/// To confirm, lift, dismiss or withdraw an alert.
#[derive(Debug)]
pub struct ChangeAlert;
/// To change, tick off or drop a plan.
#[derive(Debug)]
pub struct EditPlan;
/// To report on or remove an entry of a grafting log.
#[derive(Debug)]
pub struct EditGrafts;

/// A verdict against.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Denied {
    /// It is not theirs, and they may know that it exists.
    #[error("only the giver may change or withdraw an offer")]
    NotTheGiver,
    /// Somebody else's lot.
    #[error("only the one who holds a lot may do this, or somebody who minds alerts")]
    NotTheHolder,
    /// A role is missing.
    #[error("only {0} may do this")]
    RoleMissing(&'static str),
    /// Somebody else's evidence, proposal or sowing.
    #[error("only the one who entered it may correct or withdraw it")]
    NotTheAuthor,
    /// Nobody judges their own work.
    #[error("nobody {0}: somebody else has to")]
    OwnWork(&'static str),
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
    if account.is(&Role::Steward) { Ok(Granted::to(account)) } else { Err(Denied::RoleMissing("a steward")) }
}

/// Every member may invite where the server is set so; stewards always may.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn invite(account: &Account, members_may_invite: bool) -> Result<Granted<Invite>, Denied> {
    if members_may_invite || account.is(&Role::Steward) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("a steward"))
    }
}

/// A claim is its two sides': to anyone else there is none. Each side with what it may do is told by the claim.
pub fn edit_claim(account: &Account, claim: &Claim) -> Option<(Granted<EditClaim>, Side)> {
    claim.side(account.id).map(|side| (Granted::to(account), side))
}

/// On the day an organiser of the club that an offer is for confirms a hand-over for both sides.
pub fn confirm_for_both(account: &Account, arranges: bool) -> Option<Granted<EditClaim>> {
    arranges.then(|| Granted::to(account))
}

/// What was missed is for those who arrange swaps.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn read_missed(account: &Account) -> Result<(), Denied> {
    if account.is(&Role::Organiser) || account.is(&Role::Steward) {
        Ok(())
    } else {
        Err(Denied::RoleMissing("an organiser or a steward"))
    }
}

/// Stewards propose rules on moving plants and take them back.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn propose_rules(account: &Account) -> Result<Granted<PublishRules>, Denied> {
    if account.is(&Role::Steward) { Ok(Granted::to(account)) } else { Err(Denied::RoleMissing("a steward")) }
}

/// Another steward than the one who proposed them publishes them (four eyes).
///
/// # Errors
/// [`Denied::RoleMissing`], [`Denied::OwnWork`].
pub fn publish_rules(account: &Account, proposed_by: AccountId) -> Result<Granted<PublishRules>, Denied> {
    let granted = propose_rules(account)?;
    if account.id == proposed_by {
        Err(Denied::OwnWork("publishes rules that they proposed themselves"))
    } else {
        Ok(granted)
    }
}

/// Curators of the crop and stewards say that a cultivar is protected.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn protect(account: &Account, crop: &str) -> Result<Granted<Protect>, Denied> {
    if curates(account, crop) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("a curator of this crop"))
    }
}

/// Wants are their seekers': to anyone else there is none.
pub fn withdraw_want(account: &Account, seeker: AccountId) -> Option<Granted<WithdrawWant>> {
    (account.id == seeker).then(|| Granted::to(account))
}

/// Organisers of a club arrange it, and nobody else: not stewards either.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn organise_club(account: &Account, standing: Option<Standing>) -> Result<Granted<OrganiseClub>, Denied> {
    if standing == Some(Standing::Organiser) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("an organiser of the club"))
    }
}

/// Members of a club take part in its rounds.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn take_part(account: &Account, standing: Option<Standing>) -> Result<Granted<TakePart>, Denied> {
    if standing.is_some_and(Standing::belongs) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("a member of the club"))
    }
}

/// Lots are their holders' to change: to anyone else there is nothing to change.
pub fn edit_lot(account: &Account, holder: AccountId) -> Option<Granted<EditLot>> {
    (account.id == holder).then(|| Granted::to(account))
}

/// Whether somebody looks after alerts on a crop: its curator, an organiser, a steward.
pub fn minds_alerts(account: &Account, crop: &str) -> bool {
    curates(account, crop) || account.is(&Role::Organiser)
}

/// Curators of the crop, organisers and stewards confirm, dismiss and lift, never what they raised themselves.
///
/// # Errors
/// [`Denied::RoleMissing`], [`Denied::OwnWork`].
pub fn rule_on_alert(
    account: &Account,
    crop: &str,
    raised_by: AccountId,
) -> Result<Granted<ChangeAlert>, Denied> {
    if !minds_alerts(account, crop) {
        return Err(Denied::RoleMissing("a curator of the crop, an organiser or a steward"));
    }
    if account.id == raised_by {
        Err(Denied::OwnWork("confirms or lifts what they raised themselves"))
    } else {
        Ok(Granted::to(account))
    }
}

/// The one who raised an alert takes it back.
///
/// # Errors
/// [`Denied::NotTheAuthor`].
pub fn withdraw_alert(account: &Account, raised_by: AccountId) -> Result<Granted<ChangeAlert>, Denied> {
    if account.id == raised_by { Ok(Granted::to(account)) } else { Err(Denied::NotTheAuthor) }
}

/// Plans are private: to anyone else there is none.
pub fn edit_plan(account: &Account, grower: AccountId) -> Option<Granted<EditPlan>> {
    (account.id == grower).then(|| Granted::to(account))
}

/// Entries of a grafting log are private too; only rates over many growers are shown.
pub fn edit_grafts(account: &Account, grower: AccountId) -> Option<Granted<EditGrafts>> {
    (account.id == grower).then(|| Granted::to(account))
}

/// Authors correct and withdraw their own.
///
/// # Errors
/// [`Denied::NotTheAuthor`].
pub fn edit_evidence(account: &Account, author: AccountId) -> Result<Granted<EditEvidence>, Denied> {
    if account.id == author { Ok(Granted::to(account)) } else { Err(Denied::NotTheAuthor) }
}

/// Anybody but the author may check.
///
/// # Errors
/// [`Denied::OwnWork`].
pub fn check_evidence(account: &Account, author: AccountId) -> Result<Granted<CheckEvidence>, Denied> {
    if account.id == author {
        Err(Denied::OwnWork("checks what they entered themselves"))
    } else {
        Ok(Granted::to(account))
    }
}

/// Authors take their own proposals back.
///
/// # Errors
/// [`Denied::NotTheAuthor`].
pub fn withdraw_proposal(account: &Account, author: AccountId) -> Result<Granted<WithdrawProposal>, Denied> {
    if account.id == author { Ok(Granted::to(account)) } else { Err(Denied::NotTheAuthor) }
}

/// Whether an account looks after a crop: its curator, or a steward.
pub fn curates(account: &Account, crop: &str) -> bool {
    account.is(&Role::Steward) || account.is(&Role::Curator { crop: crop.to_string() })
}

/// Curators of the crop and stewards rule, never on their own proposal (four eyes).
///
/// # Errors
/// [`Denied::RoleMissing`], [`Denied::OwnWork`].
pub fn rule_on_proposal(
    account: &Account,
    crop: &str,
    author: AccountId,
) -> Result<Granted<RuleOnProposal>, Denied> {
    if !curates(account, crop) {
        return Err(Denied::RoleMissing("a curator of this crop"));
    }
    if account.id == author {
        Err(Denied::OwnWork("rules on what they proposed themselves"))
    } else {
        Ok(Granted::to(account))
    }
}

/// Curators of the crop and stewards lock and unlock.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn lock_record(account: &Account, crop: &str) -> Result<Granted<LockRecord>, Denied> {
    if curates(account, crop) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("a curator of this crop"))
    }
}

/// Stewards suspend and restore, not themselves.
///
/// # Errors
/// [`Denied::RoleMissing`], [`Denied::OwnWork`].
pub fn suspend_account(account: &Account, whom: AccountId) -> Result<Granted<SuspendAccount>, Denied> {
    if !account.is(&Role::Steward) {
        return Err(Denied::RoleMissing("a steward"));
    }
    if account.id == whom {
        return Err(Denied::OwnWork("suspends or restores themselves"));
    }
    Ok(Granted::to(account))
}

/// Organisers and stewards vouch for people they know, not for themselves.
///
/// # Errors
/// [`Denied::RoleMissing`], [`Denied::OwnWork`].
pub fn vouch(account: &Account, whom: AccountId) -> Result<Granted<Vouch>, Denied> {
    if !(account.is(&Role::Organiser) || account.is(&Role::Steward)) {
        return Err(Denied::RoleMissing("an organiser or a steward"));
    }
    if account.id == whom { Err(Denied::OwnWork("vouches for themselves")) } else { Ok(Granted::to(account)) }
}

/// Whether an account handles complaints at all: stewards all, curators those about records of their crops.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn handle_tickets(account: &Account, crop: Option<&str>) -> Result<Granted<HandleTickets>, Denied> {
    let may = match crop {
        Some(crop) => curates(account, crop),
        None => account.is(&Role::Steward),
    };
    if may {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("a steward, or a curator of the crop,"))
    }
}

/// How somebody's evidence held up is for themselves, and for those who curate.
///
/// # Errors
/// [`Denied::RoleMissing`].
pub fn read_grower_record(account: &Account, whose: AccountId) -> Result<(), Denied> {
    let curator = account.roles.iter().any(|r| matches!(r, Role::Curator { .. } | Role::Steward));
    if account.id == whose || curator { Ok(()) } else { Err(Denied::RoleMissing("a curator or a steward")) }
}
