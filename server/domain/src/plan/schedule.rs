//! The days of a plan's steps, in one pass: they follow from what was done, from what the grower set, and from today.

use std::collections::BTreeMap;

use super::{State, Step};
use crate::time::Date;

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
                && step
                    .planned
                    .is_some_and(|day| !step.months.is_empty() && !step.months.contains(&day.month())),
        });
    }
    all
}

#[cfg(test)]
pub(super) mod tests {
    use proptest::prelude::*;

    use super::*;

    fn day(text: &str) -> Date {
        text.parse().unwrap()
    }

    /// A step with nothing but its days.
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
