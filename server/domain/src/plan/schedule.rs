//! Calculates the days of a plan's steps in one pass, from what was done, from what the grower set, and from today.

use std::collections::BTreeMap;

use super::{State, Step};
use crate::time::Date;

/// The calculated days of one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dates {
    /// Earliest day.
    pub earliest: Date,
    /// Latest day; `None` if no source gives one.
    pub latest: Option<Date>,
    /// Last day of the season that contains `earliest`, if `latest` lies beyond that season.
    pub first_until: Option<Date>,
    /// First day of the following season, if `latest` lies beyond the first season.
    pub again_from: Option<Date>,
    /// True if the step is open and its latest day is past.
    pub late: bool,
    /// True if the step is open, its earliest day has come, and today is in its season.
    pub due: bool,
    /// First day of the next season, if the step is open and its earliest day has come, but today is out of season.
    pub next_season: Option<Date>,
    /// True if the grower set a day outside the step's months.
    pub out_of_season: bool,
    /// True if the cut material will be dead before the step can be done.
    pub spoilt: bool,
}

/// Returns the first day from `day` on in one of these months; `day` itself if there are none.
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

/// Returns the last day of the run of months that contains `day`; `None` if the season has no end.
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

/// Earliest and latest day on which a step ends; later steps count from it.
type End = (Date, Option<Date>);

/// Returns the earliest and latest end of an open step. Since it is still open, it can end today at the
/// earliest, and only in its season.
fn end_of_open(step: &Step, earliest: Date, latest: Option<Date>, today: Date) -> End {
    let first = earliest.max(today);
    let first = if step.planned.is_some() { first } else { into_season(first, &step.months) };
    (first, latest.map(|day| day.max(first)))
}

/// Returns the days of each step, in order. A done step counts from its day. An overdue step counts from
/// `today`, so that a delay moves all later steps. Months move a step to the next season. Material is cut no
/// earlier than it keeps until its use.
pub fn schedule(start: Date, steps: &[Step], today: Date) -> Vec<Dates> {
    let mut at_key: BTreeMap<&str, usize> = BTreeMap::new();
    let mut ends: Vec<End> = Vec::with_capacity(steps.len());
    let mut all: Vec<Dates> = Vec::with_capacity(steps.len());
    for (at, step) in steps.iter().enumerate() {
        let before: Vec<usize> =
            step.after.iter().filter_map(|key| at_key.get(key.as_str())).copied().collect();
        if step.perishes {
            cut_later(steps, &before, step, today, &mut ends, &mut all);
        }
        let found = dates(start, step, &before, &ends, today);
        let end = match &step.state {
            State::Done { day } => (*day, Some(*day)),
            State::LeftOut { .. } => (found.earliest, found.latest),
            State::Open => end_of_open(step, found.earliest, found.latest, today),
        };
        let spoilt = step.perishes
            && step.state == State::Open
            && before.iter().filter_map(|at| steps.get(*at)).any(|cut| match (&cut.state, step.high) {
                (State::Done { day }, Some(life)) => end.0 > day.plus_days(life),
                (State::Done { .. } | State::Open | State::LeftOut { .. }, _) => false,
            });
        at_key.insert(&step.key, at);
        ends.push(end);
        all.push(Dates { spoilt, ..found });
    }
    all
}

/// Delays a cut if the season of the step that uses it starts after the cut material would be dead.
fn cut_later(
    steps: &[Step],
    before: &[usize],
    step: &Step,
    today: Date,
    ends: &mut [End],
    all: &mut [Dates],
) {
    let Some(life) = step.high else { return };
    for at in before {
        let (Some(cut), Some(end), Some(dates)) = (steps.get(*at), ends.get_mut(*at), all.get_mut(*at))
        else {
            continue;
        };
        if cut.state != State::Open || cut.planned.is_some() {
            continue;
        }
        let season = into_season(end.0.plus_days(step.low), &step.months);
        let needed = into_season(season.plus_days(-life), &cut.months);
        if season > end.0.plus_days(life) && needed <= season {
            dates.earliest = dates.earliest.max(needed);
            dates.latest = dates.latest.map(|day| day.max(dates.earliest));
            (dates.first_until, dates.again_from) = windows(cut, dates.earliest, dates.latest);
            dates.due = dates.due && dates.earliest <= today;
            *end = end_of_open(cut, dates.earliest, dates.latest, today);
        }
    }
}

/// If `latest` lies beyond the season of `earliest`, returns the last day of that season and the first of the next.
fn windows(step: &Step, earliest: Date, latest: Option<Date>) -> (Option<Date>, Option<Date>) {
    if step.planned.is_some() || step.state != State::Open {
        return (None, None);
    }
    let until = end_of_season(earliest, &step.months).filter(|end| latest.is_none_or(|day| day > *end));
    (until, until.map(|day| into_season(day.plus_days(1), &step.months)))
}

fn dates(start: Date, step: &Step, before: &[usize], ends: &[End], today: Date) -> Dates {
    let before: Vec<&End> = before.iter().filter_map(|at| ends.get(*at)).collect();
    let from = before.iter().map(|(earliest, _)| *earliest).max().unwrap_or(start);
    // Without a latest day of a predecessor, this step has none either.
    let until = before
        .iter()
        .map(|(_, latest)| *latest)
        .reduce(|a, b| a.zip(b).map(|(a, b)| a.max(b)))
        .unwrap_or(Some(start));
    let held = |day: Date| step.not_before.map_or(day, |not_before| day.max(not_before));
    let mut earliest = into_season(held(from.plus_days(step.low)), &step.months);
    // The latest case: all predecessors take longest; the step starts then and ends within that season.
    let mut latest = until.zip(step.high).map(|(until, high)| {
        let begins = into_season(held(until.plus_days(step.low)), &step.months);
        let ends = begins.plus_days((high - step.low).max(0));
        let ends = end_of_season(begins, &step.months).map_or(ends, |end| ends.min(end));
        // Ends before the cut material is dead.
        if step.perishes { ends.min(until.plus_days(high)) } else { ends }
    });
    if let Some(day) = step.planned {
        (earliest, latest) = (day, Some(day));
    }
    if let State::Done { day } = step.state {
        (earliest, latest) = (day, Some(day));
    }
    let latest = latest.map(|day| day.max(earliest));
    let open = step.state == State::Open;
    let in_season = |day: Date| step.months.is_empty() || step.months.contains(&day.month());
    let overdue = open && earliest <= today;
    let next_season =
        (overdue && step.planned.is_none() && !in_season(today)).then(|| into_season(today, &step.months));
    let (first_until, again_from) = windows(step, earliest, latest);
    Dates {
        earliest,
        latest,
        first_until,
        again_from,
        late: open && latest.is_some_and(|day| day < today),
        due: overdue && next_season.is_none(),
        next_season,
        out_of_season: open && step.planned.is_some_and(|day| !in_season(day)),
        spoilt: false,
    }
}

#[cfg(test)]
pub(super) mod tests {
    use proptest::prelude::*;

    use super::*;

    fn day(text: &str) -> Date {
        text.parse().unwrap()
    }

    /// Returns a step with only a key, a wait and months.
    pub(in crate::plan) fn plain(
        key: &str,
        after: &[&str],
        low: i64,
        high: Option<i64>,
        months: &[u8],
    ) -> Step {
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
            not_before: None,
            perishes: false,
            state: State::Open,
            note: String::new(),
            own: false,
        }
    }

    /// An overdue step waits for its next season, and so do later steps. A step done before the plan's start
    /// counts from its day.
    #[test]
    fn a_missed_season_is_not_made_up_in_winter() {
        let start = day("2027-05-01");
        let steps =
            vec![plain("strip", &[], 0, Some(28), &[5, 6, 7, 8]), plain("cut", &["strip"], 7, Some(12), &[])];
        let missed = schedule(start, &steps, day("2027-12-01"));
        assert!(missed[0].late && !missed[0].due);
        assert_eq!(missed[0].next_season, Some(day("2028-05-01")));
        assert_eq!(missed[1].earliest, day("2028-05-08"));
        let mut early = steps;
        early[0].state = State::Done { day: day("2027-04-01") };
        let found = schedule(start, &early, day("2027-04-02"));
        assert_eq!((found[1].earliest, found[1].latest), (day("2027-04-08"), Some(day("2027-04-13"))));
    }

    /// A range that spans a closed season has two windows.
    #[test]
    fn two_windows_of_one_step() {
        let start = day("2026-11-25");
        let steps = vec![
            plain("get", &[], 0, Some(61), &[]),
            plain("plant", &["get"], 0, Some(61), &[9, 10, 11, 12]),
        ];
        let found = schedule(start, &steps, start)[1];
        assert_eq!((found.earliest, found.first_until), (start, Some(day("2026-12-31"))));
        assert_eq!((found.again_from, found.latest), (Some(day("2027-09-01")), Some(day("2027-11-01"))));
    }

    /// Wood that keeps sixty days is cut at most sixty days before its season. Wood cut too early counts as dead.
    #[test]
    fn nothing_is_cut_to_die_before_its_season() {
        let start = day("2027-12-01");
        let mut steps = vec![
            plain("cut", &[], 0, Some(90), &[12, 1, 2, 3]),
            Step { perishes: true, ..plain("graft", &["cut"], 0, Some(60), &[4, 5]) },
        ];
        let found = schedule(start, &steps, start);
        assert_eq!(found[0].earliest, day("2028-02-01"));
        assert_eq!((found[1].earliest, found[1].spoilt), (day("2028-04-01"), false));
        assert!(found[1].latest.unwrap() <= found[0].latest.unwrap().plus_days(60));
        steps[0].state = State::Done { day: day("2027-12-05") };
        assert!(schedule(start, &steps, day("2028-01-20"))[1].spoilt);
        steps[0].state = State::Done { day: day("2028-03-05") };
        let kept = schedule(start, &steps, day("2028-03-06"))[1];
        assert!(!kept.spoilt && kept.latest == Some(day("2028-05-04")));
        assert!(schedule(start, &steps, day("2028-05-05"))[1].spoilt, "sixty days are over");
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
        // Not sown by 10 April: later steps count from today.
        let late = on(&steps, "2027-04-10");
        assert!(late[0].late);
        assert_eq!((late[0].earliest, late[0].latest), (start, Some(day("2027-03-15"))), "as it was planned");
        assert_eq!((late[1].earliest, late[1].latest), (day("2027-04-18"), Some(day("2027-04-24"))));
        // Sown on 5 April.
        steps[0].state = State::Done { day: day("2027-04-05") };
        let done = on(&steps, "2027-04-10");
        assert_eq!((done[1].earliest, done[1].latest), (day("2027-04-13"), Some(day("2027-04-19"))));
        assert!(!done[0].late && !done[0].due);
        // A day set by the grower.
        steps[1].planned = Some(day("2027-04-20"));
        assert_eq!(on(&steps, "2027-04-10")[2].earliest, day("2027-05-04"));
        // Steps after a left-out step still wait.
        steps[1].state = State::LeftOut { why: String::new() };
        assert_eq!(on(&steps, "2027-04-10")[2].earliest, day("2027-05-04"));
    }

    #[test]
    fn a_step_waits_for_its_season_with_its_room() {
        let start = day("2027-10-10");
        let spring = |low, high| vec![plain("graft", &[], low, high, &[4, 5, 6])];
        let dates = schedule(start, &spring(0, Some(30)), start)[0];
        assert_eq!((dates.earliest, dates.latest), (day("2028-04-01"), Some(day("2028-05-01"))));
        // Never past the end of the season.
        let dates = schedule(start, &spring(0, Some(170)), start)[0];
        assert_eq!((dates.earliest, dates.latest), (day("2028-04-01"), Some(day("2028-06-30"))));
        // A season across New Year.
        let winter = vec![plain("cut", &[], 0, Some(200), &[12, 1, 2])];
        let dates = schedule(start, &winter, start)[0];
        assert_eq!((dates.earliest, dates.latest), (day("2027-12-01"), Some(day("2028-02-29"))));
        let mut set = spring(0, None);
        set[0].planned = Some(day("2027-11-01"));
        let dates = schedule(start, &set, start)[0];
        assert!(dates.out_of_season && dates.earliest == day("2027-11-01"));
    }

    /// Generates steps with days on both sides of the start, which is day 20,000.
    fn any_steps() -> impl Strategy<Value = Vec<Step>> {
        let one = (
            0..400i64,
            prop::option::of(0..400i64),
            prop::collection::vec(1..=12u8, 0..4),
            any::<[u8; 2]>(),
            0..4u8,
        );
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
                    0 => State::Done { day: Date::from_days(19_800 + low) },
                    1 => State::LeftOut { why: String::new() },
                    2 => {
                        step.planned = Some(Date::from_days(19_800 + low));
                        State::Open
                    }
                    _ => State::Open,
                };
                steps.push(step);
            }
            steps
        })
    }

    proptest! {
        /// The earliest day is never after the latest. Open steps lie in their season and after their
        /// predecessors. A later `today` never makes a step earlier.
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
                if step.state != State::Open || step.planned.is_some() { continue }
                for key in &step.after {
                    let before = steps.iter().position(|s| &s.key == key).unwrap();
                    prop_assert!(d.earliest.days() >= dates[before].earliest.days() + step.low);
                }
                for day in [Some(d.earliest), d.latest, d.first_until, d.again_from].into_iter().flatten() {
                    prop_assert!(step.months.is_empty() || step.months.contains(&day.month()), "{day}");
                }
                if let Some(day) = d.next_season {
                    prop_assert!(d.earliest <= now && day > now && step.months.contains(&day.month()));
                }
            }
        }
    }
}
