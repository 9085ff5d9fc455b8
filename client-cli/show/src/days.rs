//! Days as people say them: `2027-03-12`, `12 March`, `next Sunday`, `tomorrow`, `in 3 weeks`.

use scionary_domain::time::Date;
use scionary_proto::v1;

use crate::words;

/// Which year is meant when a day is said without one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// The next such day, today included: an offer's last day, a swap day.
    Coming,
    /// The last such day, today included: when something was seen or sown.
    Past,
}

const WEEKDAYS: [&str; 7] = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];
/// Days in a week, and the weekday of 1970-01-01: a Thursday.
const WEEK: i64 = 7;
const FIRST_WEEKDAY: i64 = 3;
/// Fewest letters of a month or a weekday that name it.
const SHORT: usize = 3;

fn weekday_of(day: Date) -> i64 {
    (day.days() + FIRST_WEEKDAY).rem_euclid(WEEK)
}

/// Returns the name of a day's weekday, such as `Sunday`.
pub fn weekday(day: Date) -> String {
    let name =
        usize::try_from(weekday_of(day)).ok().and_then(|at| WEEKDAYS.get(at)).copied().unwrap_or_default();
    let mut letters = name.chars();
    letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect()
}

/// Returns a day in words, such as `Sunday 29 November 2026`.
pub fn spoken(day: Date) -> String {
    format!("{} {} {} {}", weekday(day), day.day(), words::month(day.month().into()), day.year())
}

fn named(word: &str, names: impl Iterator<Item = String>) -> Option<i64> {
    let fits = |name: String| word.chars().count() >= SHORT && name.to_lowercase().starts_with(word);
    names.zip(1..).find(|(name, _)| fits(name.clone())).map(|(_, number)| number)
}

fn month_of(word: &str) -> Option<i32> {
    named(word, (1..=12).map(|m| words::month(m).to_string())).and_then(|n| i32::try_from(n).ok())
}

/// Parses a day. `today` is the reader's own.
///
/// # Errors
/// Returns what to type instead.
pub fn parse(text: &str, today: Date, sense: Sense) -> Result<Date, String> {
    let lower = text.trim().to_lowercase().replace(',', " ");
    let words: Vec<&str> = lower.split_whitespace().filter(|w| !matches!(*w, "on" | "the" | "of")).collect();
    let wrong =
        || format!("“{}” is no day; type 2027-03-12, 12 March, next Sunday or in 3 weeks", text.trim());
    let ordinal = |word: &str| {
        let digits = word.trim_end_matches(|c: char| c.is_ascii_alphabetic());
        let tail = word.get(digits.len()..).unwrap_or_default();
        matches!(tail, "" | "st" | "nd" | "rd" | "th").then(|| digits.parse::<i32>().ok()).flatten()
    };
    match words.as_slice() {
        ["today"] => Ok(today),
        ["tomorrow"] => Ok(today.plus_days(1)),
        ["yesterday"] => Ok(today.plus_days(-1)),
        ["in", count, unit] | [count, unit, "ago"] => {
            let count: i64 = match *count {
                "a" | "an" | "one" => 1,
                digits => digits.parse().map_err(|_| wrong())?,
            };
            let count = if words.last() == Some(&"ago") { -count } else { count };
            match *unit {
                "day" | "days" => Ok(today.plus_days(count)),
                "week" | "weeks" => Ok(today.plus_days(count * WEEK)),
                "month" | "months" => months_on(today, count).ok_or_else(wrong),
                _ => Err(wrong()),
            }
        }
        [day] | ["next" | "this" | "last", day]
            if named(day, WEEKDAYS.iter().map(|d| (*d).to_string())).is_some() =>
        {
            let wanted = named(day, WEEKDAYS.iter().map(|d| (*d).to_string())).unwrap_or(1) - 1;
            let ahead = (wanted - weekday_of(today)).rem_euclid(WEEK);
            let back = words.first() == Some(&"last") || (words.len() == 1 && sense == Sense::Past);
            let next = words.first() == Some(&"next") && ahead == 0;
            Ok(today.plus_days(match (back, next) {
                (true, _) if ahead == 0 && words.len() == 1 => 0,
                (true, _) => ahead - WEEK,
                (false, true) => WEEK,
                (false, false) => ahead,
            }))
        }
        [one] => one.parse().map_err(|_| wrong()),
        [first, second, rest @ ..] if rest.len() <= 1 => {
            let (day, month) = match (ordinal(first), month_of(second), month_of(first), ordinal(second)) {
                (Some(day), Some(month), _, _) | (_, _, Some(month), Some(day)) => (day, month),
                (_, _, _, _) => return Err(wrong()),
            };
            match rest.first() {
                Some(year) => Date::new(year.parse().map_err(|_| wrong())?, month, day).map_err(|_| wrong()),
                None => closest(today, sense, month, day).ok_or_else(wrong),
            }
        }
        _ => Err(wrong()),
    }
}

/// Returns the day of a month and a day in the year that `sense` means; 29 February goes to the next leap year.
fn closest(today: Date, sense: Sense, month: i32, day: i32) -> Option<Date> {
    let years: Box<dyn Iterator<Item = i32>> = match sense {
        Sense::Coming => Box::new(today.year()..=today.year() + 8),
        Sense::Past => Box::new((today.year() - 8..=today.year()).rev()),
    };
    years.filter_map(|year| Date::new(year, month, day).ok()).find(|found| match sense {
        Sense::Coming => *found >= today,
        Sense::Past => *found <= today,
    })
}

/// Returns the day some months on; the last day of a shorter month.
fn months_on(day: Date, months: i64) -> Option<Date> {
    let at = i64::from(day.year()) * 12 + i64::from(day.month()) - 1 + months;
    let (year, month) = (i32::try_from(at.div_euclid(12)).ok()?, i32::try_from(at.rem_euclid(12) + 1).ok()?);
    (0..4).find_map(|less| Date::new(year, month, i32::from(day.day()) - less).ok())
}

/// Returns a day on the wire.
pub fn wire(day: Date) -> v1::CalendarDate {
    v1::CalendarDate { year: day.year(), month: i32::from(day.month()), day: i32::from(day.day()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_as_people_say_them() {
        let today: Date = "2026-11-27".parse().unwrap();
        assert_eq!(spoken(today), "Friday 27 November 2026");
        for (text, coming, past) in [
            ("2027-03-12", "2027-03-12", "2027-03-12"),
            ("today", "2026-11-27", "2026-11-27"),
            ("Tomorrow", "2026-11-28", "2026-11-28"),
            ("12 March", "2027-03-12", "2026-03-12"),
            ("march 12th", "2027-03-12", "2026-03-12"),
            ("27 Nov", "2026-11-27", "2026-11-27"),
            ("3 jan 2028", "2028-01-03", "2028-01-03"),
            ("29 February", "2028-02-29", "2024-02-29"),
            ("sunday", "2026-11-29", "2026-11-22"),
            ("Friday", "2026-11-27", "2026-11-27"),
            ("next friday", "2026-12-04", "2026-12-04"),
            ("on Saturday", "2026-11-28", "2026-11-21"),
            ("last sunday", "2026-11-22", "2026-11-22"),
            ("in 3 weeks", "2026-12-18", "2026-12-18"),
            ("in a month", "2026-12-27", "2026-12-27"),
            ("in 3 months", "2027-02-27", "2027-02-27"),
            ("2 weeks ago", "2026-11-13", "2026-11-13"),
        ] {
            let read = |sense| parse(text, today, sense).unwrap().to_string();
            assert_eq!((read(Sense::Coming).as_str(), read(Sense::Past).as_str()), (coming, past), "{text}");
        }
        for wrong in
            ["", "12", "3/4", "31 April", "noon", "next", "12 ma", "ma 12", "in x weeks", "30 Feb 2027"]
        {
            assert!(parse(wrong, today, Sense::Coming).is_err(), "{wrong}");
        }
        // The last day of a shorter month.
        let end: Date = "2027-01-31".parse().unwrap();
        assert_eq!(parse("in 1 month", end, Sense::Coming).unwrap().to_string(), "2027-02-28");
    }

    /// Weekdays of days that are widely known: 1970-01-01 was a Thursday, 2000-01-01 a Saturday.
    #[test]
    fn weekdays_are_right() {
        for (day, name) in
            [("1970-01-01", "Thursday"), ("2000-01-01", "Saturday"), ("1969-12-31", "Wednesday")]
        {
            assert_eq!(weekday(day.parse().unwrap()), name);
        }
    }
}
