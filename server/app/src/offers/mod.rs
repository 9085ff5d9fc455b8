//! Offers: posting, finding, changing, withdrawing.

mod change;
mod create;
mod lot;
mod nearby;
mod read;
mod search;
mod withdraw;

pub use change::{ChangeOffer, Changed};
pub use create::CreateOffer;
pub use nearby::Offered;
pub use search::{FoundOffers, SearchOffers};
pub use withdraw::WithdrawOffer;

use scionary_domain::{
    claim,
    field::FieldError,
    ids::{AccountId, ClubId},
    movement::Rules,
    names::Folded,
    offer::{Contents, Material, Offer},
    time::Date,
    unions::Union,
    viability,
};

use scionary_store::Source;

use crate::{Error, Write, clubs, registry::Registry};

/// The outbox topic of changes to offers.
pub const TOPIC: &str = "offer";

/// An offer with what a reader sees beside it.
#[derive(Clone, Debug)]
pub struct Shown {
    /// The offer.
    pub offer: Offer,
    /// The giver's display name.
    pub giver_name: String,
    /// The cultivar's name.
    pub cultivar_name: String,
    /// The short answer on its seed; empty where the material does not depend on it.
    pub seed_headline: String,
    /// What giver and taker should know of how long it lives.
    pub life: Vec<String>,
    /// What to mind when handling or eating it.
    pub cautions: Vec<String>,
    /// What protects the cultivar, in a sentence; empty if nothing is on file.
    pub protection: String,
    /// What sources report of its union, or of the scions that it was tried with as a rootstock. Not in lists.
    pub unions: Vec<Union>,
    /// What is on file on moving it to a place.
    pub movement: Option<(String, claim::Shown)>,
}

impl Shown {
    /// Adds what sources report of unions.
    pub(crate) fn with_unions(&mut self, registry: &Registry) {
        let contents = &self.offer.contents;
        let Some(record) = registry.record(contents.cultivar) else { return };
        self.unions = match contents.material {
            Material::GraftedPlant => {
                registry.union(record, &contents.health.rootstock).into_iter().collect()
            }
            Material::Rootstock => registry.scions_for(record),
            Material::ScionWood
            | Material::Budwood
            | Material::Seed
            | Material::Seedling
            | Material::FruitForSeed
            | Material::Cutting
            | Material::RootedPlant => Vec::new(),
        };
    }

    /// Looks at what is on file on moving it to a place.
    pub(crate) fn moved_to(&mut self, registry: &Registry, rules: &Rules, to: &str, today: Date) {
        let contents = &self.offer.contents;
        let asked = crate::movement::of_offer((registry, rules), contents, to, contents.quantity, today);
        self.movement = Some((to.to_string(), claim::Shown::of(&rules.ask(&asked), today)));
    }
}

/// Puts an offer beside what the registry knows.
pub(crate) fn shown(registry: &Registry, mut offer: Offer, giver_name: String, today: Date) -> Shown {
    let record = registry.record(offer.contents.cultivar);
    // of a merged record the one that stands for it is shown
    if let Some(record) = record {
        offer.contents.cultivar = record.cultivar.id;
    }
    let Contents { material, taken_on, kept_how, available_until, .. } = &offer.contents;
    let life = registry
        .crop(&offer.contents.crop)
        .map(|crop| viability::warnings(crop, *material, *taken_on, kept_how, *available_until, today));
    Shown {
        life: life.unwrap_or_default(),
        cautions: offer.contents.health.cautions(offer.contents.material).into_iter().collect(),
        protection: String::new(),
        unions: Vec::new(),
        movement: None,
        cultivar_name: record.map(|r| r.cultivar.full_name()).unwrap_or_default(),
        seed_headline: record
            .filter(|_| offer.contents.material.comes_from_seed())
            .map(|r| registry.seed_of(r).1)
            .unwrap_or_default(),
        offer,
        giver_name,
    }
}

/// The club that a text names, if the giver belongs to it; none for an empty one.
async fn for_club(write: &Write<'_>, text: &str) -> Result<Option<ClubId>, Error> {
    let named = text.trim();
    let id = if named.is_empty() { None } else { Some(crate::App::id_in("offer.club", named)?) };
    if !write.call.covers(id) {
        return Err(FieldError::new(
            "offer.club",
            "the club in which the member agreed that you act for them expected: it is for that club alone",
        )
        .into());
    }
    let Some(id) = id else { return Ok(None) };
    if clubs::belongs(write.tx, id, write.call.account()?.id).await? {
        Ok(Some(id))
    } else {
        Err(FieldError::new("offer.club", "a club that you belong to expected").into())
    }
}

/// Whether someone sees an offer: its giver, and for a club alone its members.
pub(crate) async fn sees(db: &dyn Source, offer: &Offer, caller: Option<AccountId>) -> Result<bool, Error> {
    match (offer.contents.club, caller) {
        (None, _) => Ok(true),
        (Some(_), None) => Ok(false),
        (Some(_), Some(caller)) if caller == offer.giver => Ok(true),
        (Some(club), Some(caller)) => clubs::belongs(db, club, caller).await,
    }
}

/// The folded words by which an offer is found: its note, its cultivar's names.
pub(crate) fn search_text(registry: &Registry, contents: &Contents) -> String {
    let mut words = vec![Folded::new(&contents.note).key(), Folded::new(&contents.place.label).key()];
    if let Some(record) = registry.record(contents.cultivar) {
        words.push(Folded::new(&record.cultivar.full_name()).key());
        words.extend(record.cultivar.names.iter().map(|n| Folded::new(&n.name).key()));
    }
    words.join(" ")
}
