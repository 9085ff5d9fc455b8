//! The hand-over, and what both sides say where it was missed.

use scionary_domain::{
    access::{self, EditClaim, Granted},
    claim::{Claim, Shown, Side, State},
    field::Fields,
    ids::{AccountId, ClaimId},
    limits,
    lineage::Lot,
    notice::Kind,
    offer::Offer,
};

use super::{TOPIC, give_back, held, move_up, movement, offer_of, own, store, what};
use crate::{Done, Error, Rule, UseCase, Write, lots, registry::Registry, rounds};

/// Who is notified of a confirmation, and how. Without a side an organiser has confirmed it for both.
fn handed(
    claim: &Claim,
    side: Option<Side>,
    offer: &Offer,
    registry: &Registry,
    lot: Option<&Lot>,
) -> Vec<(AccountId, String)> {
    let both = vec![claim.giver, claim.taker];
    let (to, who) = match side {
        Some(Side::Giver) => (vec![claim.taker], "The giver"),
        Some(Side::Taker) => (vec![claim.giver], "The taker"),
        None => (both.clone(), "An organiser"),
    };
    // the new lot's code goes to whoever confirmed last, too: the tag is theirs to write
    let to = if lot.is_some() { both } else { to };
    let what = what(registry, claim, offer);
    let words = match lot {
        None => {
            format!("{who} says that {what} changed hands. Confirm it too.")
        }
        Some(lot) => format!("{what} changed hands. Its lot is {}: write the code on its tag.", lot.code),
    };
    to.into_iter().map(|to| (to, words.clone())).collect()
}

/// Rules that have become stricter since it was promised: the promise ends and both are told, so that the taker looks
/// at them and asks again, and the giver promises again. None where nothing is stricter.
async fn stricter(write: &Write<'_>, claim: &mut Claim) -> Result<Option<Done<()>>, Error> {
    let offer = offer_of(write, claim.offer).await?;
    let today = write.call.now.date();
    let answer = movement(write, &offer, claim.to.as_str(), claim.quantity, today);
    if answer.verdict <= claim.movement.verdict {
        return Ok(None);
    }
    give_back(write, claim, false).await?;
    claim.movement = Shown::of(&answer, today);
    claim.state = State::Declined;
    claim.answer = "Rules on moving it have become stricter since it was promised.".into();
    let what = what(&write.app.registry(), claim, &offer);
    let words = format!(
        "Rules on moving {what} have become stricter since it was promised: {}. The promise has ended, so that you both read them first; then the taker can ask again.",
        claim.movement.headline
    );
    let done = Done::new((), "claim.stricter", claim.id, serde_json::json!({}))
        .and_publish(TOPIC, claim.id)
        .and_tell(claim.giver, Kind::ClaimStricter, claim.id, today, words.clone())
        .and_tell(claim.taker, Kind::ClaimStricter, claim.id, today, words);
    Ok(Some(done))
}

/// A claim of which the caller is on a side, or whose offer is for a club that they arrange: on the day an organiser
/// confirms for both.
async fn own_or_arranged(
    write: &Write<'_>,
    id: ClaimId,
    for_both: bool,
) -> Result<(Claim, Granted<EditClaim>, Option<Side>), Error> {
    let account = write.call.account()?;
    let missing = || Error::not_found("claim", id);
    let claim = held(write, id).await?;
    if !for_both && let Some((granted, side)) = access::edit_claim(account, &claim) {
        return Ok((claim, granted, Some(side)));
    }
    let arranged =
        super::arranged(write.tx, write.call, &claim, &offer_of(write, claim.offer).await?).await?;
    let granted = access::confirm_for_both(account, arranged).ok_or_else(missing)?;
    Ok((claim, granted, None))
}

/// Says that it changed hands; with both words it is handed over.
pub struct ConfirmHandOver {
    /// The claim's id.
    pub id: ClaimId,
    /// At the table of a swap day: whoever arranges it confirms for both, also where they are one of the two.
    pub for_both: bool,
}

/// Says what went wrong with a hand-over, for organisers; empty takes the words away.
pub struct NoteMissed {
    /// The claim's id.
    pub id: ClaimId,
    /// What happened.
    pub words: String,
}

impl UseCase for ConfirmHandOver {
    /// The claim, and the state that it is left in.
    type Out = (ClaimId, State);
    async fn run(&self, write: &Write<'_>) -> Result<Done<(ClaimId, State)>, Error> {
        let (mut claim, granted, side) = own_or_arranged(write, self.id, self.for_both).await?;
        if claim.state != State::Accepted {
            return Err(Rule::ClaimNotAccepted(claim.state.label()).into());
        }
        rounds::day_has_begun(write.tx, &claim).await?;
        // what one side says has happened is not undone by a rule
        let (untouched, was_taken) = (claim.given_at.is_none() && claim.taken_at.is_none(), claim.taken_at);
        if untouched && let Some(done) = stricter(write, &mut claim).await? {
            store(write, granted, &mut claim).await?;
            move_up(write, claim.offer).await?;
            return Ok(done.with((claim.id, claim.state)));
        }
        if side != Some(Side::Taker) {
            claim.given_at.get_or_insert(write.call.now);
        }
        if side != Some(Side::Giver) {
            claim.taken_at.get_or_insert(write.call.now);
        }
        if claim.given_at.is_some() && claim.taken_at.is_some() {
            claim.state = State::HandedOver;
        }
        if was_taken.is_none() && claim.taken_at.is_some() {
            rounds::note_handed_over(write, &claim).await?;
        }
        store(write, granted, &mut claim).await?;
        let offer = offer_of(write, claim.offer).await?;
        let id = claim.id;
        let (registry, made) = (write.app.registry(), claim.state == State::HandedOver);
        let lot = if made { Some(lots::given(write, &claim, &offer).await?) } else { None };
        let told = handed(&claim, side, &offer, &registry, lot.as_ref());
        let mut done = Done::new((id, claim.state), "claim.hand_over_confirmed", id, serde_json::json!({}))
            .and_publish(TOPIC, id);
        for (to, words) in told {
            done = done.and_tell(to, Kind::ClaimHandedOver, id, if made { "both" } else { "one" }, words);
        }
        if let Some(lot) = lot {
            done = done.and_publish(lots::TOPIC, lot.id);
        }
        Ok(done)
    }
}

impl UseCase for NoteMissed {
    type Out = ClaimId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ClaimId>, Error> {
        let (mut claim, granted, side) = own(write, self.id).await?;
        let mut fields = Fields::new();
        let words = fields.text("words", &self.words, 0, limits::CLAIM_NOTE_CHARS_MAX);
        let words = fields.finish(words)?;
        // nothing was agreed on that could be missed
        if claim.state == State::Waiting || claim.giver_contact.is_empty() {
            return Err(Rule::ClaimNotAccepted(claim.state.label()).into());
        }
        match side {
            Side::Giver => claim.giver_missed = words,
            Side::Taker => claim.taker_missed = words,
        }
        store(write, granted, &mut claim).await?;
        let id = claim.id;
        Ok(Done::new(id, "claim.missed_noted", id, serde_json::json!({})))
    }
}
