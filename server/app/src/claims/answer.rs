//! Accepting, declining, taking back.

use scionary_domain::{
    claim::{Side, State},
    field::Fields,
    ids::ClaimId,
    limits,
    notice::Kind,
};
use scionary_store::claim_store;

use super::{
    TOPIC, accepted, give_back, looked_at, move_up, movement, offer_of, own_as, stands_in_the_way, store,
    what,
};
use crate::{Done, Error, Rule, UseCase, Write};

/// Accepts a claim: its quantity is promised (the giver).
pub struct AcceptClaim {
    /// The claim's id.
    pub id: ClaimId,
    /// How the giver can be reached.
    pub contact: String,
    /// The giver's words.
    pub note: String,
}

/// Declines a claim, or takes a promise back (the giver).
pub struct DeclineClaim {
    /// The claim's id.
    pub id: ClaimId,
    /// Why.
    pub reason: String,
}

/// Takes a claim back (the taker).
pub struct WithdrawClaim {
    /// The claim's id.
    pub id: ClaimId,
}

impl UseCase for AcceptClaim {
    type Out = ClaimId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ClaimId>, Error> {
        let (mut claim, granted) = own_as(write, self.id, Side::Giver).await?;
        let today = write.call.now.date();
        if claim.state != State::Waiting {
            return Err(Rule::ClaimNotWaiting(claim.state.label()).into());
        }
        let mut fields = Fields::new();
        let contact = fields.line("contact", &self.contact, 3, limits::CONTACT_CHARS_MAX);
        let note = fields.text("note", &self.note, 0, limits::CLAIM_NOTE_CHARS_MAX);
        let (contact, note) = fields.finish(contact.zip(note))?;
        let offer = offer_of(write, claim.offer).await?;
        if let Some(rule) = stands_in_the_way(write.tx, &offer, claim.taker, claim.entered_by).await? {
            return Err(rule.into());
        }
        // rules may have changed since it was asked for
        let answer = movement(write, &offer, claim.to.as_str(), claim.quantity, today);
        let shown = looked_at(&answer, today)?;
        if shown.verdict > claim.movement.verdict {
            return Err(Rule::MovementStricter(shown.headline).into());
        }
        if !claim_store::promise(write.tx, claim.offer, claim.quantity, today).await? {
            return Err(Rule::NothingLeft.into());
        }
        claim.movement = shown;
        claim.answer = note;
        accepted(&mut claim, &contact, write);
        store(write, granted, &mut claim).await?;
        let offer = offer_of(write, claim.offer).await?;
        let (id, taker, version, registry) = (claim.id, claim.taker, claim.version, write.app.registry());
        let words = format!("{} is promised to you.", what(&registry, &claim, &offer));
        Ok(Done::new(id, "claim.accepted", id, serde_json::json!({})).and_publish(TOPIC, id).and_tell(
            taker,
            Kind::ClaimAccepted,
            id,
            version,
            words,
        ))
    }
}

/// Ends a claim, and gives back what was promised.
async fn end(
    write: &Write<'_>,
    id: ClaimId,
    side: Side,
    state: State,
    answer: Option<String>,
    action: &'static str,
) -> Result<Done<ClaimId>, Error> {
    let (mut claim, granted) = own_as(write, id, side).await?;
    if !claim.state.is_open() {
        return Err(Rule::ClaimOver(claim.state.label()).into());
    }
    if claim.given_at.is_some() || claim.taken_at.is_some() {
        return Err(Rule::HandedOverAlready.into());
    }
    let promised = claim.state == State::Accepted;
    claim.state = state;
    if let Some(answer) = answer {
        claim.answer = answer;
    }
    let released = promised && give_back(write, &mut claim, side == Side::Giver).await?;
    store(write, granted, &mut claim).await?;
    if released {
        move_up(write, claim.offer).await?;
    }
    let offer = offer_of(write, claim.offer).await?;
    let registry = write.app.registry();
    let what = what(&registry, &claim, &offer);
    let (other, words) = match side {
        Side::Giver => {
            let why = if claim.answer.is_empty() { String::new() } else { format!(": {}", claim.answer) };
            (claim.taker, format!("The giver says no to {what}{why}"))
        }
        Side::Taker => (claim.giver, format!("The taker takes back the claim on {what}.")),
    };
    Ok(Done::new(id, action, id, serde_json::json!({})).and_publish(TOPIC, id).and_tell(
        other,
        Kind::ClaimEnded,
        id,
        action,
        words,
    ))
}

impl UseCase for DeclineClaim {
    type Out = ClaimId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ClaimId>, Error> {
        let mut fields = Fields::new();
        let reason = fields.text("reason", &self.reason, 0, limits::CLAIM_NOTE_CHARS_MAX);
        let reason = fields.finish(reason)?;
        end(write, self.id, Side::Giver, State::Declined, Some(reason), "claim.declined").await
    }
}

impl UseCase for WithdrawClaim {
    type Out = ClaimId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ClaimId>, Error> {
        end(write, self.id, Side::Taker, State::Withdrawn, None, "claim.withdrawn").await
    }
}
