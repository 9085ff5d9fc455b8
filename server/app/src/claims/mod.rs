//! Claims: asking for part of an offer, acceptance, a waiting list, hand-over.

mod answer;
mod ask;
mod hand_over;
mod lapse;
mod read;

pub use answer::{AcceptClaim, DeclineClaim, WithdrawClaim};
pub use ask::AskForOffer;
pub use hand_over::{ConfirmHandOver, NoteMissed};
pub use lapse::LapseClaims;
pub use read::ShownClaim;
pub(crate) use read::told_to;

use scionary_domain::{
    access::{self, EditClaim, Granted},
    claim::{self, Claim, Shown, Side, State},
    ids::{AccountId, ClaimId, OfferId},
    limits,
    movement::Answer,
    notice::{Kind, NewNotice},
    offer::{self, Offer},
    time::Date,
};
use scionary_store::{Source, StoreError, block_store, claim_store, offer_store};

use crate::{Call, Error, Rule, Write, alerts, clubs, registry::Registry, rounds};

/// The outbox topic of changes to claims.
pub const TOPIC: &str = "claim";

/// A claim as it is now; one that came of a round is read again once that is held. To who acts for a member, one that has
/// nothing to do with their club is no claim.
async fn held(write: &Write<'_>, id: ClaimId) -> Result<Claim, Error> {
    let missing = || Error::not_found("claim", id);
    let claim = claim_store::one(write.tx, id).await?.ok_or_else(missing)?;
    if !covered(write.tx, write.call, &claim).await? {
        return Err(missing());
    }
    if claim.in_round.is_none() {
        return Ok(claim);
    }
    rounds::hold_round_of(write, &claim).await?;
    claim_store::one(write.tx, id).await?.ok_or_else(missing)
}

/// A claim with the right to change it, and the caller's side; someone else's is no one's business.
async fn own(write: &Write<'_>, id: ClaimId) -> Result<(Claim, Granted<EditClaim>, Side), Error> {
    let account = write.call.account()?;
    let missing = || Error::not_found("claim", id);
    let claim = held(write, id).await?;
    let (granted, side) = access::edit_claim(account, &claim).ok_or_else(missing)?;
    Ok((claim, granted, side))
}

/// Whether whoever acts for the caller may do so in this claim: it is on an offer for that club, or came of its round.
async fn covered(db: &dyn Source, call: &Call, claim: &Claim) -> Result<bool, Error> {
    if call.entered_by.is_none() {
        return Ok(true);
    }
    let of_round = rounds::club_of_claim(db, claim).await?;
    let offer = offer_store::offer(db, claim.offer).await?;
    Ok(call.covers(of_round) || call.covers(offer.and_then(|o| o.contents.club)))
}

/// A claim of which the caller is on one side.
async fn own_as(write: &Write<'_>, id: ClaimId, wanted: Side) -> Result<(Claim, Granted<EditClaim>), Error> {
    let (claim, granted, side) = own(write, id).await?;
    if side == wanted { Ok((claim, granted)) } else { Err(Rule::OtherSide(wanted == Side::Giver).into()) }
}

/// Stores a changed claim; a caller who was overtaken is served again, on what stands then.
async fn store(write: &Write<'_>, granted: Granted<EditClaim>, claim: &mut Claim) -> Result<(), Error> {
    let seen = claim.version;
    claim.version += 1;
    if claim_store::replace(write.tx, granted, claim, seen).await? {
        Ok(())
    } else {
        Err(StoreError::Collision.into())
    }
}

/// The offer of a claim.
async fn offer_of(write: &Write<'_>, id: OfferId) -> Result<Offer, Error> {
    offer_store::offer(write.tx, id).await?.ok_or_else(|| Error::not_found("offer", id))
}

/// Whether the caller arranges the club in which a claim was made: its offer is for that club, both its sides belong to it,
/// and the caller does not act for someone else.
async fn arranged(db: &dyn Source, call: &Call, claim: &Claim, offer: &Offer) -> Result<bool, Error> {
    if rounds::arranges_claim(db, call, claim).await? {
        return Ok(true);
    }
    let (Some(club), None) = (offer.contents.club, call.entered_by) else { return Ok(false) };
    Ok(clubs::organises(db, club, call.account_id()?).await?
        && clubs::belongs(db, club, claim.taker).await?
        && clubs::belongs(db, club, claim.giver).await?)
}

/// Gives back what a claim was promised: to the round that it came of while that is open, otherwise to its offer, where
/// those who wait move up. To be called before the claim is stored.
async fn give_back(write: &Write<'_>, claim: &mut Claim, by_giver: bool) -> Result<bool, Error> {
    if rounds::takes_back(write, claim, by_giver).await? {
        return Ok(false);
    }
    claim_store::release(write.tx, claim.offer, claim.quantity).await?;
    Ok(true)
}

/// What stands in the way of a promise beside rules and quantities: a confirmed alert on the lot, a club that the taker does
/// not belong to, people who do not deal with each other (whoever entered it counts, too).
async fn stands_in_the_way(
    db: &dyn Source,
    offer: &Offer,
    taker: AccountId,
    entered_by: Option<AccountId>,
) -> Result<Option<Rule>, Error> {
    if let Some(lot) = offer.contents.lot
        && let Err(error) = alerts::refuse_reached(db, lot).await
    {
        #[expect(clippy::wildcard_enum_match_arm, reason = "all other errors are passed on as they are")]
        return match error {
            Error::Rule(rule) => Ok(Some(rule)),
            other => Err(other),
        };
    }
    if let Some(club) = offer.contents.club
        && !clubs::belongs(db, club, taker).await?
    {
        return Ok(Some(Rule::ClubOnly));
    }
    for who in [Some(taker), entered_by].into_iter().flatten() {
        if who == offer.giver {
            return Ok(Some(Rule::OwnOffer));
        }
        if block_store::between(db, who, offer.giver).await? {
            return Ok(Some(Rule::NotBetweenThem));
        }
    }
    Ok(None)
}

/// What is on file on moving so much of an offer to a place.
fn movement(write: &Write<'_>, offer: &Offer, to: &str, quantity: i32, today: Date) -> Answer {
    let rules = write.app.movement();
    let asked =
        crate::movement::of_offer((&write.app.registry(), &rules), &offer.contents, to, quantity, today);
    rules.ask(&asked)
}

/// Refuses what a rule on file prohibits; what is on file, to be kept with the claim.
fn looked_at(answer: &Answer, today: Date) -> Result<Shown, Error> {
    match claim::bars(answer) {
        Some(why) => Err(Rule::MovementProhibited(why).into()),
        None => Ok(Shown::of(answer, today)),
    }
}

/// What a claim is about, in words: "3 sticks of Larkwater Gold (scion wood, on offer from 2027-03-01)".
fn what(registry: &Registry, claim: &Claim, offer: &Offer) -> String {
    let contents = &offer.contents;
    let name = registry.record(contents.cultivar).map(|r| r.cultivar.full_name()).unwrap_or_default();
    let (quantity, material) = (contents.unit.counted(claim.quantity), contents.material.label());
    // someone may offer the same twice: the day tells which
    format!("{quantity} of {name} ({material}, on offer from {})", contents.available_from)
}

/// Marks a claim as promised.
fn accepted(claim: &mut Claim, contact: &str, write: &Write<'_>) {
    claim.state = State::Accepted;
    claim.giver_contact = contact.to_string();
    claim.lapses_at = write.call.now.plus_days(limits::CLAIM_HAND_OVER_DAYS);
}

/// Where something is left again of an offer whose giver accepts by itself, those who wait move up in the order in which
/// they asked; one who asked for more than is left stays, and the next one who fits goes on.
pub(crate) async fn move_up(write: &Write<'_>, id: OfferId) -> Result<(), Error> {
    let offer = offer_of(write, id).await?;
    let today = write.call.now.date();
    if !offer.contents.auto_accept || offer.state(today) != offer::State::Open {
        return Ok(());
    }
    for mut claim in claim_store::waiting(write.tx, id, limits::CLAIMS_MOVED_UP_MAX).await? {
        let answer = movement(write, &offer, claim.to.as_str(), claim.quantity, today);
        // stricter than what the taker saw: they have to ask again
        let stricter = answer.verdict > claim.movement.verdict;
        let barred = stands_in_the_way(write.tx, &offer, claim.taker, claim.entered_by).await?.is_some();
        if stricter || barred || !claim_store::promise(write.tx, id, claim.quantity, today).await? {
            continue;
        }
        accepted(&mut claim, &offer.contents.contact, write);
        store(write, Granted::system("the waiting list moves up"), &mut claim).await?;
        let what = what(&write.app.registry(), &claim, &offer);
        let told = NewNotice {
            to: claim.taker,
            kind: Kind::ClaimAccepted,
            subject: claim.id.to_string(),
            once: claim.version.to_string(),
            words: format!("{what} is promised to you, because some became available again."),
        };
        write.tell(&[told]).await?;
    }
    Ok(())
}
