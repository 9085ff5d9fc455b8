//! Ripening periods on the circle of the year, and how several periods combine.
//!
//! The circle has 365 days: 1 is 1 January, 365 is 31 December, and 29 February counts as 28 February. A day
//! number outside 1 to 365 wraps around. Periods are not averaged: [`Coverage`] gives for each day the share of
//! periods in which fruit was ripe.

use std::f64::consts::TAU;

/// Number of days in the circle.
pub const DAYS: u16 = 365;

/// Half a year in days; the shift between southern and northern seasons.
const HALF_YEAR: i32 = 182;

/// Mean length of a year in days, with leap years: the full turn of [`mean_day`].
const MEAN_YEAR: f64 = 365.25;

/// Names and lengths of the months.
const MONTHS: [(&str, u16); 12] = [
    ("January", 31),
    ("February", 28),
    ("March", 31),
    ("April", 30),
    ("May", 31),
    ("June", 30),
    ("July", 31),
    ("August", 31),
    ("September", 30),
    ("October", 31),
    ("November", 30),
    ("December", 31),
];

/// Returns the number of a day, 1 to 365; `None` for a day that no year has.
pub fn day_of_year(month: u8, day: u8) -> Option<u16> {
    let before_month = usize::from(month).checked_sub(1)?;
    let (_, length) = MONTHS.get(before_month)?;
    let leap_day = (month, day) == (2, 29);
    let day = if leap_day { 28 } else { u16::from(day) };
    let passed: u16 = MONTHS.iter().take(before_month).map(|(_, days)| days).sum();
    (1..=*length).contains(&day).then_some(passed + day)
}

/// Returns the month (1 to 12) and the day of the month.
pub fn month_day(day: u16) -> (u8, u8) {
    let (month, _, day) = split(day);
    (month, day)
}

/// Returns a day in words: "11 June".
pub fn day_text(day: u16) -> String {
    let (_, name, day) = split(day);
    format!("{day} {name}")
}

/// Returns the month (1 to 12), its name, and the day of the month.
fn split(day: u16) -> (u8, &'static str, u8) {
    let mut left = round(i64::from(day));
    for (month, (name, length)) in (1..).zip(MONTHS) {
        if left <= length {
            // The value is at most 31.
            return (month, name, u8::try_from(left).unwrap_or(u8::MAX));
        }
        left -= length;
    }
    // Unreachable: the lengths sum to the circle.
    (12, "December", 31)
}

/// Wraps a day number to 1 to 365.
fn round(day: i64) -> u16 {
    // A remainder by 365 fits in u16.
    u16::try_from((day - 1).rem_euclid(i64::from(DAYS))).unwrap_or(0) + 1
}

/// A period from one day to another, both included. It crosses New Year if `last` comes before `first`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span {
    /// First day, 1 to 365.
    pub first: u16,
    /// Last day, 1 to 365.
    pub last: u16,
}

impl Span {
    /// The whole year.
    pub const YEAR: Self = Self { first: 1, last: DAYS };

    /// Returns a span; `None` unless both days are 1 to 365.
    pub fn new(first: u16, last: u16) -> Option<Self> {
        let known = 1..=DAYS;
        (known.contains(&first) && known.contains(&last)).then_some(Self { first, last })
    }

    /// Returns the length in days, 1 to 365: (last - first) mod 365 + 1.
    pub fn days(self) -> u16 {
        round(i64::from(self.last) - i64::from(self.first) + 1)
    }

    /// Returns true if the day is in the span.
    pub fn holds(self, day: u16) -> bool {
        round(i64::from(day) - i64::from(self.first) + 1) <= self.days()
    }

    /// Returns a span of the same length `by` days later; earlier if negative.
    pub fn shifted(self, by: i32) -> Self {
        let moved = |day: u16| round(i64::from(day) + i64::from(by));
        Self { first: moved(self.first), last: moved(self.last) }
    }
}

/// Shifts a southern span to the phase of northern seasons: each day becomes (day - 1 + 182) mod 365 + 1.
pub fn to_northern(span: Span) -> Span {
    span.shifted(HALF_YEAR)
}

/// Shifts a span in northern phase to the south; the inverse of [`to_northern`].
pub fn to_southern(span: Span) -> Span {
    span.shifted(-HALF_YEAR)
}

/// A mean resultant length below this means that there is no single season; the value is our choice.
pub const SINGLE_SEASON_R: f64 = 0.5;

/// Below this length the direction of a resultant is rounding noise.
const NO_DIRECTION: f64 = 1e-9;

/// Returns the circular mean of days and the mean resultant length R (0: spread all round, 1: all on one day).
/// Use it for sorting and for finding outliers; [`Coverage`] gives a season.
///
/// The full turn is a mean year of 365.25 days, and the mean lies from 1 to below 366.25. Returns `None`
/// without days, for a day that is not finite, or if the days cancel out (R = 0).
///
/// Source: Mardia and Jupp 2000, "Directional Statistics", section 2.2; as scipy.stats.circmean with
/// high=365.25, low=0.
pub fn mean_day(days: &[f64]) -> Option<(f64, f64)> {
    if days.is_empty() || !days.iter().all(|day| day.is_finite()) {
        return None;
    }
    // The order of a sum affects its rounding, so sorting makes the result independent of the input order.
    let mut days = days.to_vec();
    days.sort_unstable_by(f64::total_cmp);
    let (sines, cosines) = days.iter().fold((0.0, 0.0), |(sines, cosines), day| {
        let (sine, cosine) = (day / MEAN_YEAR * TAU).sin_cos();
        (sines + sine, cosines + cosine)
    });
    let length = f64::hypot(sines, cosines) / days.len() as f64;
    if length < NO_DIRECTION {
        return None;
    }
    let mean = (f64::atan2(sines, cosines) / TAU * MEAN_YEAR).rem_euclid(MEAN_YEAR);
    Some((if mean < 1.0 { mean + MEAN_YEAR } else { mean }, length.min(1.0)))
}

/// Share of spans from which a day belongs to the core of the season.
pub const CORE: f64 = 0.5;

/// Share of spans from which a day belongs to the full season.
pub const FULL: f64 = 0.1;

/// Share of spans that contain each day of the year. Every span has one vote, so pass one span for each place
/// and year.
#[derive(Clone, Debug, PartialEq)]
pub struct Coverage {
    share: [f64; DAYS as usize],
}

impl Coverage {
    /// Counts these spans; `None` without any.
    pub fn of(spans: &[Span]) -> Option<Self> {
        if spans.is_empty() {
            return None;
        }
        let mut share = [0.0; DAYS as usize];
        for (slot, day) in share.iter_mut().zip(1..) {
            *slot = spans.iter().filter(|span| span.holds(day)).count() as f64 / spans.len() as f64;
        }
        Some(Self { share })
    }

    /// Returns the share of spans that contain the day, 0 to 1.
    pub fn share(&self, day: u16) -> f64 {
        let place = usize::from(round(i64::from(day)) - 1);
        self.share.get(place).copied().unwrap_or(0.0)
    }

    /// Returns the longest runs of days that at least this share of the spans contains, and at least one span,
    /// sorted by first day. A run can cross New Year; a run over all days is [`Span::YEAR`].
    pub fn windows(&self, at_least: f64) -> Vec<Span> {
        let ripe = |day: u16| self.share(day) > 0.0 && self.share(day) >= at_least;
        if (1..=DAYS).all(ripe) {
            return vec![Span::YEAR];
        }
        let next = |day: u16| round(i64::from(day) + 1);
        let before = |day: u16| round(i64::from(day) - 1);
        (1..=DAYS)
            .filter(|first| ripe(*first) && !ripe(before(*first)))
            .map(|first| {
                let mut last = first;
                while ripe(next(last)) {
                    last = next(last);
                }
                Span { first, last }
            })
            .collect()
    }

    /// Returns the mean share of each half month, 0 to 1, for bars: 1 to 15 January, 16 to 31 January, and so on.
    pub fn half_months(&self) -> [f64; 24] {
        let mut bars = [0.0; 24];
        for (bar, half) in bars.iter_mut().zip(0_usize..) {
            let passed: u16 = MONTHS.iter().take(half / 2).map(|(_, days)| days).sum();
            let length = MONTHS.get(half / 2).map_or(30, |(_, days)| *days);
            let (from, to) = if half % 2 == 0 { (1, 15) } else { (16, length) };
            let sum: f64 = (from..=to).map(|day| self.share(passed + day)).sum();
            *bar = sum / f64::from(to - from + 1);
        }
        bars
    }
}

/// Returns windows in words, in the given order: "11 June to 21 July and 3 to 9 October"; "all year"; empty for none.
pub fn words(windows: &[Span]) -> String {
    let each: Vec<String> = windows.iter().map(|span| span_words(*span)).collect();
    match each.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((last, others)) => format!("{} and {last}", others.join(", ")),
    }
}

fn span_words(span: Span) -> String {
    let (first, last) = (month_day(span.first), month_day(span.last));
    if span.days() == DAYS {
        "all year".to_string()
    } else if first == last {
        day_text(span.first)
    } else if first.0 == last.0 && first.1 < last.1 {
        // Not for a span that goes round the year and ends in the month in which it began.
        format!("{} to {}", first.1, day_text(span.last))
    } else {
        format!("{} to {}", day_text(span.first), day_text(span.last))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn span(first: u16, last: u16) -> Span {
        Span::new(first, last).unwrap()
    }

    fn windows(spans: &[(u16, u16)], at_least: f64) -> Vec<Span> {
        let spans: Vec<Span> = spans.iter().map(|(first, last)| span(*first, *last)).collect();
        Coverage::of(&spans).unwrap().windows(at_least)
    }

    fn assert_mean(days: &[f64], mean: f64, length: f64) {
        let (got_mean, got_length) = mean_day(days).unwrap();
        assert!((got_mean - mean).abs() < 1e-9, "{got_mean}");
        assert!((got_length - length).abs() < 5e-7, "{got_length}");
    }

    #[test]
    fn days_of_the_calendar() {
        assert_eq!(day_of_year(1, 1), Some(1));
        assert_eq!(day_of_year(12, 31), Some(365));
        assert_eq!(
            (day_of_year(2, 28), day_of_year(2, 29), day_of_year(3, 1)),
            (Some(59), Some(59), Some(60))
        );
        for (month, day) in [(0, 1), (13, 1), (1, 0), (2, 30), (4, 31), (1, 32), (255, 255)] {
            assert_eq!(day_of_year(month, day), None);
        }
        for day in 1..=DAYS {
            let (month, of_month) = month_day(day);
            assert_eq!(day_of_year(month, of_month), Some(day));
        }
        assert_eq!((day_text(162), day_text(202)), ("11 June".to_string(), "21 July".to_string()));
        assert_eq!((month_day(0), month_day(366)), ((12, 31), (1, 1)));
    }

    #[test]
    fn only_days_of_the_year_make_a_span() {
        assert_eq!((Span::new(0, 5), Span::new(5, 366)), (None, None));
        assert_eq!((span(354, 15).days(), span(9, 9).days(), span(9, 8).days()), (27, 1, 365));
        assert!(span(354, 15).holds(354) && span(354, 15).holds(365) && span(354, 15).holds(15));
        assert!(!span(354, 15).holds(16) && !span(354, 15).holds(353));
        let careless = Span { first: 0, last: u16::MAX };
        assert!(careless.days() <= DAYS && careless.shifted(i32::MIN).days() == careless.days());
    }

    #[test]
    fn circular_means_match_scipy() {
        assert_mean(&[350.0, 10.0], 362.625, 0.976509);
        let days = [355.0, 5.0, 15.0].map(|degrees| degrees / 360.0 * MEAN_YEAR);
        assert_mean(&days, 5.0 / 360.0 * MEAN_YEAR, 0.989872);
        assert_mean(&[100.0], 100.0, 1.0);
        assert_eq!((mean_day(&[]), mean_day(&[1.0, f64::NAN])), (None, None));
        assert_eq!(mean_day(&[10.0, 10.0 + MEAN_YEAR / 2.0]), None);
        assert!(mean_day(&[20.0, 190.0, 200.0, 30.0]).unwrap().1 < SINGLE_SEASON_R);
    }

    #[test]
    fn southern_spans_in_northern_phase() {
        assert_eq!(to_northern(span(350, 20)), span(167, 202));
        assert_eq!(to_northern(span(345, 30)), span(162, 212));
        assert_eq!(to_southern(span(167, 202)), span(350, 20));
    }

    #[test]
    fn pooled_spans_have_a_core_and_a_full_season() {
        let pooled = [(160, 200), (165, 210), (155, 190), (167, 202), (162, 212)];
        assert_eq!(windows(&pooled, CORE), [span(162, 202)]);
        assert_eq!(windows(&pooled, FULL), [span(155, 212)]);
        let wraps = [(350, 10), (360, 20), (340, 5)];
        assert_eq!(windows(&wraps, CORE), [span(350, 10)]);
        assert_eq!(windows(&wraps, FULL), [span(340, 20)]);
    }

    #[test]
    fn windows_at_the_edges() {
        assert_eq!(Coverage::of(&[]), None);
        assert_eq!(windows(&[(1, 200), (150, 365)], FULL), [Span::YEAR]);
        assert_eq!(windows(&[(100, 99)], CORE), [Span::YEAR]);
        assert_eq!(windows(&[(360, 365), (1, 5)], CORE), [span(360, 5)]);
        assert_eq!(windows(&[(200, 210), (20, 30)], CORE), [span(20, 30), span(200, 210)]);
        assert_eq!(windows(&[(20, 30)], 0.0), [span(20, 30)]);
        assert!(windows(&[(20, 30)], 1.1).is_empty() && windows(&[(20, 30)], f64::NAN).is_empty());
        // One span of ten is a share of exactly 0.1.
        let ten: Vec<(u16, u16)> = (0..10).map(|at| (10 * at + 1, 10 * at + 1)).collect();
        assert_eq!(windows(&ten, FULL).len(), 10);
    }

    #[test]
    fn half_months_for_bars() {
        let bars = Coverage::of(&[span(1, 15), span(8, 31)]).unwrap().half_months();
        assert!((bars[0] - (15.0 + 8.0) / 30.0).abs() < 1e-12);
        assert!((bars[1] - 0.5).abs() < 1e-12);
        assert!(bars[2..].iter().all(|bar| *bar == 0.0));
        let december = Coverage::of(&[span(350, 365)]).unwrap().half_months();
        assert_eq!((december[22], december[23]), (0.0, 1.0));
    }

    #[test]
    fn spans_in_words() {
        let october = span(day_of_year(10, 3).unwrap(), day_of_year(10, 9).unwrap());
        assert_eq!(words(&[span(162, 202), october]), "11 June to 21 July and 3 to 9 October");
        assert_eq!(
            words(&[span(1, 1), span(9, 10), october]),
            "1 January, 9 to 10 January and 3 to 9 October"
        );
        assert_eq!(words(&[span(354, 15)]), "20 December to 15 January");
        assert_eq!(words(&[span(20, 10)]), "20 January to 10 January");
        assert_eq!(words(&[Span::YEAR]), "all year");
        assert_eq!(words(&[]), "");
    }

    fn any_span() -> impl Strategy<Value = Span> {
        (1..=DAYS, 1..=DAYS).prop_map(|(first, last)| Span { first, last })
    }

    proptest! {
        #[test]
        fn shifts_keep_the_length_and_can_be_undone(given in any_span(), by: i32) {
            prop_assert_eq!(given.shifted(by).days(), given.days());
            prop_assert_eq!(given.shifted(by).shifted(by.saturating_neg()), match by {
                // -i32::MIN is not an i32.
                i32::MIN => given.shifted(-1),
                _ => given,
            });
            prop_assert_eq!(to_southern(to_northern(given)), given);
            prop_assert_eq!(to_northern(to_southern(given)), given);
        }

        #[test]
        fn a_span_holds_as_many_days_as_it_is_long(given in any_span()) {
            prop_assert_eq!((1..=DAYS).filter(|day| given.holds(*day)).count(), usize::from(given.days()));
        }

        #[test]
        fn the_window_of_one_span_is_the_span(given in any_span()) {
            let expected = if given.days() == DAYS { Span::YEAR } else { given };
            let coverage = Coverage::of(&[given]).unwrap();
            for at_least in [0.0, FULL, CORE, 1.0] {
                prop_assert_eq!(coverage.windows(at_least), vec![expected]);
            }
        }

        #[test]
        fn windows_are_the_days_of_that_share_and_the_core_lies_in_the_full(
            spans in prop::collection::vec(any_span(), 1..12),
        ) {
            let coverage = Coverage::of(&spans).unwrap();
            let (core, full) = (coverage.windows(CORE), coverage.windows(FULL));
            for day in 1..=DAYS {
                let within = |windows: &[Span]| windows.iter().filter(|window| window.holds(day)).count();
                prop_assert_eq!(within(&core), usize::from(coverage.share(day) >= CORE));
                prop_assert_eq!(within(&full), usize::from(coverage.share(day) >= FULL));
                prop_assert!(within(&core) <= within(&full));
            }
            // Adjacent runs must form one run.
            for window in full.iter().filter(|window| window.days() < DAYS) {
                prop_assert!(coverage.share(window.first + DAYS - 1) < FULL);
                prop_assert!(coverage.share(window.last + 1) < FULL);
            }
            prop_assert!(coverage.half_months().iter().all(|bar| (0.0..=1.0 + 1e-12).contains(bar)));
        }

        #[test]
        fn order_does_not_matter(
            (given, mixed) in prop::collection::vec(any_span(), 1..12)
                .prop_flat_map(|v| (Just(v.clone()), Just(v).prop_shuffle())),
        ) {
            prop_assert_eq!(Coverage::of(&given), Coverage::of(&mixed));
            let firsts = |v: &[Span]| v.iter().map(|s| f64::from(s.first)).collect::<Vec<_>>();
            prop_assert_eq!(mean_day(&firsts(&given)), mean_day(&firsts(&mixed)));
        }

        #[test]
        fn the_mean_day_is_a_day(days in prop::collection::vec(-1000.0..1000.0_f64, 1..12)) {
            if let Some((mean, length)) = mean_day(&days) {
                prop_assert!((1.0..366.25).contains(&mean) && (0.0..=1.0).contains(&length));
            }
        }
    }
}
