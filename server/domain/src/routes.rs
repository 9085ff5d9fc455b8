//! Compares the ways from a cultivar's name to a tree: what each gives, how long it takes, what it needs, and
//! which one the evidence favours.

use crate::{
    crop::{Caution, Climate, Crop, Only, RouteProfile, Timing, Way},
    field::{FieldError, Fields},
    odds::{Chance, Kept, Odds},
    plan::{self, Setting},
    seed::Answer,
};

/// What the grower has, and the space for the tree.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Yard {
    /// Maximum height of the tree, in metres; `None` for no limit.
    pub height_m: Option<f64>,
    /// Maximum width of the tree, in metres; `None` for no limit.
    pub width_m: Option<f64>,
    /// True if a grown tree of the crop stands there.
    pub has_tree: bool,
    /// True if the grower has scion wood of the cultivar.
    pub has_scion: bool,
    /// True if the grower has a rootstock large enough to graft.
    pub has_rootstock: bool,
}

/// Upper limit for a typed height or width.
const YARD_METRES_MAX: f64 = 1_000.0;
const DAYS_A_YEAR: f64 = 365.25;
const MONTHS_A_YEAR: f64 = 12.0;
const WEEKS_A_YEAR: f64 = DAYS_A_YEAR / 7.0;

impl Yard {
    /// Checks the height and the width.
    ///
    /// # Errors
    /// Returns one [`FieldError`] for every wrong field.
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

/// A figure that a source gives, or that is common practice.
#[derive(Clone, Debug, PartialEq)]
pub struct Fact {
    /// What the figure measures.
    pub label: String,
    /// Lower end; `None` if open.
    pub low: Option<f64>,
    /// Upper end; `None` if open.
    pub high: Option<f64>,
    /// Unit of both ends.
    pub unit: String,
    /// Source key, or another basis such as `common practice`.
    pub origin: String,
    /// Remark of the crop's profile.
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

/// A range of years; an end is open if a source says "or more" or gives none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Years {
    /// Fewest years.
    pub low: Option<f64>,
    /// Most years.
    pub high: Option<f64>,
}

/// One way to a tree, for one cultivar and one yard.
#[derive(Clone, Debug, PartialEq)]
pub struct Route {
    /// The way in the crop's profile.
    pub profile: RouteProfile,
    /// Whether the tree will be the cultivar, in words.
    pub identity: String,
    /// Chance that a seedling is the cultivar; `None` for grafted trees and without counts.
    pub is_true: Option<Chance>,
    /// True if the way leads to a tree of the cultivar.
    pub leads_there: bool,
    /// Years from the start to the first fruit, over all sources.
    pub fruit: Years,
    /// Figures behind the years, in order.
    pub first_fruit: Vec<Fact>,
    /// Published success rates.
    pub succeeds: Vec<Fact>,
    /// Warnings of the crop's profile for this way.
    pub cautions: Vec<Caution>,
}

/// All ways of a crop, compared for one cultivar and one yard.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Ways in the profile's order.
    pub routes: Vec<Route>,
    /// The way that the evidence favours.
    pub recommended: Option<Way>,
    /// Reason for the recommendation, in words.
    pub reason: String,
    /// Sizes that a grown tree reaches.
    pub sizes: Vec<Fact>,
    /// What these sizes mean for the yard; empty if no yard was given.
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

/// Returns the range over all timings, from the lowest low to the highest high; open above if any timing is.
fn hull<'a>(timings: impl Iterator<Item = &'a Timing>) -> Option<Years> {
    let all: Vec<Years> = timings.filter_map(in_years).collect();
    let low = all.iter().filter_map(|y| y.low.or(y.high)).min_by(f64::total_cmp);
    let high = all.iter().filter_map(|y| y.high).max_by(f64::total_cmp);
    let open = all.iter().any(|y| y.high.is_none());
    (!all.is_empty()).then_some(Years { low, high: high.filter(|_| !open) })
}

/// Returns the years to the first fruit, calculated from the steps of the way as plans do. Without steps it
/// adds the published years to fruit to the time before them.
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

/// Returns whether the tree will be the cultivar, in words.
pub fn identity(way: Way, odds: &Odds) -> String {
    match way {
        Way::Seed => odds.headline.clone(),
        Way::GraftedTree | Way::OwnRootstock | Way::TopWorking => {
            "The tree is the cultivar, if the scion was cut from a known tree: ask which, and keep its label."
                .into()
        }
        Way::Cutting | Way::Division => {
            "The plant is the cultivar, if it was taken from a known plant: ask which, and keep its label."
                .into()
        }
    }
}

/// Returns true if the grower grafts on this way, so that the take rate of grafts matters.
pub const fn grafts(way: Way) -> bool {
    matches!(way, Way::OwnRootstock | Way::TopWorking)
}

/// Compares the crop's ways for a cultivar with this seed answer and these odds.
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

/// Returns the ways from best to last resort, each with its reason. The caller skips ways that the crop lacks.
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
    ways.push((
        Way::Cutting,
        "A cutting of a known plant is the cultivar, on roots of its own, with the least work.",
    ));
    ways.push((
        Way::Division,
        "A layer, sucker or division of a known plant is the cultivar, on roots of its own.",
    ));
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

/// Returns what the sizes on file mean for the yard.
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

/// Formats metres with one decimal, and without it if it is zero.
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
        // Grafted mango: 3 to 5 years (HS2) and 2 to 3 (WASI). Seedling: 6 years (MORTON87), the fourth in practice.
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
            // A tree without scions of the cultivar is no help.
            (Answer::NotTrue, Yard { has_tree: true, ..nothing }, Way::GraftedTree),
        ] {
            let ways = recommend(answer, yard);
            let own_roots = |way: &Way| matches!(way, Way::Cutting | Way::Division);
            let first = ways.iter().map(|(way, _)| *way).find(|way| !own_roots(way));
            assert_eq!(first, Some(way), "{answer:?} {yard:?}");
            // Where the crop is kept by cuttings, they come before a grafted plant, and after what is at hand.
            let place = |wanted: Way| ways.iter().position(|(way, _)| *way == wanted).unwrap();
            assert!(place(Way::Cutting) < place(Way::GraftedTree));
            assert!(way == Way::GraftedTree || place(way) < place(Way::Cutting));
        }
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
