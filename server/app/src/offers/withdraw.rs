//! Taking an offer back.

use scionary_domain::{
    access::{self, Granted},
    claim,
    ids::OfferId,
    limits,
    notice::{Kind, NewNotice},
};
use scionary_store::{StoreError, claim_store, offer_store, round_store};

use super::{Shown, search_text, shown};
use crate::{Done, Error, Rule, UseCase, Write};

/// Takes an offer back.
pub struct WithdrawOffer {
    /// The offer's id.
    pub id: OfferId,
    /// The version last seen; none to withdraw whatever it is now.
    pub version: Option<i64>,
}

impl UseCase for WithdrawOffer {
    type Out = Shown;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Shown>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let missing = || Error::not_found("offer", self.id);
        let found = offer_store::offer(write.tx, self.id).await?;
        let mut offer = found.filter(|o| write.call.covers(o.contents.club)).ok_or_else(missing)?;
        let granted = access::edit_offer(account, offer.giver)?;
        if offer.withdrawn_at.is_some() {
            return Err(Rule::OfferWithdrawn.into());
        }
        if !round_store::open_rounds_of(write.tx, offer.id).await?.is_empty() {
            return Err(Rule::OfferInRound.into());
        }
        let seen = self.version.unwrap_or(offer.version);
        if seen != offer.version {
            return Err(Error::Stale { seen, current: offer.version });
        }
        offer.version += 1;
        offer.withdrawn_at = Some(now);
        offer.updated_at = now;
        let registry = write.app.registry();
        let text = search_text(&registry, &offer.contents);
        if !offer_store::replace(write.tx, granted, &offer, seen, &text).await? {
            let current = offer_store::offer(write.tx, self.id).await?.ok_or_else(missing)?.version;
            return Err(Error::Stale { seen, current });
        }
        for mut claim in claim_store::waiting(write.tx, self.id, limits::CLAIMS_MOVED_UP_MAX).await? {
            let from = claim.version;
            claim.version += 1;
            claim.state = claim::State::Declined;
            claim.answer = "The offer was taken back.".into();
            let granted = Granted::system("its offer was taken back");
            if !claim_store::replace(write.tx, granted, &claim, from).await? {
                return Err(StoreError::Collision.into());
            }
            let told = NewNotice {
                to: claim.taker,
                kind: Kind::ClaimEnded,
                subject: claim.id.to_string(),
                once: "claim.declined".into(),
                words: "An offer that you asked for was taken back.".into(),
            };
            write.tell(&[told]).await?;
        }
        let id = offer.id;
        let out = shown(&registry, offer, account.display_name.clone(), now.date());
        Ok(Done::new(out, "offer.withdrawn", id, serde_json::json!({})).and_publish(super::TOPIC, id))
    }
}
