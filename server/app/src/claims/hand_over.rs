//! The hand-over, and what both sides say where it was missed.

use scionary_domain::{
    claim::{Side, State},
    field::Fields,
    ids::ClaimId,
    limits,
};

use super::{ShownClaim, TOPIC, offer_of, own, store};
use crate::{Done, Error, Rule, UseCase, Write};

/// Says that it changed hands; with both words it is handed over.
pub struct ConfirmHandOver {
    /// Which.
    pub id: ClaimId,
}

/// Says what went wrong with a hand-over, for organisers; empty takes the words away.
pub struct NoteMissed {
    /// Which.
    pub id: ClaimId,
    /// What happened.
    pub words: String,
}

impl UseCase for ConfirmHandOver {
    type Out = ShownClaim;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClaim>, Error> {
        let (mut claim, granted, side) = own(write, self.id).await?;
        if claim.state != State::Accepted {
            return Err(Rule::ClaimNotAccepted(claim.state.label()).into());
        }
        let said = match side {
            Side::Giver => &mut claim.given_at,
            Side::Taker => &mut claim.taken_at,
        };
        said.get_or_insert(write.call.now);
        if claim.given_at.is_some() && claim.taken_at.is_some() {
            claim.state = State::HandedOver;
        }
        store(write, granted, &mut claim).await?;
        let offer = offer_of(write, claim.offer).await?;
        let id = claim.id;
        let out = ShownClaim::new(&write.app.registry(), claim, &offer);
        Ok(Done::new(out, "claim.hand_over_confirmed", id, serde_json::json!({})).and_publish(TOPIC, id))
    }
}

impl UseCase for NoteMissed {
    type Out = ShownClaim;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClaim>, Error> {
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
        let offer = offer_of(write, claim.offer).await?;
        let id = claim.id;
        let out = ShownClaim::new(&write.app.registry(), claim, &offer);
        Ok(Done::new(out, "claim.missed_noted", id, serde_json::json!({})))
    }
}
