//! Changing an offer.

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
use crate::{Done, Error, Rule, UseCase, Write, protection, registry::Registry};

/// A field that a change names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Field {
    /// The cultivar, its crop, and whether the seedlings are unknown.
    Cultivar,
    /// Whether the seedlings are unknown.
    UnknownSeedling,
    /// What.
    Material,
    /// How much.
    Quantity,
    /// Of what.
    Unit,
    /// For what.
    Terms,
    /// First day.
    AvailableFrom,
    /// Last day.
    AvailableUntil,
    /// When it was cut, picked or taken from the fruit.
    TakenOn,
    /// How it is kept.
    KeptHow,
    /// Where.
    Place,
    /// How.
    HandOver,
    /// The giver's words.
    Note,
    /// The health statement as a whole.
    Health,
    /// Whether claims are accepted by themselves.
    AutoAccept,
    /// How the giver can be reached, for such claims.
    Contact,
    /// The lot that it is taken from.
    Lot,
    /// The club whose members alone see it.
    Club,
    /// What the giver says of the holder's consent.
    HolderConsent,
}

impl Field {
    /// The fields by the names of the wire.
    pub const ALL: &'static [(&'static str, Self)] = &[
        ("cultivar", Self::Cultivar),
        ("unknown_seedling", Self::UnknownSeedling),
        ("material", Self::Material),
        ("quantity", Self::Quantity),
        ("unit", Self::Unit),
        ("terms", Self::Terms),
        ("available_from", Self::AvailableFrom),
        ("available_until", Self::AvailableUntil),
        ("taken_on", Self::TakenOn),
        ("kept_how", Self::KeptHow),
        ("place", Self::Place),
        ("hand_over", Self::HandOver),
        ("note", Self::Note),
        ("health", Self::Health),
        ("auto_accept", Self::AutoAccept),
        ("contact", Self::Contact),
        ("lot", Self::Lot),
        ("club", Self::Club),
        ("holder_consent", Self::HolderConsent),
    ];
    /// From the name of the wire.
    ///
    /// # Errors
    /// What was expected.
    pub fn parse(path: &str) -> Result<Self, FieldError> {
        Self::ALL.iter().find(|(name, _)| *name == path).map(|(_, field)| *field).ok_or_else(|| {
            let names: Vec<&str> = Self::ALL.iter().map(|(name, _)| *name).collect();
            FieldError::new("update_mask", format!("some of {} expected, {path:?} found", names.join(", ")))
        })
    }
}

/// Changes the named fields of an offer.
pub struct ChangeOffer {
    /// Which.
    pub id: OfferId,
    /// The version that the change was made from.
    pub version: i64,
    /// Which fields.
    pub fields: Vec<Field>,
    /// The cultivar, if it is among them.
    pub cultivar: String,
    /// Its crop.
    pub crop: String,
    /// The new values.
    pub draft: Draft,
    /// The giver's own lot, if it is among them: its code or id; empty for none.
    pub lot: String,
    /// The club whose members alone see it, if it is among them: its id; empty for everybody.
    pub club: String,
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
            let nobody = scionary_domain::ids::CultivarId::from_uuid(uuid::Uuid::nil());
            let more = offer::check(draft, profile, nobody, today, unchanged_from).err().unwrap_or_default();
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
        if self.version != offer.version {
            return Err(Error::Stale { seen: self.version, current: offer.version });
        }
        if self.fields.is_empty() {
            return Err(FieldError::new("update_mask", "at least one field to change expected").into());
        }
        // what an alert reaches stays what it is called, and of its lot
        lot::refuse(write, offer.contents.lot).await?;
        let what =
            [Field::Cultivar, Field::UnknownSeedling, Field::Material, Field::Unit, Field::Lot, Field::Club];
        if offer.promised > 0 && self.fields.iter().any(|field| what.contains(field)) {
            return Err(Rule::PromisedAlready.into());
        }
        let registry = write.app.registry();
        let mut draft = Draft::from(&offer.contents);
        let (mut cultivar, mut crop) = (offer.contents.cultivar.to_string(), String::new());
        let new = &self.draft;
        for field in &self.fields {
            match field {
                Field::Cultivar => {
                    cultivar = self.cultivar.clone();
                    crop = self.crop.clone();
                }
                Field::UnknownSeedling => draft.unknown_seedling = new.unknown_seedling,
                Field::Material => draft.material = new.material,
                Field::Quantity => draft.quantity = new.quantity,
                Field::Unit => draft.unit = new.unit,
                Field::Terms => draft.terms = new.terms,
                Field::AvailableFrom => draft.available_from = new.available_from,
                Field::AvailableUntil => draft.available_until = new.available_until,
                Field::TakenOn => draft.taken_on = new.taken_on,
                Field::KeptHow => draft.kept_how.clone_from(&new.kept_how),
                Field::Place => {
                    draft.area_code.clone_from(&new.area_code);
                    draft.grid_code.clone_from(&new.grid_code);
                    draft.place_label.clone_from(&new.place_label);
                }
                Field::HandOver => draft.hand_over.clone_from(&new.hand_over),
                Field::Note => draft.note.clone_from(&new.note),
                Field::Health => draft.health = new.health.clone(),
                Field::AutoAccept => draft.auto_accept = new.auto_accept,
                Field::Contact => draft.contact.clone_from(&new.contact),
                Field::HolderConsent => draft.holder_consent.clone_from(&new.holder_consent),
                Field::Club => draft.club = super::for_club(write, &self.club).await?,
                Field::Lot => draft.lot = lot::named(write, &self.lot).await?.map(|l| l.id),
            }
        }
        // a new material brings its own unit unless one is named
        if self.fields.contains(&Field::Material) && !self.fields.contains(&Field::Unit) {
            draft.unit = None;
        }
        // and is not kept as the old one was
        if self.fields.contains(&Field::Material) && !self.fields.contains(&Field::KeptHow) {
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
        offer.version += 1;
        offer.updated_at = now;
        let text = search_text(&registry, &offer.contents);
        if !offer_store::replace(write.tx, granted, &offer, self.version, &text).await? {
            let current = offer_store::offer(write.tx, self.id).await?.ok_or_else(missing)?;
            if current.version == self.version {
                return Err(Rule::PromisedMore(current.promised).into());
            }
            return Err(Error::Stale { seen: self.version, current: current.version });
        }
        // more of it, or a giver who accepts by itself now: those who wait may move up
        if offer.contents.auto_accept {
            crate::claims::move_up(write, offer.id).await?;
        }
        let names: Vec<&str> =
            Field::ALL.iter().filter(|(_, f)| self.fields.contains(f)).map(|(name, _)| *name).collect();
        let id = offer.id;
        let mut out = shown(&registry, offer, account.display_name.clone(), now.date());
        out.protection = protection;
        let change = serde_json::json!({ "fields": names, "version": out.offer.version });
        Ok(Done::new(out, "offer.changed", id, change).and_publish(super::TOPIC, id))
    }
}
