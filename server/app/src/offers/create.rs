//! Posting an offer.

use scionary_domain::{
    ids::OfferId,
    limits,
    offer::{Draft, Offer},
};
use scionary_store::{account_store, offer_store};

use super::{Shown, search_text, shown};
use crate::{Done, Error, Rule, UseCase, Write};

/// Posts an offer.
pub struct CreateOffer {
    /// The cultivar: an id or an exact name.
    pub cultivar: String,
    /// The crop, where a name is given.
    pub crop: String,
    /// What the giver states.
    pub draft: Draft,
}

impl UseCase for CreateOffer {
    type Out = Shown;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Shown>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let registry = write.app.registry();
        let contents =
            super::change::checked(&registry, &self.cultivar, &self.crop, &self.draft, now.date(), None)?;
        account_store::lock_account(write.tx, account.id).await?;
        let open = offer_store::count_open(write.tx, account.id, now.date()).await?;
        if i64::try_from(open).unwrap_or(i64::MAX) >= limits::OFFERS_OPEN_MAX {
            return Err(Rule::TooManyOffers(limits::OFFERS_OPEN_MAX).into());
        }
        let offer = Offer {
            id: OfferId::from_uuid(write.new_uuid()?),
            giver: account.id,
            contents,
            promised: 0,
            withdrawn_at: None,
            version: 1,
            created_at: now,
            updated_at: now,
        };
        offer_store::insert(write.tx, &offer, &search_text(&registry, &offer.contents)).await?;
        let id = offer.id;
        let change = serde_json::json!({
            "cultivar": offer.contents.cultivar.to_string(),
            "material": offer.contents.material.word(),
            "quantity": offer.contents.quantity,
        });
        let out = shown(&registry, offer, account.display_name.clone(), now.date());
        Ok(Done::new(out, "offer.posted", id, change).and_publish(super::TOPIC, id))
    }
}
