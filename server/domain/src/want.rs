//! Wants: a cultivar or traits that a member seeks, and the check whether an offer meets them.

use serde::{Deserialize, Serialize};

use crate::{
    crop::{Crop, DescriptorKind},
    evidence::{Finding, Standing, Summary},
    field::{FieldError, Fields},
    ids::{AccountId, CultivarId, WantId},
    limits,
    offer::{Contents, Material},
    place::{AreaCode, GridCode},
    seed::Answer,
    time::{Date, Timestamp},
};

/// A wish for one descriptor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TraitWish {
    /// Key of the descriptor.
    pub descriptor: String,
    /// Accepted states of a category or an ordinal scale.
    #[serde(default)]
    pub states: Vec<String>,
    /// Minimum of a quantity, in the descriptor's unit.
    #[serde(default)]
    pub least: Option<f64>,
    /// Maximum of a quantity, in the descriptor's unit.
    #[serde(default)]
    pub most: Option<f64>,
}

/// Traits that the seeker wishes for; all of them must be met.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Wishes {
    /// True to require seed that comes true or mostly true, by count.
    #[serde(default)]
    pub comes_true: bool,
    /// Months in which the fruit should be ripe at the want's place, 1 to 12; any one suffices.
    #[serde(default)]
    pub ripe_in: Vec<u8>,
    /// Wishes for descriptors.
    #[serde(default)]
    pub traits: Vec<TraitWish>,
}

impl Wishes {
    /// Returns true if there is no wish.
    pub fn is_empty(&self) -> bool {
        !self.comes_true && self.ripe_in.is_empty() && self.traits.is_empty()
    }
}

/// A want on file.
#[derive(Clone, Debug, PartialEq)]
pub struct Want {
    /// Id of the want.
    pub id: WantId,
    /// Account of the seeker.
    pub seeker: AccountId,
    /// Key of the crop.
    pub crop: String,
    /// Cultivar sought; `None` for a want by traits.
    pub cultivar: Option<CultivarId>,
    /// Traits that the seeker wishes for.
    pub wishes: Wishes,
    /// Accepted materials; empty for all.
    pub materials: Vec<Material>,
    /// Place of the seeker.
    pub grid: GridCode,
    /// Maximum distance in kilometres; 0 for any distance.
    pub within_km: i32,
    /// Destination, for movement rules.
    pub to: AreaCode,
    /// Last day of the want.
    pub until: Date,
    /// The seeker's text, shown with the want.
    pub note: String,
    /// Time of withdrawal; `None` if not withdrawn.
    pub withdrawn_at: Option<Timestamp>,
    /// Organiser who entered the want for the seeker.
    pub entered_by: Option<AccountId>,
    /// Time of creation.
    pub created_at: Timestamp,
}

/// Knowledge about a cultivar that decides whether it meets a want.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// All ids of the cultivar, including merged ones.
    pub ids: &'a [CultivarId],
    /// Short answer on its seed.
    pub answer: Answer,
    /// Findings on its descriptors.
    pub findings: &'a [Finding],
    /// Share of place-years with ripe fruit in each half month at the want's place; `None` without data.
    pub bars: Option<&'a [f64]>,
}

/// Minimum share of observed place-years for a month to count as ripe.
const RIPE: f64 = 0.5;

fn has_trait(finding: &Finding, wish: &TraitWish, crop: &Crop) -> bool {
    // A contested or unknown trait meets no wish.
    if matches!(finding.standing, Standing::Contested | Standing::Unknown) {
        return false;
    }
    match &finding.summary {
        Summary::Quantity { median, .. } => {
            wish.least.is_none_or(|least| *median >= least) && wish.most.is_none_or(|most| *median <= most)
        }
        Summary::Steps { median: (low, high), .. } => {
            let states =
                crop.descriptor(&finding.descriptor).map(|d| d.states.as_slice()).unwrap_or_default();
            let found = states.iter().enumerate().filter(|(at, _)| (*low..=*high).contains(at));
            found.into_iter().all(|(_, state)| wish.states.contains(&state.key)) && !states.is_empty()
        }
        Summary::None | Summary::Period { .. } => {
            let leading = finding.sides.iter().max_by(|a, b| a.share.total_cmp(&b.share));
            leading.is_some_and(|side| wish.states.contains(&side.state))
        }
    }
}

impl Want {
    /// Returns true if the want is neither withdrawn nor past its last day.
    pub fn is_open(&self, today: Date) -> bool {
        self.withdrawn_at.is_none() && self.until >= today
    }

    /// Returns true if the cultivar is the one sought and meets all wishes.
    pub fn sought(&self, known: &Known<'_>, crop: &Crop) -> bool {
        if let Some(cultivar) = self.cultivar
            && !known.ids.contains(&cultivar)
        {
            return false;
        }
        let wishes = &self.wishes;
        let true_enough = !wishes.comes_true
            || match known.answer {
                Answer::ComesTrue | Answer::MostlyTrue => true,
                Answer::PartlyTrue
                | Answer::MostlyOffType
                | Answer::NotTrue
                | Answer::BothKinds
                | Answer::NotCounted
                | Answer::Contested
                | Answer::Doubtful
                | Answer::Unknown => false,
            };
        let ripe = wishes.ripe_in.is_empty()
            || known.bars.is_some_and(|bars| {
                wishes.ripe_in.iter().any(|month| {
                    let half = usize::from(month.saturating_sub(1)) * 2;
                    bars.iter().skip(half).take(2).any(|share| *share >= RIPE)
                })
            });
        let traits = wishes.traits.iter().all(|wish| {
            let finding = known.findings.iter().find(|f| f.descriptor == wish.descriptor);
            finding.is_some_and(|f| has_trait(f, wish, crop))
        });
        true_enough && ripe && traits
    }

    /// Returns true if the offered material can be the wanted cultivar. A plant from seed that does not come true is
    /// never that cultivar; it counts only if the seeker lists its material, for example as a rootstock.
    pub fn can_be(&self, material: Material, answer: Answer) -> bool {
        answer != Answer::NotTrue || !material.comes_from_seed() || self.materials.contains(&material)
    }

    /// Returns true if the offer has a wanted crop and material within the distance. The caller checks the
    /// cultivar. Seedlings of unknown identity meet no want.
    pub fn takes(&self, offered: &Contents) -> bool {
        let near = self.within_km == 0
            || self.grid.distance_km(&offered.place.grid).round() <= f64::from(self.within_km);
        let material = self.materials.is_empty() || self.materials.contains(&offered.material);
        self.crop == offered.crop && !offered.unknown_seedling && material && near
    }
}

/// A want before [`check`].
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WantDraft {
    /// Traits that the seeker wishes for.
    pub wishes: Wishes,
    /// Accepted materials; empty for all.
    pub materials: Vec<Material>,
    /// Grid code of the seeker's place.
    pub grid: String,
    /// Maximum distance in kilometres; 0 for any distance.
    pub within_km: i32,
    /// Area code of the destination.
    pub to: String,
    /// Last day; the longest possible duration if absent.
    pub until: Option<Date>,
    /// The seeker's text.
    pub note: String,
}

/// Fields of a draft that passed [`check`].
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// Place of the seeker.
    pub grid: GridCode,
    /// Destination, for movement rules.
    pub to: AreaCode,
    /// Last day of the want.
    pub until: Date,
    /// The seeker's text.
    pub note: String,
}

/// Checks a want for a crop on a day; `of_cultivar` is true if it names a cultivar.
///
/// # Errors
/// Returns one [`FieldError`] for every wrong field.
pub fn check(
    draft: &WantDraft,
    crop: &Crop,
    of_cultivar: bool,
    today: Date,
) -> Result<Checked, Vec<FieldError>> {
    let mut fields = Fields::new();
    if !of_cultivar && draft.wishes.is_empty() {
        fields.wrong("want.cultivar", "a cultivar, or a wish such as ripe in October, expected");
    }
    if draft.wishes.ripe_in.iter().any(|month| !(1..=12).contains(month)) {
        fields.wrong("want.ripe_in", "months from 1 to 12 expected");
    }
    if draft.wishes.traits.len() > limits::CHOICES_MAX || draft.wishes.ripe_in.len() > 12 {
        fields.wrong("want.traits", format!("at most {} expected", limits::CHOICES_MAX));
    }
    for (at, wish) in draft.wishes.traits.iter().take(limits::CHOICES_MAX).enumerate() {
        let field = |part: &str| format!("want.traits[{at}].{part}");
        let Some(descriptor) = crop.descriptor(&wish.descriptor) else {
            let keys: Vec<&str> = crop.descriptors.iter().map(|d| d.key.as_str()).collect();
            fields.wrong(field("descriptor_key"), format!("one of {} expected", keys.join(", ")));
            continue;
        };
        match descriptor.kind {
            DescriptorKind::Category | DescriptorKind::Ordinal => {
                let known: Vec<&str> = descriptor.states.iter().map(|s| s.key.as_str()).collect();
                if wish.states.is_empty() || wish.states.iter().any(|s| !known.contains(&s.as_str())) {
                    fields.wrong(field("states"), format!("some of {} expected", known.join(", ")));
                }
            }
            DescriptorKind::Quantity => {
                let wrong = wish.least.zip(wish.most).is_some_and(|(least, most)| least > most);
                let none = wish.least.is_none() && wish.most.is_none();
                let odd = [wish.least, wish.most].into_iter().flatten().any(|n| !n.is_finite() || n < 0.0);
                if wrong || none || odd {
                    fields
                        .wrong(field("least"), format!("a least or a most in {} expected", descriptor.unit));
                }
            }
            DescriptorKind::Period | DescriptorKind::CountRatio | DescriptorKind::Text => {
                fields.wrong(
                    field("descriptor_key"),
                    "a category, a scale or a quantity expected; for seasons there are months, for seed: comes true",
                );
            }
        }
    }
    let grid = fields.take("want.near_grid_code", GridCode::parse(&draft.grid));
    let to = fields.take("want.to_area_code", AreaCode::parse(&draft.to));
    if !(0..=limits::SEARCH_KM_MAX).contains(&draft.within_km) {
        fields.wrong("want.within_km", format!("0 to {} expected", limits::SEARCH_KM_MAX));
    }
    let last = today.plus_days(limits::WANT_DAYS_MAX);
    let until = draft.until.unwrap_or(last);
    if until < today || until > last {
        fields.wrong("want.until", format!("{today} to {last} expected, {until} found"));
    }
    let note = fields.text("want.note", &draft.note, 0, limits::CLAIM_NOTE_CHARS_MAX);
    let whole = || Some(Checked { grid: grid?, to: to?, until, note: note? });
    let whole = whole();
    fields.finish(whole)
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;
    use crate::evidence::Side;

    fn crop() -> Crop {
        toml::from_str(include_str!("../../data/crops/mango.toml")).unwrap()
    }
    fn finding(key: &str, standing: Standing, summary: Summary, sides: &[(&str, f64)]) -> Finding {
        let sides = sides
            .iter()
            .map(|(state, share)| Side {
                state: (*state).into(),
                sources: Vec::new(),
                growers: 1,
                share: *share,
            })
            .collect();
        Finding {
            descriptor: key.into(),
            label: String::new(),
            text: String::new(),
            standing,
            standing_text: String::new(),
            voices: 3,
            probability: None,
            share: None,
            published: None,
            summary,
            sides,
            pieces: Vec::new(),
            pin: None,
        }
    }
    fn want(wishes: Wishes) -> Want {
        Want {
            id: WantId::from_uuid(Uuid::from_u128(1)),
            seeker: AccountId::from_uuid(Uuid::from_u128(2)),
            crop: "mango".into(),
            cultivar: None,
            wishes,
            materials: Vec::new(),
            grid: GridCode::parse("2CGV2200+").unwrap(),
            within_km: 0,
            to: AreaCode::parse("XB-NS").unwrap(),
            until: Date::from_days(100),
            note: String::new(),
            withdrawn_at: None,
            entered_by: None,
            created_at: Timestamp::from_micros(0),
        }
    }

    /// A plant from seed that never comes true is not the cultivar and meets no want for it. This does not
    /// apply where the seed may come true.
    #[test]
    fn a_want_is_met_only_by_what_can_be_it() {
        let any = want(Wishes::default());
        for material in Material::ALL.iter().copied() {
            let from_seed = matches!(
                material,
                Material::Seed | Material::FruitForSeed | Material::Seedling | Material::Rootstock
            );
            assert_eq!(material.comes_from_seed(), from_seed, "{material:?}");
            assert_eq!(any.can_be(material, Answer::NotTrue), !from_seed, "{material:?}");
            assert!(any.can_be(material, Answer::MostlyTrue) && any.can_be(material, Answer::Unknown));
            // A listed material is sought for its own sake.
            let named = Want { materials: vec![material], ..any.clone() };
            assert!(named.can_be(material, Answer::NotTrue), "{material:?}");
        }
    }

    /// The wish: "Ripens October, no fibre, seed comes true."
    #[test]
    fn a_wish_is_met_by_what_is_known_and_not_contested() {
        let crop = crop();
        let states = &crop.descriptor("fibre").unwrap().states;
        let wished = want(Wishes {
            comes_true: true,
            ripe_in: vec![10],
            traits: vec![TraitWish {
                descriptor: "fibre".into(),
                states: vec![states[0].key.clone()],
                least: None,
                most: None,
            }],
        });
        let steps = |low, high| Summary::Steps { median: (low, high), quartiles: (0, 1), interval: (0, 1) };
        let fibreless = [finding("fibre", Standing::Likely, steps(0, 0), &[])];
        let mut bars = [0.0; 24];
        bars[19] = 0.5;
        let good = Known { ids: &[], answer: Answer::MostlyTrue, findings: &fibreless, bars: Some(&bars) };
        assert!(wished.sought(&good, &crop));
        assert!(!wished.sought(&Known { answer: Answer::Contested, ..good }, &crop));
        assert!(!wished.sought(&Known { bars: None, ..good }, &crop), "a season that no one has seen");
        let mut september = [0.0; 24];
        september[17] = 1.0;
        assert!(!wished.sought(&Known { bars: Some(&september), ..good }, &crop));
        let between = [finding("fibre", Standing::Likely, steps(0, 1), &[])];
        assert!(!wished.sought(&Known { findings: &between, ..good }, &crop), "half of it is not it");
        let contested = [finding("fibre", Standing::Contested, steps(0, 0), &[])];
        assert!(!wished.sought(&Known { findings: &contested, ..good }, &crop));
        assert!(!wished.sought(&Known { findings: &[], ..good }, &crop), "unknown is not it");
    }

    #[test]
    fn a_quantity_and_a_class() {
        let crop = crop();
        let class = crop.descriptor("embryony").unwrap().states[0].key.clone();
        let wished = want(Wishes {
            traits: vec![
                TraitWish {
                    descriptor: "fruit_mass".into(),
                    states: Vec::new(),
                    least: Some(300.0),
                    most: Some(500.0),
                },
                TraitWish {
                    descriptor: "embryony".into(),
                    states: vec![class.clone()],
                    least: None,
                    most: None,
                },
            ],
            ..Default::default()
        });
        let mass = |median| Summary::Quantity { median, spread: (0.0, 1e3), interval: (0.0, 1e3) };
        let findings = |grams, other: f64| {
            [
                finding("fruit_mass", Standing::Thin, mass(grams), &[]),
                finding("embryony", Standing::Settled, Summary::None, &[(&class, 1.0 - other), ("x", other)]),
            ]
        };
        for (grams, other, expected) in [(300.0, 0.1, true), (299.0, 0.1, false), (400.0, 0.9, false)] {
            let findings = findings(grams, other);
            let known = Known { ids: &[], answer: Answer::Unknown, findings: &findings, bars: None };
            assert_eq!(wished.sought(&known, &crop), expected, "{grams} {other}");
        }
    }

    #[test]
    fn fields() {
        let crop = crop();
        let today = Date::from_days(0);
        let draft = WantDraft { grid: "2CGV2200+".into(), to: "XB-NS".into(), ..Default::default() };
        let wrong = |draft: &WantDraft, named| -> Vec<String> {
            check(draft, &crop, named, today)
                .map_or_else(|e| e.into_iter().map(|f| f.field).collect(), |_| vec![])
        };
        assert!(wrong(&draft, true).is_empty());
        assert_eq!(wrong(&draft, false), ["want.cultivar"]);
        let wish = |key: &str, states: &[&str]| TraitWish {
            descriptor: key.into(),
            states: states.iter().map(|s| (*s).into()).collect(),
            least: None,
            most: None,
        };
        let odd = WantDraft {
            wishes: Wishes {
                comes_true: false,
                ripe_in: vec![13],
                traits: vec![
                    wish("fibre", &["none at all"]),
                    wish("season", &[]),
                    wish("fruit_mass", &[]),
                    wish("x", &[]),
                ],
            },
            until: Some(Date::from_days(-1)),
            ..draft
        };
        assert_eq!(
            wrong(&odd, false),
            [
                "want.ripe_in",
                "want.traits[0].states",
                "want.traits[1].descriptor_key",
                "want.traits[2].least",
                "want.traits[3].descriptor_key",
                "want.until"
            ]
        );
    }
}
