//! The steps of a way to a tree, as a crop's profile describes them: what to do, when, and after which steps.

use serde::{Deserialize, Serialize};

use super::{Crop, Way};
use crate::offer::Material;

crate::offer::words! {
    /// Coarse climate of a place, by its frost: enough to say when plants may stand outside.
    Climate {
        /// No frost.
        Warm = "warm",
        /// Light frosts in some winters.
        Mild = "mild",
        /// Hard frosts every winter.
        Cold = "cold",
        /// Near the equator: no frost, and seasons that follow the rains rather than the sun.
        Rains = "rains",
    }
}

/// Latitude in degrees below which months of other places mean nothing, because the rains make the seasons
/// there. A choice of ours.
pub const NEAR_EQUATOR: f64 = 10.0;

impl Climate {
    /// Guesses the climate from the latitude in degrees: below 10 rains, within the tropics warm, to 35 mild,
    /// beyond cold. Height and sea change it, so the grower's own entry takes precedence. A choice of ours.
    pub fn guess(latitude: f64) -> Self {
        const TROPIC: f64 = 23.44;
        const LIGHT_FROST: f64 = 35.0;
        match latitude.abs() {
            degrees if degrees < NEAR_EQUATOR => Self::Rains,
            degrees if degrees <= TROPIC => Self::Warm,
            degrees if degrees <= LIGHT_FROST => Self::Mild,
            _ => Self::Cold,
        }
    }

    /// Returns the climate in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Warm => "no frost",
            Self::Mild => "light frosts in some winters",
            Self::Cold => "hard frosts every winter",
            Self::Rains => "no frost, and seasons that follow the rains",
        }
    }

    /// Returns the climate by frost alone: `Rains` becomes `Warm`.
    pub const fn frost(self) -> Self {
        match self {
            Self::Warm | Self::Rains => Self::Warm,
            Self::Mild => Self::Mild,
            Self::Cold => Self::Cold,
        }
    }
}

/// The kind of seed that a step applies to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Only {
    /// Seed that can send up several sprouts, clones of the mother among them.
    SeveralSprouts,
    /// Seed that gives one new seedling.
    OneSprout,
}

/// Months of a step, 1 to 12, for north of the equator; an empty list means any time.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Months {
    /// Months where there is no frost.
    #[serde(default)]
    pub warm: Vec<u8>,
    /// Months where light frosts occur.
    #[serde(default)]
    pub mild: Vec<u8>,
    /// Months where hard frosts occur.
    #[serde(default)]
    pub cold: Vec<u8>,
}

impl Months {
    /// Returns the months for a climate; empty for `Rains`.
    pub fn of(&self, climate: Climate) -> &[u8] {
        match climate {
            Climate::Warm => &self.warm,
            Climate::Mild => &self.mild,
            Climate::Cold => &self.cold,
            // The profile's months fit neither hemisphere here, so the plan asks the grower for them.
            Climate::Rains => &[],
        }
    }
}

/// Material that must still be alive at the step; the storage entry says for how long.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fresh {
    /// Kind of plant material.
    pub material: Material,
    /// Key of the way of keeping it.
    pub keeping: String,
}

/// Unit of a wait.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WaitUnit {
    /// Whole days.
    #[default]
    Days,
    /// Weeks of 7 days.
    Weeks,
    /// Months of 365.25 / 12 days.
    Months,
    /// Years of 365.25 days.
    Years,
}

impl WaitUnit {
    /// Returns the number of days in one unit.
    pub const fn days(self) -> f64 {
        match self {
            Self::Days => 1.0,
            Self::Weeks => 7.0,
            Self::Months => 365.25 / 12.0,
            Self::Years => 365.25,
        }
    }
    /// Reads the unit of a timing, or returns `None` for an unknown word.
    pub fn of(word: &str) -> Option<Self> {
        match word {
            "days" => Some(Self::Days),
            "weeks" => Some(Self::Weeks),
            "months" => Some(Self::Months),
            "years" => Some(Self::Years),
            _ => None,
        }
    }
    const fn word(self) -> &'static str {
        match self {
            Self::Days => "days",
            Self::Weeks => "weeks",
            Self::Months => "months",
            Self::Years => "years",
        }
    }
}

/// A crop profile's entry for one step. The wait before the step comes from timings, from how long material
/// lives, or from `low` and `high`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepProfile {
    /// Key, unique for each combination of way, climate and kind of seed.
    pub key: String,
    /// Ways that the step belongs to.
    pub ways: Vec<Way>,
    /// Short heading.
    pub title: String,
    /// What the grower does.
    pub about: String,
    /// What the grower looks for.
    #[serde(default)]
    pub look_for: String,
    /// What the grower does when the step fails.
    #[serde(default)]
    pub if_fails: String,
    /// Kind of seed that the step is limited to.
    #[serde(default)]
    pub only: Option<Only>,
    /// Climates that the step is limited to; empty for all.
    #[serde(default)]
    pub climates: Vec<Climate>,
    /// Whether the step raises a rootstock, and so is skipped when one is at hand.
    #[serde(default)]
    pub raises_rootstock: bool,
    /// Keys of the steps that it follows; empty for a step at the start of the plan.
    #[serde(default)]
    pub after: Vec<String>,
    /// Timing steps that give the wait.
    #[serde(default)]
    pub timings: Vec<String>,
    /// Instead of timings: the wait lasts while this material is alive.
    #[serde(default)]
    pub fresh: Option<Fresh>,
    /// Instead of timings: shortest wait, in `unit`.
    #[serde(default)]
    pub low: Option<f64>,
    /// Longest wait, in `unit`; `None` for an open end.
    #[serde(default)]
    pub high: Option<f64>,
    /// Unit of `low` and `high`.
    #[serde(default)]
    pub unit: WaitUnit,
    /// Months in which the step is done.
    #[serde(default)]
    pub months: Months,
    /// Topics of the cautions that apply.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// Key of the source; empty if there is none.
    #[serde(default)]
    pub source: String,
    /// Basis without a source, such as `common practice`.
    #[serde(default)]
    pub basis: String,
    /// Limits and context.
    #[serde(default)]
    pub note: String,
}

/// The wait between a step and the steps that it follows.
#[derive(Clone, Debug, PartialEq)]
pub struct Wait {
    /// Shortest wait in days.
    pub low: i64,
    /// Longest wait in days; `None` if no source gives one.
    pub high: Option<i64>,
    /// The wait in the source's words.
    pub text: String,
    /// Keys of sources, or `common practice`.
    pub origins: Vec<String>,
}

#[expect(clippy::cast_possible_truncation, reason = "clamped to three centuries")]
fn whole(days: f64) -> i64 {
    const DAYS_MAX: f64 = 109_575.0;
    if days.is_finite() { days.clamp(0.0, DAYS_MAX) as i64 } else { 0 }
}

/// Returns a timing's range in words, with days rounded to whole days.
fn in_whole_days(timing: &super::Timing) -> String {
    if timing.unit != "days" {
        return timing.range_text();
    }
    let round = |n: Option<f64>| n.map(f64::round);
    super::Timing { low: round(timing.low), high: round(timing.high), ..timing.clone() }.range_text()
}

impl StepProfile {
    /// Returns the source of the step, or its basis without one.
    pub fn origin(&self) -> &str {
        if self.source.is_empty() { &self.basis } else { &self.source }
    }

    /// Returns whether the step belongs to a way for this seed and climate.
    pub fn is_for(&self, way: Way, seed: Only, climate: Climate) -> bool {
        self.ways.contains(&way)
            && self.only.is_none_or(|only| only == seed)
            && (self.climates.is_empty() || self.climates.contains(&climate.frost()))
    }

    /// Returns the wait. Timings that disagree make one range from the earliest to the latest.
    pub fn wait(&self, crop: &Crop) -> Wait {
        if let Some(fresh) = &self.fresh
            && let Some(kept) = crop.storages_of(fresh.material).find(|s| s.key == fresh.keeping)
        {
            let high = kept.surely_days().map(i64::from);
            return Wait {
                low: 0,
                high,
                text: format!(
                    "while it is alive: kept {}{}",
                    kept.how,
                    high.map(|days| format!(", {days} days")).unwrap_or_default()
                ),
                origins: vec![kept.origin().to_string()],
            };
        }
        let named: Vec<_> =
            self.timings.iter().filter_map(|step| crop.timings.iter().find(|t| &t.step == step)).collect();
        if named.is_empty() {
            let days = |n: Option<f64>| n.map(|n| n * self.unit.days());
            return Wait {
                low: days(self.low).map_or(0, |d| whole(d.floor())),
                high: days(self.high).map(|d| whole(d.ceil())),
                text: self.typed_words(),
                origins: vec![self.origin().to_string()],
            };
        }
        let days = |n: Option<f64>, unit: &str| Some(n? * WaitUnit::of(unit)?.days());
        let lows = named.iter().filter_map(|t| days(t.low.or(t.high), &t.unit));
        let highs = named.iter().filter_map(|t| days(t.high, &t.unit));
        let open = named.iter().any(|t| t.high.is_none());
        let mut origins: Vec<String> = named.iter().map(|t| t.origin().to_string()).collect();
        origins.sort_unstable();
        origins.dedup();
        Wait {
            low: lows.min_by(f64::total_cmp).map_or(0, |d| whole(d.floor())),
            high: highs.max_by(f64::total_cmp).filter(|_| !open).map(|d| whole(d.ceil())),
            text: match named.as_slice() {
                [one] => in_whole_days(one),
                several => {
                    let each = several.iter().map(|t| format!("{} ({})", in_whole_days(t), t.label));
                    each.collect::<Vec<_>>().join("; ")
                }
            },
            origins,
        }
    }

    fn typed_words(&self) -> String {
        let unit = self.unit.word();
        let one = unit.trim_end_matches('s');
        match (self.low.filter(|low| *low > 0.0), self.high) {
            (Some(low), Some(high)) if (low - high).abs() < f64::EPSILON => {
                format!("{low} {}", if (low - 1.0).abs() < f64::EPSILON { one } else { unit })
            }
            (Some(low), Some(high)) => format!("{low} to {high} {unit}"),
            (Some(low), None) => format!("{low} {unit} or more"),
            (None, Some(high)) if high <= 0.0 => "at once".into(),
            (None, Some(high)) if (high - 1.0).abs() < f64::EPSILON => format!("within {high} {one}"),
            (None, Some(high)) => format!("within {high} {unit}"),
            (None, None) => "when it suits".into(),
        }
    }

    /// Returns the mistakes in the step: field and message. The crop checks order and references between
    /// steps.
    pub(super) fn check(&self, crop: &Crop) -> Vec<(&'static str, String)> {
        let mut wrong = Vec::new();
        let mut note = |field, expected: String| wrong.push((field, expected));
        if self.key.is_empty() || !self.key.chars().all(|c| c.is_ascii_lowercase() || c == '_') {
            note("key", "lower-case letters and underscores expected".into());
        }
        if self.ways.is_empty() {
            note("ways", "at least one way expected".into());
        }
        for (field, text) in [("title", &self.title), ("about", &self.about)] {
            if text.trim().is_empty() {
                note(field, "words expected".into());
            }
        }
        let given = [!self.timings.is_empty(), self.fresh.is_some(), self.low.or(self.high).is_some()];
        if given.into_iter().filter(|set| *set).count() > 1 {
            note("timings", "one of timings, fresh, and low with high expected".into());
        }
        for step in &self.timings {
            match crop.timings.iter().find(|t| &t.step == step) {
                None => note("timings", format!("the step of a timing of this crop expected, {step} found")),
                Some(timing) if WaitUnit::of(&timing.unit).is_none() => {
                    note(
                        "timings",
                        format!("a timing in days, weeks, months or years expected, {step} found"),
                    );
                }
                Some(_) => {}
            }
        }
        if let Some(fresh) = &self.fresh
            && !crop.storages_of(fresh.material).any(|s| s.key == fresh.keeping)
        {
            note("fresh", format!("the key of a way of keeping {} expected", fresh.material.label()));
        }
        let finite = |n: Option<f64>| n.is_none_or(|n| n.is_finite() && n >= 0.0);
        if !finite(self.low) || !finite(self.high) || self.low.zip(self.high).is_some_and(|(l, h)| l > h) {
            note("low", "low and high from 0 up, low not above high, expected".into());
        }
        for climate in Climate::ALL.iter().copied() {
            if self.months.of(climate).iter().any(|m| !(1..=12).contains(m)) {
                note("months", "months 1 to 12 expected".into());
            }
        }
        for topic in self.cautions.iter().filter(|topic| !crop.cautions.iter().any(|c| &c.topic == *topic)) {
            note("cautions", format!("the topic of a caution of this crop expected, {topic} found"));
        }
        if self.origin().is_empty() {
            note("source", "a source, or basis = \"common practice\", expected".into());
        }
        wrong
    }
}

/// Returns the mistakes in the order of the steps. Each step must follow steps that are earlier in the file
/// and belong to the same way, climate and seed.
pub(super) fn check_order(steps: &[StepProfile]) -> Vec<(String, String)> {
    let mut wrong: Vec<(String, String)> = Vec::new();
    let mut note = |step: &StepProfile, expected: String| {
        let field = format!("step {}", step.key);
        if !wrong.iter().any(|(f, e)| *f == field && *e == expected) {
            wrong.push((field, expected));
        }
    };
    for way in Way::ALL.iter().copied() {
        for seed in [Only::SeveralSprouts, Only::OneSprout] {
            for climate in Climate::ALL.iter().copied() {
                let mut seen: Vec<&str> = Vec::new();
                for step in steps.iter().filter(|s| s.is_for(way, seed, climate)) {
                    if seen.contains(&step.key.as_str()) {
                        note(step, "one step of this key for each way, climate and seed expected".into());
                    }
                    for before in step.after.iter().filter(|b| !seen.contains(&b.as_str())) {
                        note(step, format!("after: a step that stands before it expected, {before} found"));
                    }
                    seen.push(&step.key);
                }
            }
        }
    }
    wrong
}
