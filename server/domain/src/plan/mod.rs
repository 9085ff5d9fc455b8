//! Dated plans: the steps of one way to grow a tree, each with an earliest and a latest day. A plan stores what was
//! done and what the grower set. The days are calculated from that and from `today`, in one pass over the steps.

mod edit;
mod schedule;

pub use edit::{Edit, OwnStep, check_start, edited, redrafted, text_chars, with_own, without_own};
pub use schedule::{Dates, schedule};

use serde::{Deserialize, Serialize};

use crate::{
    crop::{Climate, Crop, Only, StepProfile, Way},
    ids::{AccountId, CultivarId, PlanId},
    seed::Answer,
    time::{Date, Timestamp},
};

/// The conditions from which the steps of a plan are drafted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setting {
    /// Way to grow the tree.
    pub way: Way,
    /// True south of the equator.
    pub south: bool,
    /// Coarse climate of the place.
    pub climate: Climate,
    /// True if the grower has a rootstock large enough to graft.
    pub has_rootstock: bool,
}

/// State of a step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "state")]
pub enum State {
    /// The step is still to do.
    Open,
    /// The grower did the step.
    Done {
        /// Day on which it was done.
        day: Date,
    },
    /// The grower left it out. Steps after it wait as if it had been done in its time.
    LeftOut {
        /// Reason; may be empty.
        why: String,
    },
}

/// A step of a grower's plan: a copy of the crop profile's step, and its state. Later changes of the profile do
/// not affect it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Key, unique in the plan.
    pub key: String,
    /// Title, a few words.
    pub title: String,
    /// What to do.
    pub about: String,
    /// Signs that the step succeeds.
    pub look_for: String,
    /// What to do if the step fails.
    pub if_fails: String,
    /// Keys of earlier steps that must end first; empty for the start of the plan.
    pub after: Vec<String>,
    /// Minimum wait in days.
    pub low: i64,
    /// Maximum wait in days; `None` if no source gives one.
    pub high: Option<i64>,
    /// The wait in words.
    pub wait: String,
    /// Local months in which the step is done, 1 to 12; empty for any month.
    pub months: Vec<u8>,
    /// Warnings for the grower.
    pub cautions: Vec<String>,
    /// Source keys, `common practice`, or `your own step`.
    pub origins: Vec<String>,
    /// Remark of the crop's profile.
    pub remark: String,
    /// Day that the grower set; it overrides the calculated days.
    pub planned: Option<Date>,
    /// Earliest day of a repeated step; `None` if it was not repeated.
    #[serde(default)]
    pub not_before: Option<Date>,
    /// True if `high` is the time for which the cut material stays alive.
    #[serde(default)]
    pub perishes: bool,
    /// State of the step.
    #[serde(flatten)]
    pub state: State,
    /// The grower's note.
    pub note: String,
    /// True if the grower added the step.
    pub own: bool,
}

/// A plan on file.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Id of the plan.
    pub id: PlanId,
    /// Account of the grower.
    pub grower: AccountId,
    /// Cultivar that the grower wants.
    pub cultivar: CultivarId,
    /// Key of the crop.
    pub crop: String,
    /// The grower's title for the plan.
    pub title: String,
    /// The grower's note.
    pub note: String,
    /// Conditions from which the steps were drafted.
    pub setting: Setting,
    /// First day of the plan.
    pub start: Date,
    /// Steps in order; each comes after the steps that it follows.
    pub steps: Vec<Step>,
    /// Time of creation.
    pub created_at: Timestamp,
    /// Time of the last change.
    pub updated_at: Timestamp,
    /// Version number; each change adds 1.
    pub version: i64,
}

/// Returns the kind of seed that selects the steps; `None` if it is unknown or a seed may be of either kind.
pub const fn seed_of(answer: Answer) -> Option<Only> {
    match answer {
        Answer::NotTrue => Some(Only::OneSprout),
        Answer::ComesTrue
        | Answer::MostlyTrue
        | Answer::PartlyTrue
        | Answer::MostlyOffType
        | Answer::NotCounted => Some(Only::SeveralSprouts),
        Answer::BothKinds | Answer::Contested | Answer::Doubtful | Answer::Unknown => None,
    }
}

/// Selects the profile's steps for a way and a kind of seed. For an unknown kind it returns steps for both kinds,
/// each labelled. A step that both kinds have is the one for several sprouts, with the text for one sprout appended.
fn chosen(crop: &Crop, seed: Option<Only>, setting: Setting) -> Vec<StepProfile> {
    let of = |seed: Only| {
        let all = crop.steps.iter().filter(move |s| s.is_for(setting.way, seed, setting.climate));
        all.filter(|s| !(setting.has_rootstock && s.raises_rootstock))
    };
    let Some(seed) = seed else {
        let mut all: Vec<StepProfile> = of(Only::SeveralSprouts).cloned().collect();
        for step in &mut all {
            if let Some(other) = of(Only::OneSprout).find(|s| s.key == step.key && s.only.is_some()) {
                step.about = format!("{} Of a seed that sent up one sprout: {}", step.about, other.about);
            } else if step.only.is_some() {
                step.title = format!("{} (a seed that sent up several sprouts)", step.title);
            }
        }
        for step in of(Only::OneSprout).filter(|s| s.only.is_some()) {
            if !all.iter().any(|known| known.key == step.key) {
                let title = format!("{} (a seed that sent up one sprout)", step.title);
                let after = all.iter().rposition(|known| step.after.contains(&known.key));
                all.insert(after.map_or(0, |at| at + 1), StepProfile { title, ..step.clone() });
            }
        }
        return all;
    };
    of(seed).cloned().collect()
}

/// Converts northern months to local ones: south of the equator they shift by six months.
fn local(months: &[u8], south: bool) -> Vec<u8> {
    let mut months: Vec<u8> = months.iter().map(|m| if south { (m + 5) % 12 + 1 } else { *m }).collect();
    months.sort_unstable();
    months.dedup();
    months
}

/// Drafts the steps of a way from the crop's profile; empty if the profile has none.
pub fn draft(crop: &Crop, answer: Answer, setting: Setting) -> Vec<Step> {
    let chosen = chosen(crop, seed_of(answer), setting);
    chosen
        .iter()
        .map(|profile| {
            let wait = profile.wait(crop);
            // A dropped step that raises an available rootstock is not waited for.
            let after: Vec<String> =
                profile.after.iter().filter(|key| chosen.iter().any(|s| &s.key == *key)).cloned().collect();
            let at_once = after.is_empty() && !profile.after.is_empty();
            Step {
                key: profile.key.clone(),
                title: profile.title.clone(),
                about: profile.about.clone(),
                look_for: profile.look_for.clone(),
                if_fails: profile.if_fails.clone(),
                // The wait is dropped, but the span from earliest to latest stays.
                low: if at_once { 0 } else { wait.low },
                high: wait.high.map(|high| if at_once { high - wait.low } else { high }),
                wait: wait.text,
                perishes: profile.fresh.is_some() && !after.is_empty(),
                after,
                months: local(profile.months.of(setting.climate), setting.south),
                cautions: crop
                    .cautions
                    .iter()
                    .filter(|c| profile.cautions.contains(&c.topic))
                    .map(|c| c.text.clone())
                    .collect(),
                origins: origins(wait.origins, profile.origin()),
                remark: profile.note.clone(),
                planned: None,
                not_before: None,
                state: State::Open,
                note: String::new(),
                own: false,
            }
        })
        .collect()
}

/// Appends the origin of the step's text to the origins of its wait, without a duplicate.
fn origins(mut all: Vec<String>, words: &str) -> Vec<String> {
    if !all.iter().any(|o| o == words) {
        all.push(words.to_string());
    }
    all
}

/// Returns the earliest and latest number of years from the start to the first fruit, ignoring seasons. `None`
/// if the crop has no way that ends in fruit.
pub fn years(crop: &Crop, answer: Answer, setting: Setting) -> Option<(f64, Option<f64>)> {
    let start = Date::from_days(0);
    let mut steps = draft(crop, answer, setting);
    for step in &mut steps {
        step.months.clear();
    }
    let at = steps.iter().position(|s| s.key == FIRST_FRUIT)?;
    let dates = *schedule(start, &steps, start).get(at)?;
    #[expect(clippy::cast_precision_loss, reason = "days of a few centuries")]
    let years = |day: Date| ((day.days() - start.days()) as f64 / 365.25 * 100.0).round() / 100.0;
    Some((years(dates.earliest), dates.latest.map(years)))
}

/// Key of the step in which the tree fruits first.
pub const FIRST_FRUIT: &str = "first_fruit";

/// Returns the crop's temperatures for planting out, without storage temperatures.
pub fn temperatures(crop: &Crop) -> Vec<&crate::crop::Timing> {
    crop.timings.iter().filter(|t| t.unit == "°C" && !t.step.contains("storage")).collect()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    fn mango() -> Crop {
        toml::from_str(include_str!("../../../data/crops/mango.toml")).unwrap()
    }

    fn avocado() -> Crop {
        toml::from_str(include_str!("../../../data/crops/avocado.toml")).unwrap()
    }

    fn setting(way: Way, climate: Climate) -> Setting {
        Setting { way, south: false, climate, has_rootstock: false }
    }

    fn day(text: &str) -> Date {
        text.parse().unwrap()
    }

    /// Returns the days from the start to each step when no step is late.
    fn days(steps: &[Step], start: Date) -> BTreeMap<String, (i64, Option<i64>)> {
        let since = |d: Date| d.days() - start.days();
        steps
            .iter()
            .zip(schedule(start, steps, start))
            .map(|(s, d)| (s.key.clone(), (since(d.earliest), d.latest.map(since))))
            .collect()
    }

    /// Compares with the ranges of common practice and with published figures, in days from sowing.
    #[test]
    fn mango_from_seed_in_the_times_that_are_known() {
        let crop = mango();
        let start = day("2027-06-01");
        let steps = draft(&crop, Answer::MostlyTrue, setting(Way::Seed, Climate::Warm));
        let at = days(&steps, start);
        let one = |key: &str| steps.iter().find(|s| s.key == key).unwrap();
        // Germination: 8 to 14 days in warmth (MORTON87); 1 to 2 weeks in common practice.
        assert_eq!((one("sprouts").low, one("sprouts").high), (8, Some(14)));
        assert!(one("sprouts").origins.contains(&"MORTON87".to_string()));
        // Sprouts parted about two weeks later (common practice); lifted after 28 to 31 days (GRIES03).
        assert!(one("separate").low == 14 && at["separate"].0 <= 28 && at["separate"].1.unwrap() >= 31);
        // A bigger pot after 8 to 9 months, into the ground after about another year.
        assert_eq!((one("pot_on").low, one("pot_on").high), (243, Some(274)));
        assert!(one("plant_out").low > 330 && one("plant_out").high.unwrap() < 400);
        assert!(at["plant_out"].0 > 550 && at["plant_out"].0 < 620, "{at:?}");
        // A true seedling may fruit in its fourth year; 6 years (MORTON87). Both origins are kept, without a maximum.
        let fruit = one("first_fruit");
        assert!(fruit.low as f64 / 365.25 >= 3.99 && fruit.low as f64 / 365.25 <= 4.01, "{fruit:?}");
        assert_eq!(fruit.high, None);
        assert_eq!(fruit.origins, ["MORTON87", "common practice"]);
        // 21 days in a cooler climate (MORTON87).
        let cold = draft(&crop, Answer::MostlyTrue, setting(Way::Seed, Climate::Cold));
        let sprouts = cold.iter().find(|s| s.key == "sprouts").unwrap();
        assert_eq!((sprouts.low, sprouts.high), (21, Some(21)));
    }

    #[test]
    fn a_seedling_of_one_sprout_is_not_parted_and_flowers_late() {
        // A seed of unknown kind has the steps of both kinds, each labelled.
        let either = draft(&mango(), Answer::Unknown, setting(Way::Seed, Climate::Warm));
        let title = |key: &str| either.iter().find(|s| s.key == key).map(|s| s.title.clone()).unwrap();
        assert_eq!(title("separate"), "Part the sprouts (a seed that sent up several sprouts)");
        assert_eq!(title("first_flowers"), "First flowers (a seed that sent up one sprout)");
        let fruit = either.iter().find(|s| s.key == "first_fruit").unwrap();
        assert!(fruit.about.contains("Of a seed that sent up one sprout"), "{}", fruit.about);
        let steps = draft(&mango(), Answer::NotTrue, setting(Way::Seed, Climate::Warm));
        assert!(!steps.iter().any(|s| s.key == "separate" || s.key == "judge"));
        let flowers = steps.iter().find(|s| s.key == "first_flowers").unwrap();
        // 6th to 10th year (common practice); flowering to ripe fruit 100 to 150 days (HS2).
        assert_eq!((flowers.low, flowers.high), (2191, Some(3653)));
        let fruit = steps.iter().find(|s| s.key == "first_fruit").unwrap();
        assert_eq!(
            (fruit.low, fruit.high, fruit.after.as_slice()),
            (100, Some(150), &["first_flowers".to_string()][..])
        );
    }

    #[test]
    fn grafted_ways_in_the_times_that_are_known() {
        let crop = mango();
        let start = day("2027-04-01");
        let own = draft(&crop, Answer::NotTrue, setting(Way::OwnRootstock, Climate::Warm));
        let one = |key: &str| own.iter().find(|s| s.key == key).unwrap();
        // Large enough to graft after 6 to 8 months (PD11).
        assert_eq!((one("rootstock_ready").low, one("rootstock_ready").high), (182, Some(244)));
        // Leaves off 7 to 12 days before cutting (DEFOL); wood keeps 6 to 9 days (AH24-72), and the plan uses
        // the fewer.
        assert_eq!((one("cut_scion").low, one("cut_scion").high), (7, Some(12)));
        assert_eq!((one("graft").low, one("graft").high), (0, Some(6)));
        assert!(one("graft").origins.contains(&"AH24-72".to_string()));
        // Bud break after 7.73 to 12.14 days (KHUSHI19).
        assert_eq!((one("bud_break").low, one("bud_break").high), (7, Some(13)));
        // With a rootstock available, the plan does not wait for one to grow.
        let ready = Setting { has_rootstock: true, ..setting(Way::OwnRootstock, Climate::Warm) };
        let ready = draft(&crop, Answer::NotTrue, ready);
        assert!(!ready.iter().any(|s| s.key == "sow"));
        assert_eq!(days(&ready, start)["defoliate"], (0, Some(28)), "its room stays");
        // A nursery tree: first fruit 2 to 5 years after planting (WASI, HS2), flowers by its third year.
        let bought = draft(&crop, Answer::NotTrue, setting(Way::GraftedTree, Climate::Warm));
        let one = |key: &str| bought.iter().find(|s| s.key == key).unwrap();
        assert_eq!((one("first_fruit").low, one("first_fruit").high), (730, Some(1827)));
        assert_eq!(one("first_flowers").high, Some(1096));
    }

    #[test]
    fn winter_scions_of_a_crop_that_is_only_a_file() {
        let apple: Crop =
            toml::from_str(include_str!("../../../../deploy/catalogue-apple/crops/apple.toml")).unwrap();
        assert!(apple.check().is_empty());
        let start = day("2027-09-01");
        let ready = Setting { has_rootstock: true, ..setting(Way::OwnRootstock, Climate::Cold) };
        let steps = draft(&apple, Answer::NotTrue, ready);
        let on = |key: &str| {
            let at = steps.iter().position(|s| s.key == key).unwrap();
            schedule(start, &steps, start)[at]
        };
        // Cut while dormant, and late enough that the wood keeps (60 days, common practice) until the sap rises.
        assert_eq!(on("cut_scion").earliest, day("2028-02-01"));
        assert_eq!(on("graft").earliest, day("2028-04-01"));
        for way in apple.routes.iter().map(|route| route.way) {
            for climate in Climate::ALL {
                assert!(
                    draft(&apple, Answer::NotTrue, setting(way, *climate)).len() >= 4,
                    "{way:?} {climate:?}"
                );
            }
        }
    }

    #[test]
    fn seasons_are_half_a_year_apart() {
        let crop = mango();
        let north = setting(Way::OwnRootstock, Climate::Mild);
        let months = |s: Setting| {
            draft(&crop, Answer::NotTrue, s).into_iter().find(|s| s.key == "defoliate").unwrap().months
        };
        assert_eq!(months(north), [4, 5, 6, 7, 8, 9]);
        assert_eq!(months(Setting { south: true, ..north }), [1, 2, 3, 10, 11, 12]);
        // In a climate with rain seasons no months apply, on neither side of the equator.
        for south in [false, true] {
            assert!(months(Setting { south, climate: Climate::Rains, ..north }).is_empty());
        }
    }

    /// Dates do not jump by half a year across the equator.
    #[test]
    fn a_place_near_the_equator_is_dated_alike_on_both_sides() {
        for (a, b) in [(0.4, -0.4), (9.9, -9.9)] {
            assert_eq!((Climate::guess(a), Climate::guess(b)), (Climate::Rains, Climate::Rains));
        }
        assert_eq!(Climate::guess(10.1), Climate::Warm);
        for crop in [mango(), avocado()] {
            for way in Way::ALL.iter().copied() {
                let of =
                    |south| draft(&crop, Answer::Unknown, Setting { south, ..setting(way, Climate::Rains) });
                assert_eq!(of(false), of(true));
                assert!(of(false).iter().all(|step| step.months.is_empty()));
                let warm = draft(&crop, Answer::Unknown, setting(way, Climate::Warm));
                let keys = |steps: &[Step]| steps.iter().map(|s| s.key.clone()).collect::<Vec<_>>();
                assert_eq!(keys(&of(false)), keys(&warm), "the frost decides which steps there are");
            }
        }
    }
}
