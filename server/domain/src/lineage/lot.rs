//! Mother plants and lots. A lot is one batch of one material from one source on one day. Its name and code
//! stay on its tag; links record its descent.

use super::{LotCode, Route};
use crate::{
    field::{FieldError, Fields},
    ids::{AccountId, ClaimId, CultivarId, LotId},
    limits,
    offer::Material,
    time::{Date, Timestamp},
};

crate::offer::words! {
    /// Kind of lot.
    Kind {
        /// A plant that growers take wood or seed from.
        MotherPlant = "mother_plant",
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
        /// Fruit whose seed will be sown.
        FruitForSeed = "fruit_for_seed",
        /// Shoots for rooting.
        Cutting = "cutting",
        /// Plants on roots of their own: rooted cuttings, layers, suckers, divisions.
        RootedPlant = "rooted_plant",
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
            Material::Cutting => Self::Cutting,
            Material::RootedPlant => Self::RootedPlant,
        }
    }
}

impl Kind {
    /// Returns whether the lot consists of rooted plants.
    pub const fn is_plant(self) -> bool {
        match self {
            Self::MotherPlant | Self::Seedling | Self::Rootstock | Self::GraftedPlant | Self::RootedPlant => {
                true
            }
            Self::ScionWood | Self::Budwood | Self::Seed | Self::FruitForSeed | Self::Cutting => false,
        }
    }
    const fn is_wood(self) -> bool {
        matches!(self, Self::ScionWood | Self::Budwood | Self::Cutting)
    }
    const fn is_seed(self) -> bool {
        matches!(self, Self::Seed | Self::FruitForSeed)
    }
}

crate::offer::words! {
    /// How a lot descends from another, or touched it.
    Descent {
        /// Seed or fruit of the parent.
        SeedFrom = "seed_from",
        /// Wood cut from the parent, or a rooted cutting.
        CutFrom = "cut_from",
        /// Raised from the parent's seed.
        RaisedFrom = "raised_from",
        /// A part of the parent: divided, potted on or planted out.
        PartOf = "part_of",
        /// Grafted with wood of the parent.
        ScionOf = "scion_of",
        /// Grafted onto the parent.
        RootstockOf = "rootstock_of",
        /// The parent's wood was grafted later onto this existing plant.
        GraftedOnto = "grafted_onto",
        /// Cut with the same blade as the parent, without disinfection in between.
        SameBlade = "same_blade",
        /// The parent lot changed hands and became this lot.
        HandedOver = "handed_over",
    }
}

impl Descent {
    /// Returns the route by which a pathogen follows the link.
    pub const fn route(self) -> Route {
        match self {
            Self::SeedFrom => Route::Seed,
            // A pathogen in the seed, plant or wood moves on with it.
            Self::CutFrom | Self::RaisedFrom | Self::PartOf | Self::HandedOver => Route::Cutting,
            Self::ScionOf | Self::RootstockOf | Self::GraftedOnto => Route::Graft,
            Self::SameBlade => Route::Tool,
        }
    }
    /// Returns whether the child takes the parent's name. A rootstock, a later graft and a shared blade pass
    /// on no name.
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
    /// Returns whether the link is noted between existing lots rather than when a lot is made.
    pub const fn is_later(self) -> bool {
        matches!(self, Self::GraftedOnto | Self::SameBlade)
    }
    /// Returns the words for a sentence, such as "cut from" or "grafted with".
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

/// Returns whether a lot of kind `child` can descend from one of kind `parent` in this way.
pub const fn fits(child: Kind, descent: Descent, parent: Kind) -> bool {
    match descent {
        Descent::SeedFrom => child.is_seed() && (parent.is_plant() || matches!(parent, Kind::FruitForSeed)),
        // A rooted plant may come from a cutting that was a lot of its own.
        Descent::CutFrom => {
            ((child.is_wood() || child.is_plant()) && parent.is_plant())
                || matches!((child, parent), (Kind::RootedPlant | Kind::MotherPlant, Kind::Cutting))
        }
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

/// A dated link of descent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Link {
    /// Lot that the child comes from, or touched.
    pub parent: LotId,
    /// Lot that comes from the parent.
    pub child: LotId,
    /// How the child descends from the parent.
    pub descent: Descent,
    /// Day of the link.
    pub day: Date,
}

/// A stored lot or mother plant.
#[derive(Clone, Debug, PartialEq)]
pub struct Lot {
    /// Unique id of the lot.
    pub id: LotId,
    /// Code on its tag.
    pub code: LotCode,
    /// Account that holds it.
    pub holder: AccountId,
    /// Key of the crop.
    pub crop: String,
    /// The cultivar, or the seed parent of seed and seedlings; `None` if not known.
    pub cultivar: Option<CultivarId>,
    /// Whether these are unidentified seedlings of that cultivar.
    pub unknown_seedling: bool,
    /// Kind of lot.
    pub kind: Kind,
    /// Quantity when it was made, in the usual unit of its kind; 0 if not given.
    pub quantity: i32,
    /// Day on which it was cut, sown, grafted, planted or received.
    pub made_on: Date,
    /// Where it came from, in words, if no stored lot says so.
    pub source: String,
    /// The holder's note.
    pub note: String,
    /// The claim through which the holder received it.
    pub claim: Option<ClaimId>,
    /// Day on which it ended: nothing was left.
    pub ended_on: Option<Date>,
    /// Why it ended, in words.
    pub ended_why: String,
    /// The organiser who entered it for the holder; `None` when the holder did.
    pub entered_by: Option<AccountId>,
    /// Increases by one with each change, for optimistic locking.
    pub version: i64,
    /// When it was entered.
    pub created_at: Timestamp,
}

/// A test of a lot for a pest that found nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LotTest {
    /// The tested lot.
    pub lot: LotId,
    /// Pest or disease that the test looked for.
    pub pest: String,
    /// Day on which the sample was taken.
    pub sampled_on: Date,
    /// Days for which an infection can stay hidden from the test.
    pub latency_days: i64,
    /// Method and laboratory, in words.
    pub method: String,
}

impl LotTest {
    /// Returns the last day for which the test is valid: the sample's day less the latency.
    pub fn speaks_until(&self) -> Date {
        self.sampled_on.plus_days(-self.latency_days)
    }
}

/// A stated parent of a new lot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Origin {
    /// Id of the parent lot.
    pub parent: LotId,
    /// Kind of the parent.
    pub kind: Kind,
    /// Key of the parent's crop.
    pub crop: String,
    /// Cultivar of the parent.
    pub cultivar: Option<CultivarId>,
    /// Cultivars that were later grafted onto the parent.
    pub grafted: Vec<CultivarId>,
    /// Day on which the parent was made.
    pub made_on: Date,
    /// How the lot descends from the parent.
    pub descent: Descent,
}

/// An unchecked lot, as a person entered it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LotDraft {
    /// Kind of lot; required.
    pub kind: Option<Kind>,
    /// Key of the crop, if neither a parent nor a cultivar gives it.
    pub crop: String,
    /// The cultivar; if omitted, a parent's cultivar where the link carries the name.
    pub cultivar: Option<CultivarId>,
    /// Whether these are unidentified seedlings.
    pub unknown_seedling: bool,
    /// Quantity in the usual unit of its kind; 0 if not given.
    pub quantity: i32,
    /// Day on which it was made; today if omitted.
    pub made_on: Option<Date>,
    /// Where it came from, in words.
    pub source: String,
    /// The holder's note.
    pub note: String,
}

/// A draft that passed every check, with defaults filled in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// Kind of lot.
    pub kind: Kind,
    /// Key of the crop.
    pub crop: String,
    /// The cultivar; `None` if not known.
    pub cultivar: Option<CultivarId>,
    /// Quantity in the usual unit of its kind; 0 if not given.
    pub quantity: i32,
    /// Day on which it was made.
    pub made_on: Date,
    /// Where it came from, in words.
    pub source: String,
    /// The holder's note.
    pub note: String,
}

/// Checks a draft against its stated parents.
///
/// # Errors
/// Returns every wrong field.
pub fn check(draft: &LotDraft, origins: &[Origin], today: Date) -> Result<Checked, Vec<FieldError>> {
    let mut fields = Fields::new();
    if draft.kind.is_none() {
        fields.wrong("lot.kind", "mother plant, scion wood, seed and so on expected");
    }
    let made_on = draft.made_on.unwrap_or(today);
    // One day of slack: the grower's day may be ahead of the server's.
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
                // Wood of a tree with several cultivars grafted onto it has one of their names.
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
        // One lot is older than its parent, the other is of the future.
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
