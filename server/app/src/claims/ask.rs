//! Asking for part of an offer.

use scionary_domain::{
    claim::{self, Asked, Claim, State},
    ids::{ClaimId, OfferId},
    limits,
    notice::Kind,
    offer::State as OfferState,
};
use scionary_store::{StoreError, account_store, claim_store};

use super::{TOPIC, accepted, looked_at, movement, offer_of, stands_in_the_way, what};
use crate::{Done, Error, Rule, UseCase, Write};

/// Asks for part of an offer.
pub struct AskForOffer {
    /// The offer's id.
    pub offer: OfferId,
    /// How much, and where it goes.
    pub asked: Asked,
}

impl UseCase for AskForOffer {
    type Out = ClaimId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ClaimId>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let today = now.date();
        let offer = offer_of(write, self.offer).await?;
        if !write.call.covers(offer.contents.club) {
            return Err(Error::not_found("offer", self.offer));
        }
        if let Some(rule) = stands_in_the_way(write.tx, &offer, account.id, write.call.entered_by).await? {
            return Err(rule.into());
        }
        match offer.state(today) {
            OfferState::Open | OfferState::Coming => {}
            OfferState::Expired | OfferState::Withdrawn => return Err(Rule::OfferOver.into()),
        }
        let (quantity, to, note, contact) = claim::check(&self.asked, &offer.contents)?;
        let answer = movement(write, &offer, to.as_str(), quantity, today);
        let shown = looked_at(&answer, today)?;
        account_store::lock_account(write.tx, account.id).await?;
        let open = claim_store::count_open(write.tx, account.id).await?;
        if i64::try_from(open).unwrap_or(i64::MAX) >= limits::CLAIMS_OPEN_MAX {
            return Err(Rule::TooManyClaims(limits::CLAIMS_OPEN_MAX).into());
        }
        let mut claim = Claim {
            id: ClaimId::from_uuid(write.new_uuid()?),
            offer: offer.id,
            giver: offer.giver,
            taker: account.id,
            quantity,
            to,
            note,
            taker_contact: contact,
            giver_contact: String::new(),
            answer: String::new(),
            movement: shown,
            state: State::Waiting,
            asked_at: now,
            lapses_at: now.plus_days(limits::CLAIM_WAITS_DAYS),
            given_at: None,
            taken_at: None,
            giver_missed: String::new(),
            taker_missed: String::new(),
            entered_by: write.call.entered_by,
            in_round: None,
            version: 1,
        };
        // no one passes those who wait already
        if offer.contents.auto_accept
            && offer.state(today) == OfferState::Open
            && claim_store::waiting(write.tx, offer.id, 1).await?.is_empty()
            && claim_store::promise(write.tx, offer.id, quantity, today).await?
        {
            accepted(&mut claim, &offer.contents.contact, write);
        }
        claim_store::insert(write.tx, &claim).await.map_err(|e| match e {
            StoreError::Exists => Error::from(Rule::ClaimedAlready),
            other @ (StoreError::Busy
            | StoreError::Collision
            | StoreError::Refused(_)
            | StoreError::Unavailable(_)
            | StoreError::Sick(..)
            | StoreError::Corrupt { .. }) => other.into(),
        })?;
        let id = claim.id;
        let change = serde_json::json!({ "offer": offer.id.to_string(), "quantity": quantity });
        let registry = write.app.registry();
        let what = what(&registry, &claim, &offer);
        let (giver, words) = match claim.state {
            State::Accepted => {
                (claim.giver, format!("{} took {what}, which you accept by itself.", account.display_name))
            }
            State::Waiting | State::HandedOver | State::Declined | State::Withdrawn | State::Lapsed => {
                (claim.giver, format!("{} asks for {what}.", account.display_name))
            }
        };
        Ok(Done::new(id, "claim.asked", id, change).and_publish(TOPIC, id).and_tell(
            giver,
            Kind::ClaimAsked,
            id,
            "",
            words,
        ))
    }
}
