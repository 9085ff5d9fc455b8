//! Mother plants and lots: a batch of one material from one source on one day, with the name and the code that stay on its
//! tag, and what it descends from.

use super::{LotCode, Route};
use crate::{
    field::{FieldError, Fields},
    ids::{AccountId, ClaimId, CultivarId, LotId},
    limits,
    offer::Material,
    time::{Date, Timestamp},
};

crate::offer::words! {
    /// What a lot is.
    Kind {
        /// A plant that material is taken from.
        MotherPlant = "mother_plant",
        /// Shoots to graft.
        ScionWood = "scion_wood",
        /// Shoots to bud from.
        Budwood = "budwood",
        /// Seed.
        Seed = "seed",
        /// Plants raised from seed.
        Seedling = "seedling",
        /// Plants to graft onto.
        Rootstock = "rootstock",
        /// Grafted plants.
        GraftedPlant = "grafted_plant",
        /// Fruit whose seed will be sown.
        FruitForSeed = "fruit_for_seed",
    }
}

impl From<Material> for Kind {
    fn from(material: Material) -> Self {
        match material {
            Material::ScionWood => Self::ScionWood,
            Material::Budwood => Self::Budwood,
            Material::Seed => Self::Seed,
            Material::Seedling => Self::Seedling,
            Material::Rootstock => Self::Rootstock,
            Material::GraftedPlant => Self::GraftedPlant,
            Material::FruitForSeed => Self::FruitForSeed,
        }
    }
}

impl Kind {
    /// Whether it grows on its own roots, or on another's.
    pub const fn is_plant(self) -> bool {
        match self {
            Self::MotherPlant | Self::Seedling | Self::Rootstock | Self::GraftedPlant => true,
            Self::ScionWood | Self::Budwood | Self::Seed | Self::FruitForSeed => false,
        }
    }
    const fn is_wood(self) -> bool {
        matches!(self, Self::ScionWood | Self::Budwood)
    }
    const fn is_seed(self) -> bool {
        matches!(self, Self::Seed | Self::FruitForSeed)
    }
}

crate::offer::words! {
    /// How a lot comes of another, or touched it.
    Descent {
        /// Its seed or fruit.
        SeedFrom = "seed_from",
        /// Wood cut from it, or a cutting rooted.
        CutFrom = "cut_from",
        /// Raised from that seed.
        RaisedFrom = "raised_from",
        /// A part of it: divided, potted on, planted out.
        PartOf = "part_of",
        /// The wood that was grafted to make it.
        ScionOf = "scion_of",
        /// The plant that was grafted onto to make it.
        RootstockOf = "rootstock_of",
        /// Wood grafted later onto a plant that is there already.
        GraftedOnto = "grafted_onto",
        /// The same blade, not disinfected in between.
        SameBlade = "same_blade",
        /// It changed hands.
        HandedOver = "handed_over",
    }
}

impl Descent {
    /// How a pathogen goes along it.
    pub const fn route(self) -> Route {
        match self {
            Self::SeedFrom => Route::Seed,
            // what was in the seed, the plant or the wood goes on with it
            Self::CutFrom | Self::RaisedFrom | Self::PartOf | Self::HandedOver => Route::Cutting,
            Self::ScionOf | Self::RootstockOf | Self::GraftedOnto => Route::Graft,
            Self::SameBlade => Route::Tool,
        }
    }
    /// Whether the child bears the parent's name: what is grafted onto, and what a blade touched, does not.
    pub const fn carries_name(self) -> bool {
        match self {
            Self::SeedFrom
            | Self::CutFrom
            | Self::RaisedFrom
            | Self::PartOf
            | Self::ScionOf
            | Self::HandedOver => true,
            Self::RootstockOf | Self::GraftedOnto | Self::SameBlade => false,
        }
    }
    /// Whether it is noted between lots that are there already, not when one is made.
    pub const fn is_later(self) -> bool {
        matches!(self, Self::GraftedOnto | Self::SameBlade)
    }
    /// As a sentence has it: "cut from", "grafted with".
    pub const fn words(self) -> &'static str {
        match self {
            Self::SeedFrom => "seed of",
            Self::CutFrom => "cut from",
            Self::RaisedFrom => "raised from",
            Self::PartOf => "part of",
            Self::ScionOf => "grafted with",
            Self::RootstockOf => "grafted onto",
            Self::GraftedOnto => "later grafted with",
            Self::SameBlade => "same blade as",
            Self::HandedOver => "from",
        }
    }
}

/// Whether a kind can come of another so.
pub const fn fits(child: Kind, descent: Descent, parent: Kind) -> bool {
    match descent {
        Descent::SeedFrom => child.is_seed() && (parent.is_plant() || matches!(parent, Kind::FruitForSeed)),
        Descent::CutFrom => (child.is_wood() || child.is_plant()) && parent.is_plant(),
        Descent::RaisedFrom => {
            matches!(child, Kind::Seedling | Kind::Rootstock | Kind::MotherPlant) && parent.is_seed()
        }
        Descent::PartOf => {
            child as u8 == parent as u8
                || (child.is_plant() && parent.is_plant())
                || (child.is_wood() && parent.is_wood())
        }
        Descent::ScionOf => {
            matches!(child, Kind::GraftedPlant | Kind::MotherPlant) && (parent.is_wood() || parent.is_plant())
        }
        Descent::RootstockOf => matches!(child, Kind::GraftedPlant | Kind::MotherPlant) && parent.is_plant(),
        Descent::GraftedOnto => child.is_plant() && (parent.is_wood() || parent.is_plant()),
        Descent::SameBlade => child.is_plant() && parent.is_plant(),
        Descent::HandedOver => child as u8 == parent as u8,
    }
}

/// A dated step of descent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Link {
    /// What it came from, or touched.
    pub parent: LotId,
    /// What came of it.
    pub child: LotId,
    /// How.
    pub descent: Descent,
    /// On which day.
    pub day: Date,
}

/// A lot or mother plant on file.
#[derive(Clone, Debug, PartialEq)]
pub struct Lot {
    /// Its id.
    pub id: LotId,
    /// What its tag says.
    pub code: LotCode,
    /// Who has it.
    pub holder: AccountId,
    /// The crop's key.
    pub crop: String,
    /// The cultivar, or the seed parent of seed and seedlings; none where nobody knows.
    pub cultivar: Option<CultivarId>,
    /// Seedlings of that cultivar of which nobody knows what they are.
    pub unknown_seedling: bool,
    /// What it is.
    pub kind: Kind,
    /// How many or how much there was when it was made, in the usual unit; 0 if not said.
    pub quantity: i32,
    /// When it was cut, sown, grafted, planted or got.
    pub made_on: Date,
    /// Where it came from, in words, where no lot on file says it.
    pub source: String,
    /// The holder's own words.
    pub note: String,
    /// The claim by which it came.
    pub claim: Option<ClaimId>,
    /// When nothing was left of it.
    pub ended_on: Option<Date>,
    /// Why.
    pub ended_why: String,
    /// The organiser who entered it for the holder.
    pub entered_by: Option<AccountId>,
    /// Counts up with each change.
    pub version: i64,
    /// When it was entered.
    pub created_at: Timestamp,
}

/// A test of a lot for a pest that found nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LotTest {
    /// Which lot.
    pub lot: LotId,
    /// For what.
    pub pest: String,
    /// When the sample was taken.
    pub sampled_on: Date,
    /// Days by which an infection can precede what a test shows.
    pub latency_days: i64,
    /// The method and who did it, in words.
    pub method: String,
}

impl LotTest {
    /// The last day of which it speaks.
    pub fn speaks_until(&self) -> Date {
        self.sampled_on.plus_days(-self.latency_days)
    }
}

/// What a lot is said to come from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Origin {
    /// The parent.
    pub parent: LotId,
    /// What it is.
    pub kind: Kind,
    /// Its crop.
    pub crop: String,
    /// Its cultivar.
    pub cultivar: Option<CultivarId>,
    /// Cultivars that were later grafted onto it.
    pub grafted: Vec<CultivarId>,
    /// When it was made.
    pub made_on: Date,
    /// How the lot comes of it.
    pub descent: Descent,
}

/// A lot before it is checked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LotDraft {
    /// What it is.
    pub kind: Option<Kind>,
    /// The crop, where neither a parent nor a cultivar says it.
    pub crop: String,
    /// The cultivar; a parent's where that gives the name.
    pub cultivar: Option<CultivarId>,
    /// Seedlings of which nobody knows what they are.
    pub unknown_seedling: bool,
    /// How many or how much.
    pub quantity: i32,
    /// When it was made; today if left out.
    pub made_on: Option<Date>,
    /// Where it came from, in words.
    pub source: String,
    /// The holder's own words.
    pub note: String,
}

/// What a checked draft says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// What it is.
    pub kind: Kind,
    /// The crop.
    pub crop: String,
    /// The cultivar.
    pub cultivar: Option<CultivarId>,
    /// How many.
    pub quantity: i32,
    /// When.
    pub made_on: Date,
    /// From where.
    pub source: String,
    /// Own words.
    pub note: String,
}

/// Checks a draft beside what it is said to come from, on a day.
///
/// # Errors
/// All wrong fields.
pub fn check(draft: &LotDraft, origins: &[Origin], today: Date) -> Result<Checked, Vec<FieldError>> {
    let mut fields = Fields::new();
    if draft.kind.is_none() {
        fields.wrong("lot.kind", "mother plant, scion wood, seed and so on expected");
    }
    let made_on = draft.made_on.unwrap_or(today);
    // a day of slack: the grower's day may not yet be over where the server's is
    if made_on > today.plus_days(1) {
        fields.wrong("lot.made_on", format!("today ({today}) or earlier expected, {made_on} found"));
    }
    if !(0..=limits::OFFER_QUANTITY_MAX).contains(&draft.quantity) {
        fields.wrong(
            "lot.quantity",
            format!("0 to {} expected, {} found", limits::OFFER_QUANTITY_MAX, draft.quantity),
        );
    }
    let mut crop = draft.crop.clone();
    let mut cultivar = draft.cultivar;
    let scions = origins.iter().filter(|o| o.descent == Descent::ScionOf).count();
    let rootstocks = origins.iter().filter(|o| o.descent == Descent::RootstockOf).count();
    if rootstocks > 1 || (rootstocks == 1) != (scions > 0) {
        fields.wrong("origins", "a graft has one rootstock and at least one scion: name both");
    }
    let others = origins.len() - scions - rootstocks;
    if others > 1 || (others == 1 && scions > 0) {
        fields
            .wrong("origins", "one lot that it comes from, or the scion and rootstock of a graft, expected");
    }
    for (at, origin) in origins.iter().enumerate() {
        let field = |part: &str| format!("origins[{at}].{part}");
        if origin.descent == Descent::HandedOver || origin.descent.is_later() {
            fields
                .wrong(field("descent"), "how it was made expected; what happened later is noted on its own");
        } else if let Some(kind) = draft.kind
            && !fits(kind, origin.descent, origin.kind)
        {
            let (child, parent) = (kind.label(), origin.kind.label());
            fields.wrong(field("descent"), format!("{child} is not {} {parent}", origin.descent.words()));
        }
        if made_on < origin.made_on {
            fields.wrong(
                "lot.made_on",
                format!("{} or later expected, as it comes from a lot of that day", origin.made_on),
            );
        }
        if crop.is_empty() {
            crop.clone_from(&origin.crop);
        }
        if origin.descent.carries_name() {
            let own = origin.cultivar;
            match cultivar {
                None => cultivar = own,
                // wood of a tree with several names on it bears one of them
                Some(named) if own.is_some_and(|o| o != named) && !origin.grafted.contains(&named) => {
                    fields.wrong("lot.cultivar", "the name of the lot that it comes from expected: what it really is, is a matter for an alert");
                }
                Some(_) => {}
            }
        }
    }
    if crop.is_empty() {
        fields.wrong("lot.crop", "a cultivar, a crop or a lot that it comes from expected");
    }
    if draft.unknown_seedling
        && !matches!(
            draft.kind,
            Some(Kind::Seedling | Kind::Rootstock | Kind::GraftedPlant | Kind::MotherPlant)
        )
    {
        fields.wrong("lot.unknown_seedling", "set only for plants");
    }
    let source = fields.text("lot.source", &draft.source, 0, limits::LOT_TEXT_CHARS_MAX);
    let note = fields.text("lot.note", &draft.note, 0, limits::LOT_TEXT_CHARS_MAX);
    let whole = || {
        Some(Checked {
            kind: draft.kind?,
            crop,
            cultivar,
            quantity: draft.quantity,
            made_on,
            source: source?,
            note: note?,
        })
    };
    let whole = whole();
    fields.finish(whole)
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    fn cultivar(n: u128) -> CultivarId {
        CultivarId::from_uuid(Uuid::from_u128(n))
    }
    fn origin(descent: Descent, kind: Kind, named: Option<CultivarId>) -> Origin {
        Origin {
            parent: LotId::from_uuid(Uuid::from_u128(7)),
            kind,
            crop: "mango".into(),
            cultivar: named,
            grafted: Vec::new(),
            made_on: Date::from_days(100),
            descent,
        }
    }
    fn fields(result: Result<Checked, Vec<FieldError>>) -> Vec<String> {
        result.map_or_else(|e| e.into_iter().map(|f| f.field).collect(), |_| Vec::new())
    }

    #[test]
    fn names_come_from_where_a_lot_comes_from() {
        let today = Date::from_days(200);
        let wood = LotDraft { kind: Some(Kind::ScionWood), ..Default::default() };
        let cut = origin(Descent::CutFrom, Kind::MotherPlant, Some(cultivar(1)));
        let checked = check(&wood, std::slice::from_ref(&cut), today).unwrap();
        assert_eq!((checked.crop.as_str(), checked.cultivar), ("mango", Some(cultivar(1))));
        let renamed = LotDraft { cultivar: Some(cultivar(2)), ..wood.clone() };
        assert_eq!(fields(check(&renamed, std::slice::from_ref(&cut), today)), ["lot.cultivar"]);
        let grafted = Origin { grafted: vec![cultivar(2)], ..cut.clone() };
        assert!(check(&renamed, &[grafted], today).is_ok());
        // older than its parent, of the future
        let early = LotDraft { made_on: Some(Date::from_days(99)), ..wood.clone() };
        assert_eq!(fields(check(&early, std::slice::from_ref(&cut), today)), ["lot.made_on"]);
        let late = LotDraft { made_on: Some(Date::from_days(202)), ..wood };
        assert_eq!(fields(check(&late, &[cut], today)), ["lot.made_on"]);
    }

    #[test]
    fn a_graft_has_both_its_parents() {
        let today = Date::from_days(200);
        let graft = LotDraft { kind: Some(Kind::GraftedPlant), ..Default::default() };
        let scion = origin(Descent::ScionOf, Kind::ScionWood, Some(cultivar(1)));
        let stock = origin(Descent::RootstockOf, Kind::Seedling, Some(cultivar(2)));
        let both = check(&graft, &[scion.clone(), stock.clone()], today).unwrap();
        assert_eq!(both.cultivar, Some(cultivar(1)), "the scion gives the name");
        assert_eq!(fields(check(&graft, &[scion], today)), ["origins"]);
        assert_eq!(fields(check(&graft, &[stock.clone(), stock], today)), ["origins"]);
    }

    #[test]
    fn what_cannot_be() {
        assert!(!fits(Kind::Seed, Descent::CutFrom, Kind::MotherPlant));
        assert!(!fits(Kind::ScionWood, Descent::CutFrom, Kind::Seed));
        assert!(!fits(Kind::Seedling, Descent::RaisedFrom, Kind::ScionWood));
        assert!(!fits(Kind::Seed, Descent::HandedOver, Kind::Seedling));
        for kind in Kind::ALL {
            assert!(fits(*kind, Descent::HandedOver, *kind));
            assert!(fits(*kind, Descent::PartOf, *kind));
        }
    }
}
