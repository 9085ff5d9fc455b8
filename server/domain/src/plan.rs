//! Dated plans: the steps of a way to a tree, each with its earliest and its latest day. A plan keeps what was done
//! and what the grower set; the days follow from that and from `today`, in one pass over its steps.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::{
    crop::{Climate, Crop, Only, Way},
    field::{FieldError, Fields},
    ids::{AccountId, CultivarId, PlanId},
    limits,
    seed::Answer,
    time::{Date, Timestamp},
};

/// Where and how: what the steps of a plan are made from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setting {
    /// The way to a tree.
    pub way: Way,
    /// South of the equator.
    pub south: bool,
    /// The coarse climate.
    pub climate: Climate,
    /// A rootstock large enough to graft is at hand.
    pub has_rootstock: bool,
}

/// Where a step stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "state")]
pub enum State {
    /// To do.
    Open,
    /// Done.
    Done {
        /// On which day.
        day: Date,
    },
    /// Left out; what follows it waits as if it had been done in its time.
    LeftOut {
        /// Why; may be empty.
        why: String,
    },
}

/// A step of somebody's plan: what the profile said when it was made, and what became of it. Later changes of the
/// profile do not move it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// The key, unique in the plan.
    pub key: String,
    /// A few words.
    pub title: String,
    /// What to do.
    pub about: String,
    /// What to look for.
    pub look_for: String,
    /// What to do when it fails.
    pub if_fails: String,
    /// Keys of earlier steps that it follows; none: the start.
    pub after: Vec<String>,
    /// Days at least that it waits.
    pub low: i64,
    /// Days at most.
    pub high: Option<i64>,
    /// The wait in words.
    pub wait: String,
    /// Months in which it is done where the grower is, 1 to 12; none: any.
    pub months: Vec<u8>,
    /// What to be careful with.
    pub cautions: Vec<String>,
    /// Sources' keys, `common practice`, or `your own step`.
    pub origins: Vec<String>,
    /// What to bear in mind.
    pub remark: String,
    /// The day that the grower set for it.
    pub planned: Option<Date>,
    /// Where it stands.
    #[serde(flatten)]
    pub state: State,
    /// The grower's own words.
    pub note: String,
    /// Added by the grower.
    pub own: bool,
}

/// A plan on file.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Its id.
    pub id: PlanId,
    /// Whose.
    pub grower: AccountId,
    /// The cultivar wanted.
    pub cultivar: CultivarId,
    /// The crop's key.
    pub crop: String,
    /// What the grower calls it.
    pub title: String,
    /// The grower's own words.
    pub note: String,
    /// What its steps were made from.
    pub setting: Setting,
    /// The first day.
    pub start: Date,
    /// The steps, each after those that it follows.
    pub steps: Vec<Step>,
    /// When it was made.
    pub created_at: Timestamp,
    /// When it was last changed.
    pub updated_at: Timestamp,
    /// Counts up with each change.
    pub version: i64,
}

/// The days of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dates {
    /// Not before.
    pub earliest: Date,
    /// Not after; `None`: nobody says.
    pub latest: Option<Date>,
    /// Open, and its latest day is past.
    pub late: bool,
    /// Open, and its earliest day has come.
    pub due: bool,
    /// The day that was set lies outside the months of the step.
    pub out_of_season: bool,
}

/// The kind of seed that steps are chosen by: only a cultivar whose seed gives a new plant has one sprout.
pub const fn seed_of(answer: Answer) -> Only {
    match answer {
        Answer::NotTrue => Only::OneSprout,
        Answer::ComesTrue
        | Answer::OftenTrue
        | Answer::PartlyTrue
        | Answer::MostlyOffType
        | Answer::BothKinds
        | Answer::Contested
        | Answer::Doubtful
        | Answer::Unknown => Only::SeveralSprouts,
    }
}

/// Months north of the equator as they fall in the south.
fn local(months: &[u8], south: bool) -> Vec<u8> {
    let mut months: Vec<u8> =
        months.iter().map(|m| if south { (m + 5) % 12 + 1 } else { *m }).collect();
    months.sort_unstable();
    months.dedup();
    months
}

/// The steps of a way, from the crop's profile; none where it has none.
pub fn draft(crop: &Crop, answer: Answer, setting: Setting) -> Vec<Step> {
    let seed = seed_of(answer);
    let chosen: Vec<_> = crop
        .steps
        .iter()
        .filter(|s| s.is_for(setting.way, seed, setting.climate))
        .filter(|s| !(setting.has_rootstock && s.raises_rootstock))
        .collect();
    chosen
        .iter()
        .map(|profile| {
            let wait = profile.wait(crop);
            // what raises a rootstock at hand is not waited for
            let after: Vec<String> =
                profile.after.iter().filter(|key| chosen.iter().any(|s| &s.key == *key)).cloned().collect();
            let at_once = after.is_empty() && !profile.after.is_empty();
            Step {
                key: profile.key.clone(),
                title: profile.title.clone(),
                about: profile.about.clone(),
                look_for: profile.look_for.clone(),
                if_fails: profile.if_fails.clone(),
                low: if at_once { 0 } else { wait.low },
                high: if at_once { Some(0) } else { wait.high },
                wait: if at_once { "at once".into() } else { wait.text },
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
                state: State::Open,
                note: String::new(),
                own: false,
            }
        })
        .collect()
}

/// The origins of a wait and of the words beside it, each once.
fn origins(mut all: Vec<String>, words: &str) -> Vec<String> {
    if !all.iter().any(|o| o == words) {
        all.push(words.to_string());
    }
    all
}

/// The first day from `day` on in one of these months; `day` itself where there are none.
fn into_season(day: Date, months: &[u8]) -> Date {
    if months.is_empty() || months.contains(&day.month()) {
        return day;
    }
    let (mut year, mut month) = (day.year(), i32::from(day.month()));
    for _ in 0..12 {
        (year, month) = if month == 12 { (year + 1, 1) } else { (year, month + 1) };
        if u8::try_from(month).is_ok_and(|m| months.contains(&m)) {
            return Date::new(year, month, 1).unwrap_or(day);
        }
    }
    day
}

/// The last day of the run of months that `day` lies in.
fn end_of_season(day: Date, months: &[u8]) -> Option<Date> {
    if months.is_empty() || months.len() >= 12 {
        return None;
    }
    let mut first = Date::new(day.year(), i32::from(day.month()), 1).ok()?;
    for _ in 0..12 {
        if !months.contains(&first.month()) {
            return Some(first.plus_days(-1));
        }
        let next = first.plus_days(31);
        first = Date::new(next.year(), i32::from(next.month()), 1).ok()?;
    }
    None
}

/// The days of each step, in their order. What is done counts from the day it was done; what is overdue counts from
/// `today`, so that a slip moves what follows; months move a step to the next season.
pub fn schedule(start: Date, steps: &[Step], today: Date) -> Vec<Dates> {
    // what those that follow count from
    let mut ends: BTreeMap<&str, (Date, Option<Date>)> = BTreeMap::new();
    let mut all = Vec::with_capacity(steps.len());
    for step in steps {
        let before: Vec<_> = step.after.iter().filter_map(|key| ends.get(key.as_str())).collect();
        let from = before.iter().map(|(earliest, _)| *earliest).max().unwrap_or(start);
        // where nobody says when the last one ends, nobody says when this one does
        let until = if before.is_empty() {
            Some(start)
        } else {
            before.iter().map(|(_, latest)| *latest).try_fold(start, |most, day| day.map(|d| most.max(d)))
        };
        let mut earliest = into_season(from.plus_days(step.low), &step.months);
        // where all before it took its longest, it begins then, and has its room as far as the season goes
        let mut latest = until.zip(step.high).map(|(until, high)| {
            let begins = into_season(until.plus_days(step.low), &step.months);
            let ends = begins.plus_days((high - step.low).max(0));
            end_of_season(begins, &step.months).map_or(ends, |end| ends.min(end))
        });
        if let Some(day) = step.planned {
            (earliest, latest) = (day, Some(day));
        }
        let latest = latest.map(|day| day.max(earliest));
        let (open, dates, end) = match &step.state {
            State::Done { day } => (false, (*day, Some(*day)), (*day, Some(*day))),
            State::LeftOut { .. } => (false, (earliest, latest), (earliest, latest)),
            State::Open => {
                // it was not done yesterday, so it can be done today at the earliest
                let end = (earliest.max(today), latest.map(|day| day.max(today)));
                (true, (earliest, latest), end)
            }
        };
        ends.insert(&step.key, end);
        all.push(Dates {
            earliest: dates.0,
            latest: dates.1,
            late: open && dates.1.is_some_and(|day| day < today),
            due: open && dates.0 <= today,
            out_of_season: open
                && step.planned.is_some_and(|day| {
                    !step.months.is_empty() && !step.months.contains(&day.month())
                }),
        });
    }
    all
}

/// What is changed in a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Edit {
    /// It was done.
    Done {
        /// On which day.
        day: Date,
    },
    /// It is to do after all.
    Reopen,
    /// It is left out.
    LeaveOut {
        /// Why.
        why: String,
    },
    /// It will be done on this day; `None`: on the days that follow from the plan.
    Plan {
        /// Which day.
        day: Option<Date>,
    },
    /// The grower's words.
    Note {
        /// The words; none take them away.
        text: String,
    },
}

/// Furthest that a step may be set ahead of today, and that something can have been done before.
const YEARS_AHEAD: i64 = 60;
const YEARS_BACK: i64 = 60;
const DAYS_A_YEAR: i64 = 366;

fn known_day(fields: &mut Fields, field: &str, day: Date, today: Date, until: Date) {
    let from = today.plus_days(-YEARS_BACK * DAYS_A_YEAR);
    if day < from || day > until {
        fields.wrong(field, format!("a day from {from} to {until} expected, {day} found"));
    }
}

/// Checks the first day of a plan.
pub fn check_start(fields: &mut Fields, field: &str, start: Date, today: Date) {
    known_day(fields, field, start, today, today.plus_days(YEARS_AHEAD * DAYS_A_YEAR));
}

impl Step {
    /// The step after an edit.
    ///
    /// # Errors
    /// What is wrong with the edit.
    pub fn edited(mut self, edit: &Edit, today: Date) -> Result<Self, Vec<FieldError>> {
        let mut fields = Fields::new();
        match edit {
            Edit::Done { day } => {
                // a day of slack: the grower's day may have begun where the server's has not
                known_day(&mut fields, "day", *day, today, today.plus_days(1));
                self.state = State::Done { day: *day };
            }
            Edit::Reopen => self.state = State::Open,
            Edit::LeaveOut { why } => {
                let why = fields.text("reason", why, 0, limits::REASON_CHARS_MAX).unwrap_or_default();
                self.state = State::LeftOut { why };
            }
            Edit::Plan { day } => {
                if let Some(day) = day {
                    check_start(&mut fields, "day", *day, today);
                }
                self.planned = *day;
            }
            Edit::Note { text } => {
                self.note = fields.text("note", text, 0, limits::PLAN_NOTE_CHARS_MAX).unwrap_or_default();
            }
        }
        fields.finish(Some(self))
    }
}

/// A step that the grower adds.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnStep {
    /// A few words.
    pub title: String,
    /// What to do.
    pub about: String,
    /// On this day, or
    pub day: Option<Date>,
    /// so many days
    pub wait_days: i64,
    /// after this step; empty: after the start.
    pub after: String,
}

/// The steps with one of the grower's own behind the last that it follows; its key is made from its number.
///
/// # Errors
/// What is wrong with it.
pub fn with_own(mut steps: Vec<Step>, own: &OwnStep, today: Date) -> Result<(Vec<Step>, String), Vec<FieldError>> {
    let mut fields = Fields::new();
    let title = fields.line("title", &own.title, 1, limits::PLAN_TITLE_CHARS_MAX);
    let about = fields.text("about", &own.about, 0, limits::PLAN_NOTE_CHARS_MAX);
    let place = if own.after.is_empty() {
        Some(0)
    } else {
        steps.iter().position(|s| s.key == own.after).map(|at| at + 1)
    };
    if place.is_none() {
        fields.wrong("after", format!("the key of a step of this plan expected, {:?} found", own.after));
    }
    if let Some(day) = own.day {
        check_start(&mut fields, "day", day, today);
    }
    if !(0..=YEARS_AHEAD * DAYS_A_YEAR).contains(&own.wait_days) {
        fields.wrong("wait_days", format!("0 to {} expected", YEARS_AHEAD * DAYS_A_YEAR));
    }
    if steps.len() >= limits::PLAN_STEPS_MAX {
        fields.wrong("title", format!("a plan of at most {} steps expected", limits::PLAN_STEPS_MAX));
    }
    let key = (1..).map(|n: u32| format!("own_{n}")).find(|key| !steps.iter().any(|s| &s.key == key));
    let (title, about) = fields.finish(title.zip(about))?;
    let key = key.unwrap_or_default();
    let step = Step {
        key: key.clone(),
        title,
        about,
        look_for: String::new(),
        if_fails: String::new(),
        after: Some(own.after.clone()).filter(|after| !after.is_empty()).into_iter().collect(),
        low: own.wait_days,
        high: Some(own.wait_days),
        wait: String::new(),
        months: Vec::new(),
        cautions: Vec::new(),
        origins: vec!["your own step".into()],
        remark: String::new(),
        planned: own.day,
        state: State::Open,
        note: String::new(),
        own: true,
    };
    steps.insert(place.unwrap_or(steps.len()).min(steps.len()), step);
    Ok((steps, key))
}

/// The steps without one of the grower's own; what followed it follows what it followed.
///
/// # Errors
/// There is no such step, or it is one of the crop's: those are left out instead.
pub fn without_own(mut steps: Vec<Step>, key: &str) -> Result<Vec<Step>, FieldError> {
    let wrong = |expected: &str| FieldError::new("step_key", expected);
    let Some(at) = steps.iter().position(|s| s.key == key) else {
        return Err(wrong("the key of a step of this plan expected"));
    };
    let step = steps.remove(at);
    if !step.own {
        return Err(wrong("a step of your own expected; a step of the crop can be left out"));
    }
    for other in &mut steps {
        if other.after.iter().any(|k| k == key) {
            other.after.retain(|k| k != key);
            other.after.extend(step.after.iter().filter(|k| **k != other.key).cloned());
            other.after.dedup();
        }
    }
    Ok(steps)
}

/// The temperatures that a crop's profile tells, for whoever plants it out.
pub fn temperatures(crop: &Crop) -> Vec<&crate::crop::Timing> {
    crop.timings.iter().filter(|t| t.unit == "°C" && !t.step.contains("storage")).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn mango() -> Crop {
        toml::from_str(include_str!("../../data/crops/mango.toml")).unwrap()
    }

    fn setting(way: Way, climate: Climate) -> Setting {
        Setting { way, south: false, climate, has_rootstock: false }
    }

    fn day(text: &str) -> Date {
        text.parse().unwrap()
    }

    /// Days from the start to each step, where nothing is late.
    fn days(steps: &[Step], start: Date) -> BTreeMap<String, (i64, Option<i64>)> {
        let since = |d: Date| d.days() - start.days();
        steps
            .iter()
            .zip(schedule(start, steps, start))
            .map(|(s, d)| (s.key.clone(), (since(d.earliest), d.latest.map(since))))
            .collect()
    }

    /// The brackets of common practice, and the published figures, as days from the sowing.
    #[test]
    fn mango_from_seed_in_the_times_that_are_known() {
        let crop = mango();
        let start = day("2027-06-01");
        let steps = draft(&crop, Answer::OftenTrue, setting(Way::Seed, Climate::Warm));
        let at = days(&steps, start);
        let one = |key: &str| steps.iter().find(|s| s.key == key).unwrap();
        // germination: 8 to 14 days in warmth (MORTON87); 1 to 2 weeks in common practice
        assert_eq!((one("sprouts").low, one("sprouts").high), (8, Some(14)));
        assert!(one("sprouts").origins.contains(&"MORTON87".to_string()));
        // parted about two weeks later (common practice); lifted after 28 to 31 days (GRIES03)
        assert!(one("separate").low == 14 && at["separate"].0 <= 28 && at["separate"].1.unwrap() >= 31);
        // a bigger pot after 8 to 9 months, into the ground after about another year
        assert_eq!((one("pot_on").low, one("pot_on").high), (243, Some(274)));
        assert!(one("plant_out").low > 330 && one("plant_out").high.unwrap() < 400);
        assert!(at["plant_out"].0 > 550 && at["plant_out"].0 < 620, "{at:?}");
        // a true seedling may fruit in its fourth year; 6 years (MORTON87): both origins, open above
        let fruit = one("first_fruit");
        assert!(fruit.low as f64 / 365.25 >= 3.99 && fruit.low as f64 / 365.25 <= 4.01, "{fruit:?}");
        assert_eq!(fruit.high, None);
        assert_eq!(fruit.origins, ["MORTON87", "common practice"]);
        // 21 days in a cooler climate (MORTON87)
        let cold = draft(&crop, Answer::OftenTrue, setting(Way::Seed, Climate::Cold));
        let sprouts = cold.iter().find(|s| s.key == "sprouts").unwrap();
        assert_eq!((sprouts.low, sprouts.high), (21, Some(21)));
    }

    #[test]
    fn a_seedling_of_one_sprout_is_not_parted_and_flowers_late() {
        let steps = draft(&mango(), Answer::NotTrue, setting(Way::Seed, Climate::Warm));
        assert!(!steps.iter().any(|s| s.key == "separate" || s.key == "judge"));
        let flowers = steps.iter().find(|s| s.key == "first_flowers").unwrap();
        // 6th to 10th year (common practice); flowering to ripe fruit 100 to 150 days (HS2)
        assert_eq!((flowers.low, flowers.high), (2191, Some(3653)));
        let fruit = steps.iter().find(|s| s.key == "first_fruit").unwrap();
        assert_eq!((fruit.low, fruit.high, fruit.after.as_slice()), (100, Some(150), &["first_flowers".to_string()][..]));
    }

    #[test]
    fn grafted_ways_in_the_times_that_are_known() {
        let crop = mango();
        let start = day("2027-04-01");
        let own = draft(&crop, Answer::NotTrue, setting(Way::OwnRootstock, Climate::Warm));
        let one = |key: &str| own.iter().find(|s| s.key == key).unwrap();
        // large enough to graft after 6 to 8 months (PD11)
        assert_eq!((one("rootstock_ready").low, one("rootstock_ready").high), (182, Some(244)));
        // leaves off 7 to 12 days before cutting (DEFOL); wood keeps 6 to 9 days (AH24-72), the fewer is planned with
        assert_eq!((one("cut_scion").low, one("cut_scion").high), (7, Some(12)));
        assert_eq!((one("graft").low, one("graft").high), (0, Some(6)));
        assert!(one("graft").origins.contains(&"AH24-72".to_string()));
        // bud break after 7.73 to 12.14 days (KHUSHI19)
        assert_eq!((one("bud_break").low, one("bud_break").high), (7, Some(13)));
        // with a rootstock at hand the months of raising it are not waited for
        let ready = Setting { has_rootstock: true, ..setting(Way::OwnRootstock, Climate::Warm) };
        let ready = draft(&crop, Answer::NotTrue, ready);
        assert!(!ready.iter().any(|s| s.key == "sow"));
        assert_eq!(days(&ready, start)["defoliate"].0, 0);
        // a nursery tree: first fruit 2 to 5 years after planting (WASI, HS2), flowers by its third year
        let bought = draft(&crop, Answer::NotTrue, setting(Way::GraftedTree, Climate::Warm));
        let one = |key: &str| bought.iter().find(|s| s.key == key).unwrap();
        assert_eq!((one("first_fruit").low, one("first_fruit").high), (730, Some(1827)));
        assert_eq!(one("first_flowers").high, Some(1096));
    }

    #[test]
    fn winter_scions_of_a_crop_that_is_only_a_file() {
        let apple: Crop =
            toml::from_str(include_str!("../../../deploy/catalogue-apple/crops/apple.toml")).unwrap();
        assert!(apple.check().is_empty());
        let start = day("2027-09-01");
        let ready = Setting { has_rootstock: true, ..setting(Way::OwnRootstock, Climate::Cold) };
        let steps = draft(&apple, Answer::NotTrue, ready);
        let on = |key: &str| {
            let at = steps.iter().position(|s| s.key == key).unwrap();
            schedule(start, &steps, start)[at]
        };
        // cut while the tree sleeps, kept cold, grafted as the sap rises
        assert_eq!(on("cut_scion").earliest, day("2027-12-01"));
        assert_eq!(on("graft").earliest, day("2028-04-01"));
        for way in Way::ALL {
            for climate in Climate::ALL {
                assert!(draft(&apple, Answer::NotTrue, setting(*way, *climate)).len() >= 4, "{way:?} {climate:?}");
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
    }

    fn plain(key: &str, after: &[&str], low: i64, high: Option<i64>, months: &[u8]) -> Step {
        Step {
            key: key.into(),
            title: key.into(),
            about: String::new(),
            look_for: String::new(),
            if_fails: String::new(),
            after: after.iter().map(ToString::to_string).collect(),
            low,
            high,
            wait: String::new(),
            months: months.to_vec(),
            cautions: Vec::new(),
            origins: Vec::new(),
            remark: String::new(),
            planned: None,
            state: State::Open,
            note: String::new(),
            own: false,
        }
    }

    #[test]
    fn what_slips_moves_the_rest_and_what_was_done_counts_from_its_day() {
        let start = day("2027-03-01");
        let mut steps = vec![
            plain("sow", &[], 0, Some(14), &[]),
            plain("sprouts", &["sow"], 8, Some(14), &[]),
            plain("part", &["sprouts"], 14, Some(21), &[]),
        ];
        let on = |steps: &[Step], today: &str| schedule(start, steps, day(today));
        let fresh = on(&steps, "2027-03-01");
        assert_eq!((fresh[2].earliest, fresh[2].latest), (day("2027-03-23"), Some(day("2027-04-19"))));
        assert!(fresh[0].due && !fresh[0].late && !fresh[1].due);
        // not sown by 10 April: everything waits for today
        let late = on(&steps, "2027-04-10");
        assert!(late[0].late);
        assert_eq!((late[0].earliest, late[0].latest), (start, Some(day("2027-03-15"))), "as it was planned");
        assert_eq!((late[1].earliest, late[1].latest), (day("2027-04-18"), Some(day("2027-04-24"))));
        // sown on 5 April after all
        steps[0].state = State::Done { day: day("2027-04-05") };
        let done = on(&steps, "2027-04-10");
        assert_eq!((done[1].earliest, done[1].latest), (day("2027-04-13"), Some(day("2027-04-19"))));
        assert!(!done[0].late && !done[0].due);
        // a day of one's own
        steps[1].planned = Some(day("2027-04-20"));
        assert_eq!(on(&steps, "2027-04-10")[2].earliest, day("2027-05-04"));
        // left out: what follows waits all the same
        steps[1].state = State::LeftOut { why: String::new() };
        assert_eq!(on(&steps, "2027-04-10")[2].earliest, day("2027-05-04"));
    }

    #[test]
    fn a_step_waits_for_its_season_with_its_room() {
        let start = day("2027-10-10");
        let spring = |low, high| vec![plain("graft", &[], low, high, &[4, 5, 6])];
        let dates = schedule(start, &spring(0, Some(30)), start)[0];
        assert_eq!((dates.earliest, dates.latest), (day("2028-04-01"), Some(day("2028-05-01"))));
        // never past the end of the season
        let dates = schedule(start, &spring(0, Some(170)), start)[0];
        assert_eq!((dates.earliest, dates.latest), (day("2028-04-01"), Some(day("2028-06-30"))));
        // over New Year
        let winter = vec![plain("cut", &[], 0, Some(200), &[12, 1, 2])];
        let dates = schedule(start, &winter, start)[0];
        assert_eq!((dates.earliest, dates.latest), (day("2027-12-01"), Some(day("2028-02-29"))));
        let mut set = spring(0, None);
        set[0].planned = Some(day("2027-11-01"));
        let dates = schedule(start, &set, start)[0];
        assert!(dates.out_of_season && dates.earliest == day("2027-11-01"));
    }

    #[test]
    fn own_steps_come_and_go() {
        let today = day("2027-03-01");
        let steps = vec![plain("sow", &[], 0, Some(0), &[]), plain("sprouts", &["sow"], 8, Some(14), &[])];
        let own = OwnStep {
            title: "Shade cloth".into(),
            about: String::new(),
            day: None,
            wait_days: 3,
            after: "sow".into(),
        };
        let (steps, key) = with_own(steps, &own, today).unwrap();
        assert_eq!(steps.iter().map(|s| s.key.as_str()).collect::<Vec<_>>(), ["sow", "own_1", "sprouts"]);
        let (steps, second) = with_own(steps, &OwnStep { after: key.clone(), ..own.clone() }, today).unwrap();
        let dates = schedule(today, &steps, today);
        assert_eq!(dates[2].earliest, day("2027-03-07"));
        let steps = without_own(steps, &key).unwrap();
        assert_eq!(steps.iter().find(|s| s.key == second).unwrap().after, ["sow"]);
        assert!(without_own(steps.clone(), "sprouts").is_err() && without_own(steps.clone(), "x").is_err());
        let wrong = OwnStep { title: String::new(), wait_days: -1, after: "x".into(), ..own };
        let wrong: Vec<String> = with_own(steps, &wrong, today).unwrap_err().into_iter().map(|e| e.field).collect();
        assert_eq!(wrong, ["title", "after", "wait_days"]);
    }

    fn any_steps() -> impl Strategy<Value = Vec<Step>> {
        let one = (0..400i64, prop::option::of(0..400i64), prop::collection::vec(1..=12u8, 0..4), any::<[u8; 2]>(), 0..4u8);
        prop::collection::vec(one, 1..12).prop_map(|rows| {
            let mut steps: Vec<Step> = Vec::new();
            for (at, (low, more, months, before, state)) in rows.into_iter().enumerate() {
                let after: Vec<String> = before
                    .iter()
                    .filter(|_| at > 0)
                    .map(|b| format!("s{}", usize::from(*b) % at.max(1)))
                    .collect();
                let after: Vec<&str> = after.iter().map(String::as_str).collect();
                let mut step = plain(&format!("s{at}"), &after, low, more.map(|m| low + m), &months);
                step.state = match state {
                    0 => State::Done { day: Date::from_days(20_000 + low) },
                    1 => State::LeftOut { why: String::new() },
                    _ => State::Open,
                };
                steps.push(step);
            }
            steps
        })
    }

    proptest! {
        /// Earliest never after latest; open steps lie in their season and after what they follow; a later today
        /// never makes a step earlier.
        #[test]
        fn days_are_in_order(steps in any_steps(), today in 19_000..22_000i64, later in 0..500i64) {
            let start = Date::from_days(20_000);
            let now = Date::from_days(today);
            let dates = schedule(start, &steps, now);
            let then = schedule(start, &steps, now.plus_days(later));
            for (at, (step, d)) in steps.iter().zip(&dates).enumerate() {
                prop_assert!(d.latest.is_none_or(|l| l >= d.earliest));
                prop_assert!(then[at].earliest >= d.earliest);
                prop_assert!(then[at].latest.zip(d.latest).is_none_or(|(t, l)| t >= l));
                if step.state != State::Open { continue }
                for key in &step.after {
                    let before = steps.iter().position(|s| &s.key == key).unwrap();
                    prop_assert!(d.earliest.days() >= dates[before].earliest.days() + step.low);
                }
                for d in [Some(d.earliest), d.latest].into_iter().flatten() {
                    prop_assert!(step.months.is_empty() || step.months.contains(&d.month()), "{d}");
                }
            }
        }
    }
}
