//! Decides who may do what to which object. The functions are pure: they take facts and return a verdict.
//!
//! A store function that changes an object takes a [`Granted`], so no change happens without a verdict.

use std::marker::PhantomData;

use crate::{
    account::{Account, Role},
    claim::{Claim, Side},
    club::Standing,
    ids::AccountId,
};

/// Proof that the caller may do `Act`. The verdicts below make it, or [`Granted::system`] for the server's
/// own jobs.
#[derive(Debug)]
pub struct Granted<Act> {
    by: Option<AccountId>,
    act: PhantomData<Act>,
}

impl<Act> Granted<Act> {
    /// Grants a job of the server itself. The reason only documents the call site.
    pub fn system(_reason: &'static str) -> Self {
        Self { by: None, act: PhantomData }
    }
    /// Returns the account that the grant is for, or `None` for a job of the server.
    pub fn by(&self) -> Option<AccountId> {
        self.by
    }
    fn to(account: &Account) -> Self {
        Self { by: Some(account.id), act: PhantomData }
    }
}

/// Right to change or withdraw an offer.
#[derive(Debug)]
pub struct EditOffer;
/// Right to withdraw an invitation.
#[derive(Debug)]
pub struct RevokeInvitation;
/// Right to give roles to accounts or remove them.
#[derive(Debug)]
pub struct ChangeRoles;
/// Right to make an invitation.
#[derive(Debug)]
pub struct Invite;

/// Right to correct or withdraw evidence.
#[derive(Debug)]
pub struct EditEvidence;
/// Right to check a piece of evidence.
#[derive(Debug)]
pub struct CheckEvidence;
/// Right to withdraw a proposal.
#[derive(Debug)]
pub struct WithdrawProposal;
/// Right to decide a proposal.
#[derive(Debug)]
pub struct RuleOnProposal;
/// Right to lock or unlock a record.
#[derive(Debug)]
pub struct LockRecord;
/// Right to suspend and restore accounts.
#[derive(Debug)]
pub struct SuspendAccount;
/// Right to vouch for an account.
#[derive(Debug)]
pub struct Vouch;
/// Right to read and close complaints.
#[derive(Debug)]
pub struct HandleTickets;

/// Right to answer, withdraw or confirm a claim.
#[derive(Debug)]
pub struct EditClaim;
/// Right to change a lot, note its outcome, and enter its tests.
#[derive(Debug)]
pub struct EditLot;
/// Right to propose, publish or withdraw rules on moving plants.
#[derive(Debug)]
pub struct PublishRules;
/// Right to enter that a cultivar is protected.
#[derive(Debug)]
pub struct Protect;
/// Right to withdraw a want.
#[derive(Debug)]
pub struct WithdrawWant;
/// Right to arrange a club: change its texts, manage its members, close it.
#[derive(Debug)]
pub struct OrganiseClub;
/// Right to take part in a club's round: bring lots, list wishes, leave.
#[derive(Debug)]
pub struct TakePart;
/// Right to confirm, lift, dismiss or withdraw an alert.
#[derive(Debug)]
pub struct ChangeAlert;
/// Right to change a plan, tick off its steps, or drop it.
#[derive(Debug)]
pub struct EditPlan;
/// Right to report on or remove an entry of a grafting log.
#[derive(Debug)]
pub struct EditGrafts;

/// A refusal that the caller may see. Where existence must not leak, the verdicts return `None` instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Denied {
    /// The offer belongs to another account. Offers are public, so the caller may know that it exists.
    #[error("only the giver may change or withdraw an offer")]
    NotTheGiver,
    /// Another account holds the lot, and the caller does not look after alerts on its crop.
    #[error("only the holder of a lot may do this, or someone who confirms alerts")]
    NotTheHolder,
    /// The caller lacks a role; the text names the role.
    #[error("only {0} may do this")]
    RoleMissing(&'static str),
    /// Another account entered the evidence, proposal or alert.
    #[error("only the one who entered it may correct or withdraw it")]
    NotTheAuthor,
    /// The caller may not check or decide their own work; the text names the act.
    #[error("no one {0}: someone else has to")]
    OwnWork(&'static str),
}

/// Lets the giver change an offer. Offers are public, so everyone else gets an error rather than "not found".
///
/// # Errors
/// Returns [`Denied::NotTheGiver`] when another account gives the offer.
pub fn edit_offer(account: &Account, giver: AccountId) -> Result<Granted<EditOffer>, Denied> {
    if account.id == giver { Ok(Granted::to(account)) } else { Err(Denied::NotTheGiver) }
}

/// Lets the inviter or a steward withdraw an invitation. For everyone else it does not exist (`None`).
pub fn revoke_invitation(account: &Account, inviter: Option<AccountId>) -> Option<Granted<RevokeInvitation>> {
    (inviter == Some(account.id) || account.is(&Role::Steward)).then(|| Granted::to(account))
}

/// Lets stewards give and remove roles.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller is not a steward.
pub fn change_roles(account: &Account) -> Result<Granted<ChangeRoles>, Denied> {
    if account.is(&Role::Steward) { Ok(Granted::to(account)) } else { Err(Denied::RoleMissing("a steward")) }
}

/// Lets stewards invite, and every member where the server's settings say so.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller is neither.
pub fn invite(account: &Account, members_may_invite: bool) -> Result<Granted<Invite>, Denied> {
    if members_may_invite || account.is(&Role::Steward) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("a steward"))
    }
}

/// Lets the two sides of a claim change it, and says which side the caller is. For everyone else it does not
/// exist (`None`). The claim's state decides what each side may do.
pub fn edit_claim(account: &Account, claim: &Claim) -> Option<(Granted<EditClaim>, Side)> {
    claim.side(account.id).map(|side| (Granted::to(account), side))
}

/// Lets an organiser confirm a hand-over for both sides at a swap day. `arranges` says whether the caller
/// organises the club that the offer is for.
pub fn confirm_for_both(account: &Account, arranges: bool) -> Option<Granted<EditClaim>> {
    arranges.then(|| Granted::to(account))
}

/// Lets organisers and stewards read what the sides say about missed hand-overs.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller is neither.
pub fn read_missed(account: &Account) -> Result<(), Denied> {
    if account.is(&Role::Organiser) || account.is(&Role::Steward) {
        Ok(())
    } else {
        Err(Denied::RoleMissing("an organiser or a steward"))
    }
}

/// Lets stewards propose rules on moving plants and withdraw them.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller is not a steward.
pub fn propose_rules(account: &Account) -> Result<Granted<PublishRules>, Denied> {
    if account.is(&Role::Steward) { Ok(Granted::to(account)) } else { Err(Denied::RoleMissing("a steward")) }
}

/// Lets a steward publish rules that another steward proposed (four eyes).
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller is not a steward, and [`Denied::OwnWork`] when they
/// proposed the rules themselves.
pub fn publish_rules(account: &Account, proposed_by: AccountId) -> Result<Granted<PublishRules>, Denied> {
    let granted = propose_rules(account)?;
    if account.id == proposed_by {
        Err(Denied::OwnWork("publishes rules that they proposed themselves"))
    } else {
        Ok(granted)
    }
}

/// Lets curators of the crop and stewards enter that a cultivar is protected.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller does not curate the crop.
pub fn protect(account: &Account, crop: &str) -> Result<Granted<Protect>, Denied> {
    if curates(account, crop) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("a curator of this crop"))
    }
}

/// Lets the seeker withdraw a want. For everyone else it does not exist (`None`).
pub fn withdraw_want(account: &Account, seeker: AccountId) -> Option<Granted<WithdrawWant>> {
    (account.id == seeker).then(|| Granted::to(account))
}

/// Lets organisers of a club arrange it. Stewards may not, unless they are organisers of the club.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller is not an organiser of the club.
pub fn organise_club(account: &Account, standing: Option<Standing>) -> Result<Granted<OrganiseClub>, Denied> {
    if standing == Some(Standing::Organiser) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("an organiser of the club"))
    }
}

/// Lets members of a club take part in its rounds.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller is not a member of the club.
pub fn take_part(account: &Account, standing: Option<Standing>) -> Result<Granted<TakePart>, Denied> {
    if standing.is_some_and(Standing::belongs) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("a member of the club"))
    }
}

/// Lets the holder change a lot. For everyone else there is nothing to change (`None`).
pub fn edit_lot(account: &Account, holder: AccountId) -> Option<Granted<EditLot>> {
    (account.id == holder).then(|| Granted::to(account))
}

/// Returns whether the account looks after alerts on a crop: as its curator, an organiser or a steward.
pub fn minds_alerts(account: &Account, crop: &str) -> bool {
    curates(account, crop) || account.is(&Role::Organiser)
}

/// Lets curators of the crop, organisers and stewards confirm, dismiss and lift an alert that they did not
/// raise.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller has none of these roles, and [`Denied::OwnWork`] when they
/// raised the alert.
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

/// Lets the account that raised an alert withdraw it.
///
/// # Errors
/// Returns [`Denied::NotTheAuthor`] when another account raised the alert.
pub fn withdraw_alert(account: &Account, raised_by: AccountId) -> Result<Granted<ChangeAlert>, Denied> {
    if account.id == raised_by { Ok(Granted::to(account)) } else { Err(Denied::NotTheAuthor) }
}

/// Lets the grower change a plan. Plans are private: for everyone else they do not exist (`None`).
pub fn edit_plan(account: &Account, grower: AccountId) -> Option<Granted<EditPlan>> {
    (account.id == grower).then(|| Granted::to(account))
}

/// Lets the grower change an entry of their grafting log. Entries are private (`None` for everyone else);
/// only rates over many growers are public.
pub fn edit_grafts(account: &Account, grower: AccountId) -> Option<Granted<EditGrafts>> {
    (account.id == grower).then(|| Granted::to(account))
}

/// Lets the author correct and withdraw a piece of evidence.
///
/// # Errors
/// Returns [`Denied::NotTheAuthor`] when another account entered it.
pub fn edit_evidence(account: &Account, author: AccountId) -> Result<Granted<EditEvidence>, Denied> {
    if account.id == author { Ok(Granted::to(account)) } else { Err(Denied::NotTheAuthor) }
}

/// Lets every account but the author check a piece of evidence.
///
/// # Errors
/// Returns [`Denied::OwnWork`] when the caller is the author.
pub fn check_evidence(account: &Account, author: AccountId) -> Result<Granted<CheckEvidence>, Denied> {
    if account.id == author {
        Err(Denied::OwnWork("checks what they entered themselves"))
    } else {
        Ok(Granted::to(account))
    }
}

/// Lets the author withdraw a proposal.
///
/// # Errors
/// Returns [`Denied::NotTheAuthor`] when another account made the proposal.
pub fn withdraw_proposal(account: &Account, author: AccountId) -> Result<Granted<WithdrawProposal>, Denied> {
    if account.id == author { Ok(Granted::to(account)) } else { Err(Denied::NotTheAuthor) }
}

/// Returns whether the account looks after a crop: as its curator or as a steward.
pub fn curates(account: &Account, crop: &str) -> bool {
    account.is(&Role::Steward) || account.is(&Role::Curator { crop: crop.to_string() })
}

/// Lets curators of the crop and stewards decide a proposal that they did not make (four eyes).
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller does not curate the crop, and [`Denied::OwnWork`] when
/// they made the proposal.
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

/// Lets curators of the crop and stewards lock and unlock a record.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller does not curate the crop.
pub fn lock_record(account: &Account, crop: &str) -> Result<Granted<LockRecord>, Denied> {
    if curates(account, crop) {
        Ok(Granted::to(account))
    } else {
        Err(Denied::RoleMissing("a curator of this crop"))
    }
}

/// Lets stewards suspend and restore accounts other than their own.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller is not a steward, and [`Denied::OwnWork`] when the account
/// is their own.
pub fn suspend_account(account: &Account, whom: AccountId) -> Result<Granted<SuspendAccount>, Denied> {
    if !account.is(&Role::Steward) {
        return Err(Denied::RoleMissing("a steward"));
    }
    if account.id == whom {
        return Err(Denied::OwnWork("suspends or restores themselves"));
    }
    Ok(Granted::to(account))
}

/// Lets organisers and stewards vouch for accounts other than their own.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller is neither, and [`Denied::OwnWork`] when the account is
/// their own.
pub fn vouch(account: &Account, whom: AccountId) -> Result<Granted<Vouch>, Denied> {
    if !(account.is(&Role::Organiser) || account.is(&Role::Steward)) {
        return Err(Denied::RoleMissing("an organiser or a steward"));
    }
    if account.id == whom { Err(Denied::OwnWork("vouches for themselves")) } else { Ok(Granted::to(account)) }
}

/// Lets stewards handle every complaint, and curators those about records of their crops. `crop` is `None`
/// for complaints that are not about a record.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the caller may not handle them.
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

/// Lets an account read how its own evidence held up, and lets curators and stewards read it for every
/// account.
///
/// # Errors
/// Returns [`Denied::RoleMissing`] when the record is another account's and the caller is neither.
pub fn read_grower_record(account: &Account, whose: AccountId) -> Result<(), Denied> {
    let curator = account.roles.iter().any(|r| matches!(r, Role::Curator { .. } | Role::Steward));
    if account.id == whose || curator { Ok(()) } else { Err(Denied::RoleMissing("a curator or a steward")) }
}
