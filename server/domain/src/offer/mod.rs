//! Offers: living material that someone gives away or swaps, where, when, on what terms, and what the
//! giver states of its health. Plant-health statements are in [`health`].

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

/// Shown with every offer.
pub const MOVEMENT_NOTICE: &str = "Before anything is moved, check what is on file and ask the plant-health authority of the place it leaves and of the place it goes to. They decide.";

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $name { $($(#[$vdoc])* $variant),* }
        impl $name {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];
            /// The word that is stored and typed.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),* }
            }
            /// From its word.
            pub fn from_word(word: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|v| v.word() == word)
            }
            /// As people read it.
            pub fn label(self) -> String { self.word().replace('_', " ") }
        }
    };
}
pub(crate) use words;

words! {
    /// What changes hands.
    Material {
        /// Shoots to graft.
        ScionWood = "scion_wood",
        /// Shoots to bud from.
        Budwood = "budwood",
        /// Seed to sow.
        Seed = "seed",
        /// Plants raised from seed.
        Seedling = "seedling",
        /// Plants to graft onto.
        Rootstock = "rootstock",
        /// Plants already grafted.
        GraftedPlant = "grafted_plant",
        /// Fruit whose seed will be sown.
        FruitForSeed = "fruit_for_seed",
    }
}
words! {
    /// What a quantity counts.
    Unit {
        /// Sticks of wood.
        Sticks = "sticks",
        /// Seeds.
        Seeds = "seeds",
        /// Plants.
        Plants = "plants",
        /// Fruits.
        Fruits = "fruits",
        /// Grams.
        Grams = "grams",
    }
}
words! {
    /// What the giver asks for.
    Terms {
        /// Something in return.
        Swap = "swap",
        /// Nothing.
        Gift = "gift",
        /// The postage.
        PostageOnly = "postage_only",
    }
}
words! {
    /// How it changes hands.
    HandOver {
        /// The taker comes.
        Collect = "collect",
        /// At a meeting.
        Meeting = "meeting",
        /// By post.
        Post = "post",
    }
}

impl Material {
    /// The unit taken where none is given.
    pub const fn usual_unit(self) -> Unit {
        match self {
            Self::ScionWood | Self::Budwood => Unit::Sticks,
            Self::Seed => Unit::Seeds,
            Self::Seedling | Self::Rootstock | Self::GraftedPlant => Unit::Plants,
            Self::FruitForSeed => Unit::Fruits,
        }
    }
    /// Units that make sense for it.
    pub const fn units(self) -> &'static [Unit] {
        match self {
            Self::ScionWood | Self::Budwood => &[Unit::Sticks],
            Self::Seed => &[Unit::Seeds, Unit::Grams],
            Self::Seedling | Self::Rootstock | Self::GraftedPlant => &[Unit::Plants],
            Self::FruitForSeed => &[Unit::Fruits, Unit::Grams],
        }
    }
    /// Whether what a taker gets depends on how the cultivar's seed behaves.
    pub const fn comes_from_seed(self) -> bool {
        match self {
            Self::Seed | Self::Seedling | Self::FruitForSeed | Self::Rootstock => true,
            Self::ScionWood | Self::Budwood | Self::GraftedPlant => false,
        }
    }
}

impl Unit {
    /// So much of it, in words: "1 stick", "5 seeds".
    pub fn counted(self, quantity: i32) -> String {
        let unit = if quantity == 1 { self.word().trim_end_matches('s') } else { self.word() };
        format!("{quantity} {unit}")
    }
}

/// Where an offer stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Not yet in its window.
    Coming,
    /// Can be asked for.
    Open,
    /// Its window is over.
    Expired,
    /// Taken back.
    Withdrawn,
}

/// What an offer says, checked.
#[derive(Clone, Debug, PartialEq)]
pub struct Contents {
    /// The crop's key.
    pub crop: String,
    /// The cultivar, or the seed parent where `unknown_seedling` is set.
    pub cultivar: CultivarId,
    /// Seedlings of that cultivar of which no one knows what they are.
    pub unknown_seedling: bool,
    /// What.
    pub material: Material,
    /// How much.
    pub quantity: i32,
    /// Of what.
    pub unit: Unit,
    /// For what.
    pub terms: Terms,
    /// First day.
    pub available_from: Date,
    /// Last day.
    pub available_until: Date,
    /// When it was cut, picked or taken from the fruit; none for what is cut to order.
    pub taken_on: Option<Date>,
    /// How it is kept: the key of a way that the crop's profile has; empty if not said.
    pub kept_how: String,
    /// After this day nothing of it is alive, or no one knows; none where that is not said.
    pub use_by: Option<Date>,
    /// Where, coarsely.
    pub place: Place,
    /// How; at least one.
    pub hand_over: Vec<HandOver>,
    /// The giver's words.
    pub note: String,
    /// The giver's statement on its health.
    pub health: Declaration,
    /// Claims are accepted by themselves while something is left.
    pub auto_accept: bool,
    /// How the giver can be reached, for such claims; never shown with the offer.
    pub contact: String,
    /// The lot on file that it is taken from.
    pub lot: Option<LotId>,
    /// Only members of this club see it.
    pub club: Option<ClubId>,
    /// What the giver says of the holder's consent, of a protected cultivar.
    pub holder_consent: String,
}

/// An offer on file.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// Its id.
    pub id: OfferId,
    /// The giver.
    pub giver: AccountId,
    /// What it says.
    pub contents: Contents,
    /// Promised and given of the quantity.
    pub promised: i32,
    /// When it was taken back.
    pub withdrawn_at: Option<Timestamp>,
    /// The organiser who entered it for the giver.
    pub entered_by: Option<AccountId>,
    /// Counts up with each change.
    pub version: i64,
    /// When it was posted.
    pub created_at: Timestamp,
    /// When it was last changed.
    pub updated_at: Timestamp,
}

impl Offer {
    /// Where it stands on a day.
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

/// What a giver states, before it is checked. Absent values are absent on the wire.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// Seedlings of the named cultivar of which no one knows what they are.
    pub unknown_seedling: bool,
    /// What.
    pub material: Option<Material>,
    /// How much.
    pub quantity: i32,
    /// Of what.
    pub unit: Option<Unit>,
    /// For what.
    pub terms: Option<Terms>,
    /// First day; today if absent.
    pub available_from: Option<Date>,
    /// Last day.
    pub available_until: Option<Date>,
    /// When it was cut, picked or taken from the fruit.
    pub taken_on: Option<Date>,
    /// How it is kept.
    pub kept_how: String,
    /// ISO 3166 code; may be empty.
    pub area_code: String,
    /// Grid code.
    pub grid_code: String,
    /// The grower's name for the place.
    pub place_label: String,
    /// How.
    pub hand_over: Vec<HandOver>,
    /// The giver's words.
    pub note: String,
    /// The giver's statement on its health.
    pub health: DeclarationDraft,
    /// Claims are accepted by themselves.
    pub auto_accept: bool,
    /// How the giver can be reached, for such claims.
    pub contact: String,
    /// The lot on file that it is taken from: the giver's own, looked up beforehand.
    pub lot: Option<LotId>,
    /// Only members of this club see it: one that the giver belongs to, looked up beforehand.
    pub club: Option<ClubId>,
    /// What the giver says of the holder's consent, of a protected cultivar.
    pub holder_consent: String,
}

/// Checks a draft for a cultivar of a crop on a day. `unchanged_from` is the first day of an offer that is
/// being changed: it may lie in the past.
///
/// # Errors
/// Every field that is wrong, at once.
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
    // a day of slack: the giver's day may not yet be over where the server's is
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
