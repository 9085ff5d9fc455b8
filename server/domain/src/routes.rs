//! From a name to a tree: the ways side by side, with what each gives, how long it takes and what it asks for, and the
//! one that the evidence speaks for.

use crate::{
    crop::{Caution, Climate, Crop, Only, RouteProfile, Timing, Way},
    field::{FieldError, Fields},
    odds::{Chance, Kept, Odds},
    plan::{self, Setting},
    seed::Answer,
};

/// What a grower has, and where the tree is to stand.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Yard {
    /// How high a tree may grow there, metres.
    pub height_m: Option<f64>,
    /// How wide, metres.
    pub width_m: Option<f64>,
    /// A grown tree of the crop stands there.
    pub has_tree: bool,
    /// Scion wood of the cultivar is at hand.
    pub has_scion: bool,
    /// A rootstock large enough to graft is at hand.
    pub has_rootstock: bool,
}

/// No yard is larger.
const YARD_METRES_MAX: f64 = 1_000.0;
const DAYS_A_YEAR: f64 = 365.25;
const MONTHS_A_YEAR: f64 = 12.0;
const WEEKS_A_YEAR: f64 = DAYS_A_YEAR / 7.0;

impl Yard {
    /// Everything that is wrong with it.
    ///
    /// # Errors
    /// All wrong fields.
    pub fn check(&self) -> Result<(), Vec<FieldError>> {
        let mut fields = Fields::new();
        for (field, metres) in [("yard_height_m", self.height_m), ("yard_width_m", self.width_m)] {
            if metres.is_some_and(|m| !(m > 0.0 && m <= YARD_METRES_MAX)) {
                fields.wrong(field, format!("metres above 0, at most {YARD_METRES_MAX}, expected"));
            }
        }
        fields.finish(Some(()))
    }
}

/// A published or common figure.
#[derive(Clone, Debug, PartialEq)]
pub struct Fact {
    /// What it is of.
    pub label: String,
    /// The lower end.
    pub low: Option<f64>,
    /// The upper end.
    pub high: Option<f64>,
    /// The unit of both.
    pub unit: String,
    /// A source's key, or what else it rests on.
    pub origin: String,
    /// What to bear in mind.
    pub note: String,
}

impl From<&Timing> for Fact {
    fn from(timing: &Timing) -> Self {
        Self {
            label: timing.label.clone(),
            low: timing.low,
            high: timing.high,
            unit: timing.unit.clone(),
            origin: timing.origin().into(),
            note: timing.note.clone(),
        }
    }
}

/// From fewest to most years; open where a source says "or more", or says nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Years {
    /// At the earliest.
    pub low: Option<f64>,
    /// At the latest.
    pub high: Option<f64>,
}

/// A way, for one cultivar and one yard.
#[derive(Clone, Debug, PartialEq)]
pub struct Route {
    /// What the profile says.
    pub profile: RouteProfile,
    /// Whether the tree will be the cultivar, in words.
    pub identity: String,
    /// The chance that one seedling is, where the tree comes from seed and someone counted.
    pub is_true: Option<Chance>,
    /// It leads to a tree of the cultivar at all.
    pub leads_there: bool,
    /// Years from the start to the first fruit, over all sources.
    pub fruit: Years,
    /// The figures behind the years, in their order.
    pub first_fruit: Vec<Fact>,
    /// How often it succeeds, as published.
    pub succeeds: Vec<Fact>,
    /// What to be careful with.
    pub cautions: Vec<Caution>,
}

/// All ways beside each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// In the profile's order.
    pub routes: Vec<Route>,
    /// The one that the evidence speaks for.
    pub recommended: Option<Way>,
    /// Why, in words.
    pub reason: String,
    /// Sizes that the tree reaches.
    pub sizes: Vec<Fact>,
    /// What that means for the yard; empty where no yard was given.
    pub yard: String,
}

fn named<'a>(crop: &'a Crop, steps: &'a [String]) -> impl Iterator<Item = &'a Timing> {
    steps.iter().filter_map(|step| crop.timings.iter().find(|t| &t.step == step))
}

fn in_years(timing: &Timing) -> Option<Years> {
    let a_year = match timing.unit.as_str() {
        "years" => 1.0,
        "months" => MONTHS_A_YEAR,
        "weeks" => WEEKS_A_YEAR,
        "days" => DAYS_A_YEAR,
        _ => return None,
    };
    Some(Years { low: timing.low.map(|n| n / a_year), high: timing.high.map(|n| n / a_year) })
}

/// From the earliest that any says to the latest; open above where one is.
fn hull<'a>(timings: impl Iterator<Item = &'a Timing>) -> Option<Years> {
    let all: Vec<Years> = timings.filter_map(in_years).collect();
    let low = all.iter().filter_map(|y| y.low.or(y.high)).min_by(f64::total_cmp);
    let high = all.iter().filter_map(|y| y.high).max_by(f64::total_cmp);
    let open = all.iter().any(|y| y.high.is_none());
    (!all.is_empty()).then_some(Years { low, high: high.filter(|_| !open) })
}

/// Years to fruit: from the steps of the way, as plans calculate; where the crop has none, what passes before and then the
/// years that sources tell.
fn years(crop: &Crop, profile: &RouteProfile, answer: Answer, yard: Yard) -> Years {
    let setting = Setting {
        way: profile.way,
        south: false,
        climate: Climate::Mild,
        has_rootstock: yard.has_rootstock && profile.way == Way::OwnRootstock,
    };
    if let Some((low, high)) = plan::years(crop, answer, setting) {
        return Years { low: Some(low), high };
    }
    let before = if setting.has_rootstock { None } else { hull(named(crop, &profile.before)) };
    let Some(fruit) =
        hull(named(crop, profile.fruit_steps(plan::seed_of(answer).unwrap_or(Only::SeveralSprouts))))
    else {
        return Years::default();
    };
    let before = before.unwrap_or(Years { low: Some(0.0), high: Some(0.0) });
    Years {
        low: fruit.low.map(|low| low + before.low.unwrap_or(0.0)),
        high: fruit.high.zip(before.high).map(|(a, b)| a + b),
    }
}

/// Whether the tree will be the cultivar, in words.
pub fn identity(way: Way, odds: &Odds) -> String {
    match way {
        Way::Seed => odds.headline.clone(),
        Way::GraftedTree | Way::OwnRootstock | Way::TopWorking => {
            "The tree is the cultivar, if the scion was cut from a known tree: ask which, and keep its label."
                .into()
        }
    }
}

/// Whether a way grafts: then it matters how often grafts take.
pub const fn grafts(way: Way) -> bool {
    matches!(way, Way::OwnRootstock | Way::TopWorking)
}

/// The ways for a cultivar of the crop with this answer and these odds.
pub fn compare(crop: &Crop, answer: Answer, odds: &Odds, yard: Yard) -> Comparison {
    let kind = plan::seed_of(answer).unwrap_or(Only::SeveralSprouts);
    let from_seed = odds.kinds.iter().find(|k| k.kept == Kept::AsTheyCome);
    let routes: Vec<Route> = crop
        .routes
        .iter()
        .map(|profile| {
            let seed = profile.way == Way::Seed;
            Route {
                identity: identity(profile.way, odds),
                is_true: from_seed.filter(|_| seed).map(|k| k.is_true.clone()),
                leads_there: !seed || !(odds.new_plant || odds.kinds.is_empty()),
                fruit: years(crop, profile, answer, yard),
                first_fruit: named(crop, &profile.before)
                    .chain(named(crop, profile.fruit_steps(kind)))
                    .map(Fact::from)
                    .collect(),
                succeeds: named(crop, &profile.succeeds).map(Fact::from).collect(),
                cautions: crop
                    .cautions
                    .iter()
                    .filter(|c| profile.cautions.contains(&c.topic))
                    .cloned()
                    .collect(),
                profile: profile.clone(),
            }
        })
        .collect();
    let chosen = recommend(answer, yard)
        .into_iter()
        .find(|(wanted, _)| routes.iter().any(|r| r.profile.way == *wanted));
    let sizes: Vec<Fact> = crop
        .timings
        .iter()
        .filter(|t| t.unit == "m" && ["height", "crown", "spacing"].iter().any(|p| t.step.starts_with(p)))
        .map(Fact::from)
        .collect();
    Comparison {
        reason: chosen.map(|(_, reason)| reason.to_string()).unwrap_or_default(),
        yard: in_yard(crop, yard),
        routes,
        recommended: chosen.map(|(way, _)| way),
        sizes,
    }
}

/// The ways from the best to the last resort, each with its reason: a crop may lack some.
fn recommend(answer: Answer, yard: Yard) -> Vec<(Way, &'static str)> {
    let mut ways = Vec::new();
    if answer == Answer::ComesTrue {
        ways.push((
            Way::Seed,
            "Its seed comes true as far as it was counted, and it is the least work to start. A grafted tree fruits sooner.",
        ));
    }
    if yard.has_tree && yard.has_scion {
        ways.push((
            Way::TopWorking,
            "You have a grown tree and scion wood: its roots are there already, so this is the soonest way to fruit of the cultivar, if the scion was cut from a known tree.",
        ));
    }
    if yard.has_scion && yard.has_rootstock {
        ways.push((
            Way::OwnRootstock,
            "You have scion wood and a rootstock: grafted in its season, the tree is the cultivar, if the scion was cut from a known tree.",
        ));
    } else if yard.has_scion {
        ways.push((
            Way::OwnRootstock,
            "You have scion wood: if it was cut from a known tree, the tree is the cultivar; all it needs is a rootstock.",
        ));
    }
    ways.push(match answer {
        Answer::MostlyTrue => (
            Way::GraftedTree,
            "A grafted tree from a known scion is the cultivar and fruits sooner. Its seed is mostly true: sow several if you can wait.",
        ),
        Answer::NotCounted => (
            Way::GraftedTree,
            "A grafted tree from a known scion is the cultivar and fruits sooner. Its seed is said to send up several sprouts, but no one counted whether they are true; sow several if you can wait.",
        ),
        Answer::PartlyTrue | Answer::MostlyOffType => {
            (Way::GraftedTree, "A grafted tree from a known scion is the cultivar; of its seedlings too many are not.")
        }
        Answer::NotTrue => (
            Way::GraftedTree,
            "Its seed gives a new plant, so only a scion carries the cultivar on: as a grafted tree, or grafted by yourself.",
        ),
        Answer::ComesTrue
        | Answer::BothKinds
        | Answer::Contested
        | Answer::Doubtful
        | Answer::Unknown => (
            Way::GraftedTree,
            "A grafted tree from a known scion is the cultivar; how its seed behaves is not clear enough to wait years for.",
        ),
    });
    ways.push((Way::OwnRootstock, "A scion of a known tree on a rootstock of your own gives the cultivar."));
    ways.push((Way::TopWorking, "A scion of a known tree on a tree that stands there gives the cultivar."));
    ways.push((Way::Seed, "No other way is on file for this crop."));
    ways
}

/// What the sizes on file mean for the yard.
fn in_yard(crop: &Crop, yard: Yard) -> String {
    let most = |prefix: &str| {
        crop.timings
            .iter()
            .filter(|t| t.unit == "m" && t.step.starts_with(prefix))
            .filter_map(|t| t.high.or(t.low))
            .max_by(f64::total_cmp)
    };
    let mut says = Vec::new();
    if let (Some(room), Some(height)) = (yard.height_m, most("height")) {
        says.push(if height > room {
            format!("Left alone it may outgrow the {} m of height you have: plan to prune it every year from the start, and never work on a ladder with a saw alone.", tenths(room))
        } else {
            format!("It stays within the {} m of height you have.", tenths(room))
        });
    }
    if let (Some(room), Some(width)) = (yard.width_m, most("crown").or_else(|| most("spacing"))) {
        says.push(if width > room {
            format!("Its crown may outgrow the {} m of width you have unless it is kept small.", tenths(room))
        } else {
            format!("Its crown stays within the {} m of width you have.", tenths(room))
        });
    }
    if (yard.height_m.is_some() || yard.width_m.is_some()) && says.is_empty() {
        says.push("How large it grows is not on file for this crop.".into());
    }
    says.join(" ")
}

/// To a tenth, and whole where it is whole.
fn tenths(metres: f64) -> String {
    let text = format!("{metres:.1}");
    text.strip_suffix(".0").map_or_else(|| text.clone(), Into::into)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn timing(unit: &str, low: Option<f64>, high: Option<f64>) -> Timing {
        Timing {
            step: "first_fruit".into(),
            label: "first fruit".into(),
            low,
            high,
            unit: unit.into(),
            source: String::new(),
            basis: "common practice".into(),
            note: String::new(),
        }
    }

    #[test]
    fn sources_that_differ_make_one_range() {
        // grafted mango, 3 to 5 years (HS2) and 2 to 3 (WASI); seedling: 6 years (MORTON87), the fourth in practice
        let grafted = [timing("years", Some(3.0), Some(5.0)), timing("years", Some(2.0), Some(3.0))];
        assert_eq!(hull(grafted.iter()), Some(Years { low: Some(2.0), high: Some(5.0) }));
        let seedling = [timing("years", Some(6.0), Some(6.0)), timing("years", Some(4.0), None)];
        assert_eq!(hull(seedling.iter()), Some(Years { low: Some(4.0), high: None }));
        let months = [timing("months", Some(6.0), Some(9.0))];
        assert_eq!(hull(months.iter()), Some(Years { low: Some(0.5), high: Some(0.75) }));
        let metres = [timing("m", Some(6.0), Some(9.0))];
        assert_eq!(hull(metres.iter()), None, "a length tells no years");
    }

    #[test]
    fn what_is_at_hand_and_what_was_counted_decide() {
        let nothing = Yard::default();
        let scion = Yard { has_scion: true, ..nothing };
        let both = Yard { has_tree: true, ..scion };
        for (answer, yard, way) in [
            (Answer::ComesTrue, both, Way::Seed),
            (Answer::MostlyTrue, nothing, Way::GraftedTree),
            (Answer::NotTrue, nothing, Way::GraftedTree),
            (Answer::NotTrue, scion, Way::OwnRootstock),
            (Answer::Unknown, both, Way::TopWorking),
        ] {
            assert_eq!(recommend(answer, yard)[0].0, way, "{answer:?} {yard:?}");
        }
        // a tree without scions of the cultivar is no help
        assert_eq!(recommend(Answer::NotTrue, Yard { has_tree: true, ..nothing })[0].0, Way::GraftedTree);
    }

    #[test]
    fn yards_are_checked() {
        for metres in [0.0, -1.0, f64::NAN, f64::INFINITY, 1_000.1] {
            let yard = Yard { height_m: Some(metres), width_m: Some(metres), ..Yard::default() };
            assert_eq!(yard.check().unwrap_err().len(), 2, "{metres}");
        }
        assert!(Yard { height_m: Some(4.0), ..Yard::default() }.check().is_ok());
        assert_eq!((tenths(4.0), tenths(3.6576)), ("4".into(), "3.7".into()));
    }
}
