//! Changing an offer.

use std::collections::BTreeSet;

use scionary_domain::{
    access,
    field::FieldError,
    ids::OfferId,
    limits,
    offer::{self, Contents, Draft, State},
    time::Date,
};
use scionary_store::{account_store, lot_store, offer_store};

use super::{Shown, lot, search_text, shown};
use crate::{Done, Error, Overlay, Rule, UseCase, Write, as_seen, protection, registry::Registry};

/// What an offer says once some of its fields are replaced.
pub struct Changed {
    /// The cultivar: an id or an exact name.
    pub cultivar: String,
    /// The crop, where a name is given.
    pub crop: String,
    /// What the giver states.
    pub draft: Draft,
    /// The giver's own lot: its code or id; empty for none.
    pub lot: String,
    /// The club whose members alone see it: its id; empty where everyone does.
    pub club: String,
}

/// Changes the named fields of an offer.
pub struct ChangeOffer {
    /// The offer's id.
    pub id: OfferId,
    /// The version that the caller saw; none to change whatever is there.
    pub version: Option<i64>,
    /// The names of the fields that change, as the API has them; at least one.
    pub fields: BTreeSet<String>,
    /// Makes the changed offer from what is on file.
    pub change: Overlay<Contents, Changed>,
}

/// Everything that is wrong with an offer: its cultivar and its fields, at once.
pub(super) fn checked(
    registry: &Registry,
    cultivar: &str,
    crop: &str,
    draft: &Draft,
    today: Date,
    unchanged_from: Option<Date>,
) -> Result<Contents, Error> {
    let record = registry.resolve("offer.cultivar", cultivar, crop);
    // fields can be judged by any crop's profile while the cultivar is not known
    let profile = match &record {
        Ok(record) => registry.crop(&record.cultivar.crop),
        Err(_) => registry.crop(crop).or_else(|| registry.crops().next()),
    };
    let Some(profile) = profile else {
        return Err(Error::Internal("no crop is on file".into()));
    };
    match record {
        Ok(record) => Ok(offer::check(draft, profile, record.cultivar.id, today, unchanged_from)?),
        Err(error) => {
            #[expect(clippy::wildcard_enum_match_arm, reason = "all other errors are passed on as they are")]
            let first = match error {
                Error::Invalid(wrong) => wrong,
                Error::NotFound { hint, id, .. } => {
                    vec![FieldError::new(
                        "offer.cultivar",
                        format!("a cultivar on file expected, {id:?} found; {hint}"),
                    )]
                }
                other => return Err(other),
            };
            let nil = scionary_domain::ids::CultivarId::from_uuid(uuid::Uuid::nil());
            let more = offer::check(draft, profile, nil, today, unchanged_from).err().unwrap_or_default();
            Err(Error::Invalid(first.into_iter().chain(more).collect()))
        }
    }
}

impl UseCase for ChangeOffer {
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
        as_seen(self.version, offer.version)?;
        // what an alert reaches stays what it is called, and of its lot
        lot::refuse(write, offer.contents.lot).await?;
        let named = |field: &str| self.fields.contains(field);
        let what = ["cultivar", "unknown_seedling", "material", "unit", "lot", "club"];
        if offer.promised > 0 && what.into_iter().any(named) {
            return Err(Rule::PromisedAlready.into());
        }
        let registry = write.app.registry();
        let Changed { cultivar, crop, mut draft, lot, club } = (self.change)(&offer.contents)?;
        draft.lot = match named("lot") {
            true => lot::named(write, &lot).await?.map(|l| l.id),
            false => offer.contents.lot,
        };
        draft.club = if named("club") { super::for_club(write, &club).await? } else { offer.contents.club };
        // new material brings its own unit unless one is named, and is not kept as the old one was
        if named("material") && !named("unit") {
            draft.unit = None;
        }
        if named("material") && !named("kept_how") {
            draft.kept_how.clear();
        }
        let first_day = Some(offer.contents.available_from);
        let was_over = offer.state(now.date()) == State::Expired;
        offer.contents = checked(&registry, &cultivar, &crop, &draft, now.date(), first_day)?;
        if let Some(id) = offer.contents.lot {
            // more of what an alert reaches is not offered either
            lot::refuse(write, Some(id)).await?;
            if let Some(lot) = lot_store::one(write.tx, id).await? {
                lot::check(&registry, &offer.contents, &lot)?;
            }
        }
        let protection = protection::asked_for(write.tx, &registry, &offer.contents, now.date()).await?;
        if was_over {
            // one that comes back counts like a new one
            account_store::lock_account(write.tx, account.id).await?;
            let open = offer_store::count_open(write.tx, account.id, now.date()).await?;
            if i64::try_from(open).unwrap_or(i64::MAX) >= limits::OFFERS_OPEN_MAX {
                return Err(Rule::TooManyOffers(limits::OFFERS_OPEN_MAX).into());
            }
        }
        let from = offer.version;
        offer.version += 1;
        offer.updated_at = now;
        let text = search_text(&registry, &offer.contents);
        if !offer_store::replace(write.tx, granted, &offer, from, &text).await? {
            let current = offer_store::offer(write.tx, self.id).await?.ok_or_else(missing)?;
            if current.version == from {
                return Err(Rule::PromisedMore(current.promised).into());
            }
            return Err(Error::Stale { seen: from, current: current.version });
        }
        // more of it, or a giver who accepts by itself now: those who wait may move up
        if offer.contents.auto_accept {
            crate::claims::move_up(write, offer.id).await?;
        }
        let id = offer.id;
        let mut out = shown(&registry, offer, account.display_name.clone(), now.date());
        out.protection = protection;
        let change = serde_json::json!({ "fields": self.fields, "version": out.offer.version });
        Ok(Done::new(out, "offer.changed", id, change).and_publish(super::TOPIC, id))
    }
}
