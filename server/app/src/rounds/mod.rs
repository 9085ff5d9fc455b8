//! Swap rounds: made by a club's organisers, filled by its members, sealed, settled, handed over.

mod allot;
mod day;
mod facts;
mod left;
mod make;
mod mine;
mod part;
mod preview;
mod read;
mod seal;
mod tables;
mod why;

pub use allot::{AllotRequest, RoundProgress};
pub use day::{CheckInLot, CloseRound, HandOverShare, SetPresence, StartHandOver};
pub use left::TakeLeftOver;
pub use make::{CallOffRound, ChangeRound, CreateRound, EndOverdueRounds};
pub use mine::{MyRound, ShownTaken, ShownWish, WhyShort};
pub use part::{AcceptsDraft, BringLot, JoinRound, LeaveRound, ListLine, SetWishes, TakeBackLot};
pub use preview::{Preview, Previewed};
pub use read::{ShownLot, ShownPart, ShownRound, ShownShare};
pub use seal::{NoteAdvice, ReopenRound, SealRound};
pub use tables::{AddRoundMember, ShownEvent, UndoHandOver};
pub use why::WhyNot;

use scionary_domain::{
    access::{self, Granted, OrganiseClub, TakePart},
    claim::Claim,
    ids::{AccountId, ClubId, RoundId, RoundLotId},
    limits,
    lineage::LotCode,
    notice::{Kind, NewNotice},
    round::{Brought, Event, EventKind, Phase, Round},
};
use scionary_store::{Source, StoreError, claim_store, club_store, lot_store, offer_store, round_store};

use crate::{Call, Error, RoundStep, Rule, Write, clubs};

/// The outbox topic of changes to rounds.
pub const TOPIC: &str = "round";

/// A round that the caller may see: they belong to its club.
async fn seen(db: &dyn Source, call: &Call, id: RoundId) -> Result<Round, Error> {
    let account = call.account()?;
    let missing = || Error::not_found("round", id);
    let round = round_store::one(db, id).await?.ok_or_else(missing)?;
    let own = club_store::membership(db, round.club, account.id).await?.filter(|m| m.standing.belongs());
    let Some(own) = own else { return Err(missing()) };
    // who acts for a member does so in the club in which the member agreed to it
    if let Some(by) = call.entered_by
        && (own.consent.is_none() || !clubs::organises(db, round.club, by).await?)
    {
        return Err(missing());
    }
    Ok(round)
}

/// A round that the caller arranges; organisers who act for a member do not arrange meanwhile.
pub(crate) async fn arranged(
    db: &dyn Source,
    call: &Call,
    id: RoundId,
) -> Result<(Round, Granted<OrganiseClub>), Error> {
    let account = call.account()?;
    let round = seen(db, call, id).await?;
    let own = club_store::membership(db, round.club, account.id).await?;
    let granted = access::organise_club(account, own.map(|m| m.standing))?;
    Ok((round, granted))
}

/// The same, held until the transaction ends.
pub(crate) async fn held(write: &Write<'_>, id: RoundId) -> Result<(Round, Granted<OrganiseClub>), Error> {
    round_store::lock(write.tx, id).await?;
    arranged(write.tx, write.call, id).await
}

/// A round that gathers, held until the transaction ends, for a member to take part in. Past its last day an organiser may
/// still enter what members without computers hand in.
async fn gathering(write: &Write<'_>, id: RoundId) -> Result<(Round, Granted<TakePart>), Error> {
    open_to_members(write, id, &[Phase::Gathering]).await
}

/// A round that gathers, or whose day is on: who walks in late may still join it.
async fn gathering_or_day(write: &Write<'_>, id: RoundId) -> Result<(Round, Granted<TakePart>), Error> {
    open_to_members(write, id, &[Phase::Gathering, Phase::HandingOver]).await
}

async fn open_to_members(
    write: &Write<'_>,
    id: RoundId,
    phases: &[Phase],
) -> Result<(Round, Granted<TakePart>), Error> {
    round_store::lock(write.tx, id).await?;
    let account = write.call.account()?;
    let round = seen(write.tx, write.call, id).await?;
    let own = club_store::membership(write.tx, round.club, account.id).await?;
    let granted = access::take_part(account, own.map(|m| m.standing))?;
    in_phase(&round, phases)?;
    let late =
        round.phase == Phase::Gathering && write.call.now.date() > round.says.gather_until.plus_days(1);
    if late && write.call.entered_by.is_none() {
        return Err(Rule::RoundLate(round.says.gather_until).into());
    }
    Ok((round, granted))
}

/// Refuses what a round is not ready for.
pub(crate) fn in_phase(round: &Round, wanted: &[Phase]) -> Result<(), Error> {
    if wanted.contains(&round.phase) {
        return Ok(());
    }
    // what an organiser does next to bring it there
    let first = match (round.phase, wanted.first()) {
        (Phase::Gathering, Some(Phase::Sealed | Phase::Allotted | Phase::HandingOver)) => {
            Some(RoundStep::Seal)
        }
        (Phase::Sealed, Some(Phase::Gathering)) => Some(RoundStep::Reopen),
        (Phase::Sealed, Some(Phase::Allotted | Phase::HandingOver)) => Some(RoundStep::Settle),
        (Phase::Allotted, Some(Phase::HandingOver)) => Some(RoundStep::Begin),
        (_, _) => None,
    };
    let wanted = wanted.iter().map(|p| p.label()).collect::<Vec<_>>().join(" or ");
    Err(Rule::RoundPhase { first, wanted, found: round.phase.label() }.into())
}

/// Stores a changed round; a caller who was overtaken is served again, on what stands then.
async fn store(write: &Write<'_>, granted: &Granted<OrganiseClub>, round: &mut Round) -> Result<(), Error> {
    let seen = round.version;
    round.version += 1;
    if round_store::replace(write.tx, granted, round, seen).await? {
        Ok(())
    } else {
        Err(StoreError::Collision.into())
    }
}

/// Notes an event in the log of a round, which the caller holds.
pub(crate) async fn noted(
    write: &Write<'_>,
    round: RoundId,
    kind: EventKind,
    (lot, member): (Option<RoundLotId>, Option<AccountId>),
    units: u32,
    words: &str,
) -> Result<(), Error> {
    let by = match (write.call.entered_by, write.call.account_id()) {
        (Some(by), _) | (None, Ok(by)) => by,
        // housekeeping ends what has lapsed: noted as the member's
        (None, Err(error)) => member.ok_or(error)?,
    };
    let (at, words) = (write.call.now, words.to_string());
    round_store::add_event(write.tx, &Event { round, number: 0, kind, lot, member, units, words, by, at })
        .await?;
    Ok(())
}

/// A notice to each of some people.
fn notices(to: &[AccountId], round: &Round, once: impl ToString, words: &str) -> Vec<NewNotice> {
    let once = once.to_string();
    to.iter()
        .map(|to| NewNotice {
            to: *to,
            kind: Kind::Round,
            subject: round.id.to_string(),
            once: once.clone(),
            words: words.to_string(),
        })
        .collect()
}

/// The lot of a round that a text names: its number on the tables, its id, or the code on its tag.
async fn named(db: &dyn Source, round: RoundId, text: &str) -> Result<Brought, Error> {
    let text = text.trim();
    let missing = || Error::NotFound {
        kind: "lot of this round",
        id: text.to_string(),
        hint: "give its number on the table, the code on its tag, or its id".into(),
    };
    if let Ok(number) = text.trim_start_matches('#').parse::<u32>() {
        return round_store::lot_numbered(db, round, number).await?.ok_or_else(missing);
    }
    if let Ok(id) = text.parse::<RoundLotId>() {
        return round_store::lot(db, id).await?.filter(|lot| lot.round == round).ok_or_else(missing);
    }
    let code: LotCode = text.parse().map_err(|_| missing())?;
    let lot = lot_store::by_code(db, code).await?.ok_or_else(missing)?;
    for brought in round_store::lots(db, round, Some(lot.holder), 0, u64::from(u32::MAX)).await? {
        let offer = offer_store::offer(db, brought.offer).await?;
        if offer.is_some_and(|o| o.contents.lot == Some(lot.id)) {
            return Ok(brought);
        }
    }
    Err(missing())
}

/// Units of each lot that are neither allotted nor gone.
fn left_of(lot: &Brought, claims: &[Claim]) -> u32 {
    let gone: u32 =
        claims.iter().filter_map(|c| c.in_round).filter(|r| r.lot == lot.id).map(|r| r.units).sum();
    lot.there().saturating_sub(gone)
}

/// Holds the round of a claim until the transaction ends: whoever ends or confirms it waits for a settling or a closing, and
/// the other way round. To be called before the claim is read to be changed.
pub(crate) async fn hold_round_of(write: &Write<'_>, claim: &Claim) -> Result<(), Error> {
    if let Some(part) = claim.in_round {
        round_store::lock(write.tx, part.round).await?;
    }
    Ok(())
}

/// Notes in the log of a claim's round that its taker has what was promised.
pub(crate) async fn note_handed_over(write: &Write<'_>, claim: &Claim) -> Result<(), Error> {
    let Some(part) = claim.in_round else { return Ok(()) };
    let of = (Some(part.lot), Some(claim.taker));
    noted(write, part.round, EventKind::HandedOver, of, part.units, "").await
}

/// Ends the hold of a round that is still open on what a claim of it was promised: back to the round, and not to its offer.
/// What a giver says no to is not given to others either: it stays out of the round until that is closed. Whether there was
/// such a round.
pub(crate) async fn takes_back(write: &Write<'_>, claim: &mut Claim, by_giver: bool) -> Result<bool, Error> {
    let Some(part) = &mut claim.in_round else { return Ok(false) };
    let open = round_store::one(write.tx, part.round).await?.is_some_and(|round| round.phase.is_open());
    if open && !by_giver {
        part.units = 0;
    }
    if open {
        let of = (Some(part.lot), Some(claim.taker));
        noted(write, part.round, EventKind::Refused, of, part.units, "").await?;
    }
    Ok(open)
}

/// Refuses a side's word on a hand-over before the day has begun, unless it may go by post.
pub(crate) async fn day_has_begun(db: &dyn Source, claim: &Claim) -> Result<(), Error> {
    let Some(part) = claim.in_round else { return Ok(()) };
    match round_store::one(db, part.round).await? {
        Some(round) if round.phase == Phase::Allotted && !round.says.settings.by_post => {
            Err(Rule::DayNotBegun.into())
        }
        Some(_) | None => Ok(()),
    }
}

/// Who leaves a club takes back what they bring to rounds that still gather.
pub(crate) async fn leave_gathering(
    write: &Write<'_>,
    club: ClubId,
    account: AccountId,
) -> Result<(), Error> {
    for round in round_store::of_clubs(write.tx, &[club], true, None, limits::ROUNDS_OPEN_MAX).await? {
        round_store::lock(write.tx, round.id).await?;
        let gathers =
            round_store::one(write.tx, round.id).await?.is_some_and(|r| r.phase == Phase::Gathering);
        if gathers {
            part::leave(write, &Granted::system("they left the club"), round.id, account).await?;
        }
    }
    Ok(())
}

/// Whether the caller arranges the round that a claim came of.
pub(crate) async fn arranges_claim(db: &dyn Source, call: &Call, claim: &Claim) -> Result<bool, Error> {
    let (Some(part), None) = (claim.in_round, call.entered_by) else { return Ok(false) };
    let Some(round) = round_store::one(db, part.round).await? else { return Ok(false) };
    clubs::organises(db, round.club, call.account_id()?).await
}

/// The club whose round a claim came of.
pub(crate) async fn club_of_claim(db: &dyn Source, claim: &Claim) -> Result<Option<ClubId>, Error> {
    let Some(part) = claim.in_round else { return Ok(None) };
    Ok(round_store::one(db, part.round).await?.map(|round| round.club))
}

/// All claims that came of a round.
async fn claims_of(db: &dyn Source, round: &Round) -> Result<Vec<Claim>, Error> {
    Ok(claim_store::of_round(db, round.id).await?)
}
