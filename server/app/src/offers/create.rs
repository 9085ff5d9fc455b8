//! Posting an offer.

use scionary_domain::{
    ids::OfferId,
    limits,
    offer::{Draft, Offer},
};
use scionary_store::{account_store, offer_store};

use super::{Shown, lot, search_text, shown};
use crate::{Done, Error, Rule, UseCase, Write, protection};

/// Posts an offer.
pub struct CreateOffer {
    /// The cultivar: an id or an exact name.
    pub cultivar: String,
    /// The crop, where a name is given.
    pub crop: String,
    /// What the giver states.
    pub draft: Draft,
    /// The giver's own lot that it is taken from: its code or id; may be empty.
    pub lot: String,
    /// The club whose members alone see it: its id; may be empty.
    pub club: String,
}

impl UseCase for CreateOffer {
    type Out = Shown;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Shown>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let registry = write.app.registry();
        let lot = lot::named(write, &self.lot).await?;
        let cultivar = lot::cultivar_of(&self.cultivar, lot.as_ref());
        let mut contents =
            super::change::checked(&registry, &cultivar, &self.crop, &self.draft, now.date(), None)?;
        contents.club = super::for_club(write, &self.club).await?;
        if let Some(lot) = &lot {
            lot::check(&registry, &contents, lot)?;
            contents.lot = Some(lot.id);
        }
        let protection = protection::asked_for(write.tx, &registry, &contents, now.date()).await?;
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
            entered_by: write.call.entered_by,
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
        let mut out = shown(&registry, offer, account.display_name.clone(), now.date());
        out.protection = protection;
        out.with_unions(&registry);
        if let Some(area) = out.offer.contents.place.area.clone() {
            out.moved_to(&registry, &write.app.movement(), area.as_str(), now.date());
        }
        Ok(Done::new(out, "offer.posted", id, change).and_publish(super::TOPIC, id))
    }
}
