//! Offers: plant material that a giver gives away or swaps, with window, place and terms. [`health`] holds the
//! giver's health statement.

mod care;
pub mod health;

use crate::{
    crop::Crop,
    field::{FieldError, Fields},
    ids::{AccountId, ClubId, CultivarId, LotId, OfferId},
    limits,
    place::Place,
    time::{Date, Timestamp},
    viability,
};
use health::{Declaration, DeclarationDraft};

/// Sentence that accompanies every offer.
pub const MOVEMENT_NOTICE: &str = "Before anything is moved, check what is on file and ask the plant-health authority of the place it leaves and of the place it goes to. They decide.";

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $name { $($(#[$vdoc])* $variant),* }
        impl $name {
            /// Every value, in declaration order.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];
            /// Returns the word for storage and for typed commands.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),* }
            }
            /// Parses a value from its word; `None` for an unknown word.
            pub fn from_word(word: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|v| v.word() == word)
            }
            /// Returns the value as people read it: the word with spaces instead of underscores.
            pub fn label(self) -> String { self.word().replace('_', " ") }
        }
    };
}
pub(crate) use words;

words! {
    /// Kind of plant material on offer.
    Material {
        /// Shoots for grafting.
        ScionWood = "scion_wood",
        /// Shoots for budding.
        Budwood = "budwood",
        /// Seed for sowing.
        Seed = "seed",
        /// Plants raised from seed.
        Seedling = "seedling",
        /// Plants for grafting onto.
        Rootstock = "rootstock",
        /// Grafted plants.
        GraftedPlant = "grafted_plant",
        /// Fruit whose seed the taker will sow.
        FruitForSeed = "fruit_for_seed",
        /// Shoots for rooting.
        Cutting = "cutting",
        /// Plants on roots of their own: rooted cuttings, layers, suckers, divisions.
        RootedPlant = "rooted_plant",
    }
}
words! {
    /// Unit of a quantity.
    Unit {
        /// Sticks of scion wood or budwood.
        Sticks = "sticks",
        /// Single seeds.
        Seeds = "seeds",
        /// Single plants.
        Plants = "plants",
        /// Whole fruits.
        Fruits = "fruits",
        /// Weight in grams.
        Grams = "grams",
    }
}
words! {
    /// What the giver wants in return.
    Terms {
        /// Other plant material.
        Swap = "swap",
        /// No return.
        Gift = "gift",
        /// Only the cost of postage.
        PostageOnly = "postage_only",
    }
}
words! {
    /// How the material reaches the taker.
    HandOver {
        /// The taker collects it from the giver.
        Collect = "collect",
        /// Giver and taker meet.
        Meeting = "meeting",
        /// The giver posts it.
        Post = "post",
    }
}

impl Material {
    /// Returns the default unit.
    pub const fn usual_unit(self) -> Unit {
        match self {
            Self::ScionWood | Self::Budwood | Self::Cutting => Unit::Sticks,
            Self::Seed => Unit::Seeds,
            Self::Seedling | Self::Rootstock | Self::GraftedPlant | Self::RootedPlant => Unit::Plants,
            Self::FruitForSeed => Unit::Fruits,
        }
    }
    /// Returns the units that fit the material.
    pub const fn units(self) -> &'static [Unit] {
        match self {
            Self::ScionWood | Self::Budwood | Self::Cutting => &[Unit::Sticks],
            Self::Seed => &[Unit::Seeds, Unit::Grams],
            Self::Seedling | Self::Rootstock | Self::GraftedPlant | Self::RootedPlant => &[Unit::Plants],
            Self::FruitForSeed => &[Unit::Fruits, Unit::Grams],
        }
    }
    /// Returns true if the taker gets or grows a seedling, so that the cultivar's seed behaviour matters.
    pub const fn comes_from_seed(self) -> bool {
        match self {
            Self::Seed | Self::Seedling | Self::FruitForSeed | Self::Rootstock => true,
            Self::ScionWood | Self::Budwood | Self::GraftedPlant | Self::Cutting | Self::RootedPlant => false,
        }
    }
}

impl Unit {
    /// Returns a quantity with its unit: "1 stick", "5 seeds".
    pub fn counted(self, quantity: i32) -> String {
        let unit = if quantity == 1 { self.word().trim_end_matches('s') } else { self.word() };
        format!("{quantity} {unit}")
    }
}

/// State of an offer on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// The first day is in the future.
    Coming,
    /// Takers can claim it.
    Open,
    /// The last day or the use-by day is past.
    Expired,
    /// The giver withdrew it.
    Withdrawn,
}

/// Contents of an offer that passed [`check`].
#[derive(Clone, Debug, PartialEq)]
pub struct Contents {
    /// Key of the crop.
    pub crop: String,
    /// Cultivar; with `unknown_seedling`, the seed parent.
    pub cultivar: CultivarId,
    /// True for seedlings of that cultivar whose own identity is unknown.
    pub unknown_seedling: bool,
    /// Kind of material.
    pub material: Material,
    /// Quantity, counted in `unit`.
    pub quantity: i32,
    /// Unit of the quantity.
    pub unit: Unit,
    /// What the giver wants in return.
    pub terms: Terms,
    /// First day of availability.
    pub available_from: Date,
    /// Last day of availability.
    pub available_until: Date,
    /// Day of cutting, picking or extraction; `None` for material cut to order.
    pub taken_on: Option<Date>,
    /// Storage key of the crop's profile; empty if not stated.
    pub kept_how: String,
    /// Last day of use; after it the material is dead, or no source says that it lives. `None` if not stated.
    pub use_by: Option<Date>,
    /// Coarse place of the material.
    pub place: Place,
    /// Ways of handing over, sorted; at least one.
    pub hand_over: Vec<HandOver>,
    /// Remarks of the giver.
    pub note: String,
    /// The giver's health statement.
    pub health: Declaration,
    /// True if the server accepts claims automatically while the quantity lasts.
    pub auto_accept: bool,
    /// The giver's contact for automatically accepted claims; never shown with the offer.
    pub contact: String,
    /// Registered lot that the material comes from.
    pub lot: Option<LotId>,
    /// Club whose members alone see the offer; `None` for everyone.
    pub club: Option<ClubId>,
    /// For a protected cultivar, the giver's statement on the rights holder's consent.
    pub holder_consent: String,
}

/// An offer on file.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// Id of the offer.
    pub id: OfferId,
    /// Account of the giver.
    pub giver: AccountId,
    /// What the offer says.
    pub contents: Contents,
    /// Quantity already promised or handed over.
    pub promised: i32,
    /// Time of withdrawal; `None` if not withdrawn.
    pub withdrawn_at: Option<Timestamp>,
    /// Organiser who entered the offer for the giver.
    pub entered_by: Option<AccountId>,
    /// Version number; each change adds 1.
    pub version: i64,
    /// Time of posting.
    pub created_at: Timestamp,
    /// Time of the last change.
    pub updated_at: Timestamp,
}

impl Offer {
    /// Returns the state on a day.
    pub fn state(&self, today: Date) -> State {
        if self.withdrawn_at.is_some() {
            State::Withdrawn
        } else if self.contents.available_until < today || self.contents.use_by.is_some_and(|day| day < today)
        {
            State::Expired
        } else if self.contents.available_from > today {
            State::Coming
        } else {
            State::Open
        }
    }
}

/// What a giver states, before [`check`]. `None` means that the field was absent in the request.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// True for seedlings of the named cultivar whose own identity is unknown.
    pub unknown_seedling: bool,
    /// Kind of material.
    pub material: Option<Material>,
    /// Quantity, counted in `unit`.
    pub quantity: i32,
    /// Unit; the material's usual unit if absent.
    pub unit: Option<Unit>,
    /// What the giver wants in return.
    pub terms: Option<Terms>,
    /// First day of availability; today if absent.
    pub available_from: Option<Date>,
    /// Last day of availability.
    pub available_until: Option<Date>,
    /// Day of cutting, picking or extraction.
    pub taken_on: Option<Date>,
    /// Storage key of the crop's profile.
    pub kept_how: String,
    /// ISO 3166 code; may be empty.
    pub area_code: String,
    /// Grid code of the place.
    pub grid_code: String,
    /// The grower's name for the place.
    pub place_label: String,
    /// Ways of handing over.
    pub hand_over: Vec<HandOver>,
    /// Remarks of the giver.
    pub note: String,
    /// The giver's health statement.
    pub health: DeclarationDraft,
    /// True to accept claims automatically.
    pub auto_accept: bool,
    /// The giver's contact for automatically accepted claims.
    pub contact: String,
    /// Registered lot that the material comes from. The caller has checked that it is the giver's own.
    pub lot: Option<LotId>,
    /// Club whose members alone see the offer. The caller has checked that the giver is a member.
    pub club: Option<ClubId>,
    /// For a protected cultivar, the giver's statement on the rights holder's consent.
    pub holder_consent: String,
}

/// Checks a draft for a cultivar of a crop on a day. When an offer is changed, `unchanged_from` is its current
/// first day, which may stay in the past.
///
/// # Errors
/// Returns one [`FieldError`] for every wrong field.
pub fn check(
    draft: &Draft,
    crop: &Crop,
    cultivar: CultivarId,
    today: Date,
    unchanged_from: Option<Date>,
) -> Result<Contents, Vec<FieldError>> {
    let mut fields = Fields::new();
    let material = check_material(&mut fields, draft, crop);
    let quantity = (1..=limits::OFFER_QUANTITY_MAX).contains(&draft.quantity).then_some(draft.quantity);
    if quantity.is_none() {
        fields.wrong(
            "offer.quantity",
            format!("1 to {} expected, {} found", limits::OFFER_QUANTITY_MAX, draft.quantity),
        );
    }
    let unit = check_unit(&mut fields, draft, material);
    let terms = draft.terms.or_else(|| {
        fields.wrong("offer.terms", "swap, gift or postage only expected");
        None
    });
    if terms == Some(Terms::PostageOnly) && !draft.hand_over.contains(&HandOver::Post) {
        fields.wrong("offer.hand_over", "post expected among the ways, as the terms are postage only");
    }
    let window = check_window(&mut fields, draft, today, unchanged_from);
    let from = draft.available_from.unwrap_or(today);
    viability::check(&mut fields, crop, material, draft.taken_on, &draft.kept_how, from, today);
    let place =
        Place::parse(&mut fields, "offer.place", &draft.area_code, &draft.grid_code, &draft.place_label);
    let mut hand_over = draft.hand_over.clone();
    hand_over.sort_unstable();
    hand_over.dedup();
    if hand_over.is_empty() {
        fields.wrong("offer.hand_over", "at least one of collect, meeting and post expected");
    }
    let note = fields.text("offer.note", &draft.note, 0, limits::OFFER_NOTE_CHARS_MAX);
    let holder_consent =
        fields.text("offer.holder_consent", &draft.holder_consent, 0, limits::CLAIM_NOTE_CHARS_MAX);
    let health = health::check(&mut fields, "offer.health", &draft.health, material, crop, today);
    let least = if draft.auto_accept { 3 } else { 0 };
    let contact = fields.line("offer.contact", &draft.contact, least, limits::CONTACT_CHARS_MAX);
    let whole = || {
        let (available_from, available_until) = window?;
        Some(Contents {
            crop: crop.slug.clone(),
            cultivar,
            unknown_seedling: draft.unknown_seedling,
            material: material?,
            quantity: quantity?,
            unit: unit?,
            terms: terms?,
            available_from,
            available_until,
            taken_on: draft.taken_on,
            use_by: viability::life(crop, material?, draft.taken_on, &draft.kept_how).and_then(|l| l.use_by),
            kept_how: draft.kept_how.clone(),
            place: place?,
            hand_over,
            note: note?,
            health: health?,
            auto_accept: draft.auto_accept,
            contact: contact?,
            lot: draft.lot,
            club: draft.club,
            holder_consent: holder_consent?,
        })
    };
    let contents = whole();
    fields.finish(contents)
}

fn check_material(fields: &mut Fields, draft: &Draft, crop: &Crop) -> Option<Material> {
    let names = || crop.materials.iter().map(|m| m.label()).collect::<Vec<_>>().join(", ");
    match draft.material {
        Some(material) if !crop.materials.contains(&material) => {
            fields.wrong("offer.material", format!("for {} one of these expected: {}", crop.slug, names()));
            None
        }
        Some(material) => {
            if draft.unknown_seedling
                && !matches!(material, Material::Seedling | Material::Rootstock | Material::GraftedPlant)
            {
                fields.wrong("offer.unknown_seedling", "set only for seedlings, rootstock or grafted plants");
            }
            Some(material)
        }
        None => {
            fields.wrong("offer.material", format!("one of these expected: {}", names()));
            None
        }
    }
}

fn check_unit(fields: &mut Fields, draft: &Draft, material: Option<Material>) -> Option<Unit> {
    let material = material?;
    let unit = draft.unit.unwrap_or(material.usual_unit());
    if material.units().contains(&unit) {
        return Some(unit);
    }
    let units = material.units().iter().map(|u| u.word()).collect::<Vec<_>>().join(" or ");
    fields.wrong("offer.unit", format!("{units} expected for {}, {} found", material.label(), unit.word()));
    None
}

fn check_window(
    fields: &mut Fields,
    draft: &Draft,
    today: Date,
    unchanged_from: Option<Date>,
) -> Option<(Date, Date)> {
    let from = draft.available_from.unwrap_or(today);
    // One day of slack for givers in time zones behind the server's.
    if from < today.plus_days(-1) && unchanged_from != Some(from) {
        fields.wrong("offer.available_from", format!("today ({today}) or later expected, {from} found"));
    }
    let Some(until) = draft.available_until else {
        fields.wrong("offer.available_until", "a last day expected: living material does not keep for ever");
        return None;
    };
    if until < from || until < today.plus_days(-1) {
        fields
            .wrong("offer.available_until", format!("{} or later expected, {until} found", from.max(today)));
    } else if until.days() - from.days() > limits::OFFER_WINDOW_DAYS_MAX {
        fields.wrong(
            "offer.available_until",
            format!("at most {} days after the first day expected", limits::OFFER_WINDOW_DAYS_MAX),
        );
    }
    Some((from, until))
}
