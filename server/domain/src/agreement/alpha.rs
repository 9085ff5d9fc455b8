//! Krippendorff's alpha: agreement beyond chance among any number of observers, with missing values.
//!
//! alpha = 1 - observed disagreement / disagreement expected by chance. 1 is full agreement, 0 is what chance
//! gives, and below 0 is systematic disagreement (K. Krippendorff, Computing Krippendorff's
//! Alpha-Reliability, 2011).
//!
//! Let n be the number of pairable values, `m` the number in one unit, and `S` the sum of squared differences
//! over all ordered pairs. Then alpha = 1 - (n - 1) * sum over units of S(unit) / (m - 1) / S(all values).
//! `S` has a closed form for every metric but the ratio, so the work is linear in the values. The ratio
//! metric is quadratic in the distinct values: fast up to some thousand of them, or a few hundred with an
//! interval.

use std::{
    borrow::Cow,
    f64::consts::{PI, TAU},
};

/// Steps that a period is divided into, so that values a whole number of periods apart are equal despite
/// rounding.
const PHASE_STEPS: f64 = 1e12;
/// Share of the resampled alphas beyond each end of a 95 % interval.
const TAIL: f64 = 0.025;

/// The difference function: how far apart two values are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Metric {
    /// Classes without order: different or not.
    Nominal,
    /// Ranked classes: square of the count of values from one class to the other, counting half of both end
    /// classes.
    Ordinal,
    /// Numbers on a scale with equal steps: `(c - k)^2`.
    Interval,
    /// Numbers of at least 0 with a true zero: `((c - k) / (c + k))^2`.
    Ratio,
    /// Numbers on a cycle, such as the day of the year: `sin(pi * (c - k) / period)^2`.
    Circular {
        /// Length of the cycle, above 0, in the unit of the values.
        period: f64,
    },
}

/// The values that observers gave to one unit. Missing values are left out; values that are not finite count
/// as missing. Nominal and ordinal classes are given as codes, ordinal ones in rank order.
pub type Unit = Vec<f64>;

/// An alpha and the evidence behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alpha {
    /// Alpha, at most 1.
    pub value: f64,
    /// Units with at least two values; units with fewer do not count.
    pub units: usize,
    /// Values in those units.
    pub values: usize,
    /// 95 % interval, lower end first; `None` unless requested and computable.
    pub interval: Option<(f64, f64)>,
}

/// Returns the alpha of the units. It is `None` without pairable values, without variation among them (chance
/// would then give no disagreement either), with a negative value under the ratio metric, or with a period
/// not above 0.
pub fn alpha(units: &[Unit], metric: Metric) -> Option<Alpha> {
    Counts::new(units, metric)?.alpha()
}

/// Returns alpha with a 95 % bootstrap interval: it draws units with replacement `resamples` times, and 2.5 %
/// of the alphas lie beyond each end. The same seed gives the same interval, whatever the order of the units.
///
/// Draws without variation have no alpha and are left out. There is no interval with fewer than two units, or
/// when at least half of the draws were left out. With few units the interval tends to be too narrow, and
/// where all values agree it has no width.
pub fn alpha_with_interval(units: &[Unit], metric: Metric, resamples: usize, seed: u64) -> Option<Alpha> {
    let counts = Counts::new(units, metric)?;
    let found = counts.alpha()?;
    Some(Alpha { interval: counts.interval(resamples, seed), ..found })
}

/// The pairable values, with equal values counted together.
struct Counts {
    metric: Metric,
    /// Distinct values in ascending order; phases of the period for the circular metric.
    values: Vec<f64>,
    /// For each unit, pairs of (index in `values`, count).
    units: Vec<Vec<(usize, usize)>>,
    /// Disagreement within each unit; `None` for the ordinal metric, where it depends on the other units.
    within: Option<Vec<f64>>,
}

impl Counts {
    fn new(units: &[Unit], metric: Metric) -> Option<Self> {
        if let Metric::Circular { period } = metric
            && !(period.is_finite() && period > 0.0)
        {
            return None;
        }
        let kept: Vec<Vec<f64>> = units
            .iter()
            .map(|unit| unit.iter().filter(|v| v.is_finite()).map(|v| placed(*v, metric)).collect::<Vec<_>>())
            .filter(|unit| unit.len() >= 2)
            .collect();
        let mut values: Vec<f64> = kept.iter().flatten().copied().collect();
        values.sort_unstable_by(f64::total_cmp);
        values.dedup();
        if metric == Metric::Ratio && values.first().is_some_and(|least| *least < 0.0) {
            return None;
        }
        let mut units: Vec<Vec<(usize, usize)>> = kept.into_iter().map(|unit| tally(unit, &values)).collect();
        // The order of the input must change neither sums of fractions nor draws of units.
        units.sort_unstable();
        let mut counts = Self { metric, values, units, within: None };
        if metric != Metric::Ordinal {
            let within = counts.units.iter().map(|unit| disagreement(unit, &counts.values, metric)).collect();
            counts.within = Some(within);
        }
        Some(counts)
    }

    fn alpha(&self) -> Option<Alpha> {
        let values = self.units.iter().flatten().map(|(_, count)| count).sum();
        let value = self.value(&vec![1; self.units.len()])?;
        Some(Alpha { value, units: self.units.len(), values, interval: None })
    }

    /// Returns alpha with each unit counted `times` times.
    fn value(&self, times: &[usize]) -> Option<f64> {
        let mut totals = vec![0_usize; self.values.len()];
        for (unit, times) in self.units.iter().zip(times) {
            for (place, count) in unit {
                *totals.get_mut(*place)? += count * times;
            }
        }
        let places = match self.metric {
            Metric::Ordinal => Cow::Owned(middle_ranks(&totals)),
            Metric::Nominal | Metric::Interval | Metric::Ratio | Metric::Circular { .. } => {
                Cow::Borrowed(self.values.as_slice())
            }
        };
        let all: Vec<(f64, f64)> = places
            .iter()
            .zip(&totals)
            .filter(|(_, total)| **total > 0)
            .map(|(place, total)| (*place, *total as f64))
            .collect();
        let expected = spread(&all, self.metric);
        if expected <= 0.0 {
            return None;
        }
        let observed: f64 = match &self.within {
            Some(within) => within.iter().zip(times).map(|(apart, times)| apart * *times as f64).sum(),
            None => self
                .units
                .iter()
                .zip(times)
                .filter(|(_, times)| **times > 0)
                .map(|(unit, times)| disagreement(unit, &places, self.metric) * *times as f64)
                .sum(),
        };
        let count = totals.iter().sum::<usize>() as f64;
        // Huge values can overflow when squared.
        Some(1.0 - (count - 1.0) * observed / expected).filter(|value| value.is_finite())
    }

    fn interval(&self, resamples: usize, seed: u64) -> Option<(f64, f64)> {
        if self.units.len() < 2 {
            return None;
        }
        let mut draws = SplitMix64(seed);
        let mut found = Vec::new();
        for _ in 0..resamples {
            let mut times = vec![0_usize; self.units.len()];
            for _ in 0..self.units.len() {
                *times.get_mut(draws.below(self.units.len()))? += 1;
            }
            found.extend(self.value(&times));
        }
        if found.len() <= resamples / 2 {
            return None;
        }
        found.sort_unstable_by(f64::total_cmp);
        Some((quantile(&found, TAIL)?, quantile(&found, 1.0 - TAIL)?))
    }
}

/// Maps a value to the scale of its metric: its phase in 0..1 for the circular metric, else the value itself.
fn placed(value: f64, metric: Metric) -> f64 {
    match metric {
        Metric::Circular { period } => {
            let step = ((value / period).rem_euclid(1.0) * PHASE_STEPS).round();
            if step >= PHASE_STEPS { 0.0 } else { step / PHASE_STEPS }
        }
        // Turns -0.0 into 0.0.
        Metric::Nominal | Metric::Ordinal | Metric::Interval | Metric::Ratio => value + 0.0,
    }
}

/// Returns (index in `values`, count) of each distinct value of a unit, in ascending order.
fn tally(mut unit: Vec<f64>, values: &[f64]) -> Vec<(usize, usize)> {
    unit.sort_unstable_by(f64::total_cmp);
    unit.chunk_by(|a, b| a == b)
        .filter_map(|same| {
            let value = same.first()?;
            Some((values.binary_search_by(|v| v.total_cmp(value)).ok()?, same.len()))
        })
        .collect()
}

/// Returns a unit's part in the observed disagreement: its spread divided by its weight less one.
fn disagreement(unit: &[(usize, usize)], places: &[f64], metric: Metric) -> f64 {
    let own: Vec<(f64, f64)> = unit
        .iter()
        .filter_map(|(place, count)| places.get(*place).map(|place| (*place, *count as f64)))
        .collect();
    spread(&own, metric) / (weight(&own) - 1.0)
}

/// Returns the count of values up to the middle of each class. The ordinal difference of two classes is the
/// difference of these counts: all classes between them and half of both ends.
fn middle_ranks(totals: &[usize]) -> Vec<f64> {
    let mut below = 0.0;
    totals
        .iter()
        .map(|total| {
            let own = *total as f64;
            below += own;
            below - own / 2.0
        })
        .collect()
}

fn weight(counted: &[(f64, f64)]) -> f64 {
    counted.iter().map(|(_, count)| count).sum()
}

/// Returns the sum of squared differences over all ordered pairs of values, each given as (value, count).
fn spread(counted: &[(f64, f64)], metric: Metric) -> f64 {
    // Rounding must not turn full agreement into disagreement.
    if counted.len() < 2 {
        return 0.0;
    }
    let all = weight(counted);
    let sum = |of: &dyn Fn(f64) -> f64| counted.iter().map(|(at, count)| count * of(*at)).sum::<f64>();
    match metric {
        Metric::Nominal => counted.iter().map(|(_, count)| count * (all - count)).sum(),
        // Ordinal values arrive here as middle ranks.
        Metric::Ordinal | Metric::Interval => {
            let mean = sum(&|at| at) / all;
            2.0 * all * sum(&|at| (at - mean).powi(2))
        }
        Metric::Ratio => {
            let pairs = counted.iter().enumerate().flat_map(|(n, first)| {
                counted.iter().skip(n + 1).map(|second| {
                    let apart = (first.0 - second.0) / (first.0 + second.0);
                    first.1 * second.1 * apart * apart
                })
            });
            2.0 * pairs.sum::<f64>()
        }
        Metric::Circular { .. } => {
            // sin^2 x = (1 - cos 2x) / 2, and the cosines of all pairs sum to the squared length of the
            // resultant. The shortfall of that length is summed about the mean direction, to avoid
            // cancellation.
            let mean = sum(&|at| (TAU * at).sin()).atan2(sum(&|at| (TAU * at).cos()));
            let lack = 2.0 * sum(&|at| (PI * at - mean / 2.0).sin().powi(2));
            lack * (2.0 * all - lack).max(0.0) / 2.0
        }
    }
}

/// Returns the quantile of sorted values, with linear interpolation between neighbours.
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let at = share * (sorted.len().checked_sub(1)? as f64);
    let low = sorted.get(at.floor() as usize)?;
    let high = sorted.get(at.ceil() as usize)?;
    // Clamping keeps the ends of an interval in order despite rounding.
    Some((low + (high - low) * at.fract()).clamp(*low, *high))
}

/// The generator of Steele, Lea and Flood 2014 (Fast splittable pseudorandom number generators): small, and
/// the same on every machine.
struct SplitMix64(u64);

impl SplitMix64 {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }
    /// Returns a number from 0 to `count` - 1. The bias is below 2^-32 for any number of units here.
    fn below(&mut self, count: usize) -> usize {
        ((u128::from(self.next()) * count as u128) >> 64) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// K. Krippendorff, Computing Krippendorff's Alpha-Reliability (2011): 4 observers, 12 units; `.` is a
    /// missing value. Published: .743 nominal, .815 ordinal, .849 interval, .797 ratio.
    const OBSERVERS: [&str; 4] = ["123321412...", "1233224125.3", ".3332342251.", "12332441251."];

    fn units(rows: &[&str]) -> Vec<Unit> {
        let columns = rows.first().map_or(0, |r| r.len());
        let of = |at: usize| rows.iter().filter_map(move |r| r.chars().nth(at)).filter(|c| *c != '.');
        (0..columns).map(|at| of(at).map(|c| f64::from(u32::from(c) - u32::from('0'))).collect()).collect()
    }

    fn near(found: f64, wanted: f64) {
        assert!((found - wanted).abs() < 5e-7, "{found} is not {wanted}");
    }

    fn days(period: f64) -> Metric {
        Metric::Circular { period }
    }

    /// Computes alpha from its definition, pair by pair.
    fn by_pairs(units: &[Unit], metric: Metric) -> f64 {
        let units: Vec<&Unit> = units.iter().filter(|u| u.len() >= 2).collect();
        let all: Vec<f64> = units.iter().flat_map(|u| u.iter().copied()).collect();
        let count = |of: &dyn Fn(f64) -> bool| all.iter().filter(|v| of(**v)).count() as f64;
        let apart = |c: f64, k: f64| match metric {
            _ if c == k => 0.0,
            Metric::Nominal => 1.0,
            Metric::Ordinal => {
                let (low, high) = (c.min(k), c.max(k));
                let ends = count(&|v| v == low) + count(&|v| v == high);
                (count(&|v| (low..=high).contains(&v)) - ends / 2.0).powi(2)
            }
            Metric::Interval => (c - k).powi(2),
            Metric::Ratio => ((c - k) / (c + k)).powi(2),
            Metric::Circular { period } => (PI * (c - k) / period).sin().powi(2),
        };
        let sum =
            |of: &[f64]| -> f64 { of.iter().map(|c| of.iter().map(|k| apart(*c, *k)).sum::<f64>()).sum() };
        let n = all.len() as f64;
        let observed: f64 = units.iter().map(|u| sum(u) / (u.len() as f64 - 1.0)).sum::<f64>() / n;
        1.0 - observed / (sum(&all) / (n * (n - 1.0)))
    }

    #[test]
    fn published_example() {
        let units = units(&OBSERVERS);
        // Two implementations give these 6 digits; the published 3 digits are the same values rounded.
        for (metric, published, digits) in [
            (Metric::Nominal, 0.743, 0.743_421),
            (Metric::Ordinal, 0.815, 0.815_388),
            (Metric::Interval, 0.849, 0.849_107),
            (Metric::Ratio, 0.797, 0.797_403),
        ] {
            let found = alpha(&units, metric).unwrap();
            near(found.value, digits);
            assert!((found.value - published).abs() <= 5e-4);
            assert_eq!((found.units, found.values, found.interval), (11, 40, None));
        }
    }

    /// The two small examples of the same text, .095 and .692, quoted from memory.
    #[test]
    fn small_examples() {
        let binary = units(&["0100000010", "1110010000"]);
        near(alpha(&binary, Metric::Nominal).unwrap().value, 0.095_238);
        // The classes a to e are coded as 1 to 5.
        let nominal = units(&["112243335441", "212223335444"]);
        near(alpha(&nominal, Metric::Nominal).unwrap().value, 0.691_964);
    }

    #[test]
    fn nothing_to_tell() {
        for metric in [Metric::Nominal, Metric::Ordinal, Metric::Interval, Metric::Ratio, days(365.0)] {
            assert_eq!(alpha(&[], metric), None);
            assert_eq!(alpha(&[vec![1.0], vec![2.0], vec![]], metric), None);
            assert_eq!(alpha(&[vec![0.1, 0.1, 0.1], vec![0.1, 0.1]], metric), None);
            assert_eq!(alpha(&[vec![0.0, -0.0], vec![0.0, 0.0]], metric), None);
            assert_eq!(alpha(&[vec![1.0, f64::NAN], vec![f64::INFINITY, 2.0]], metric), None);
        }
        assert_eq!(alpha(&[vec![-1.0, 1.0], vec![2.0, 2.0]], Metric::Ratio), None);
        assert_eq!(alpha(&[vec![1e200, 1.0], vec![2.0, 2.0]], Metric::Interval), None);
        for period in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(alpha(&[vec![1.0, 2.0], vec![2.0, 2.0]], days(period)), None);
        }
    }

    #[test]
    fn a_year_comes_round() {
        // Values whole years apart are the same day.
        let same = [vec![0.1, 365.1, -364.9], vec![364.0, 729.0]];
        assert_eq!(alpha(&same, days(365.0)).unwrap().value, 1.0);
        assert_eq!(alpha(&[vec![0.1, 365.1], vec![-364.9, 730.1]], days(365.0)), None);
        // Across new year the circular metric sees closeness that the interval metric misses.
        let turn = [vec![1.0, 364.0], vec![363.0, 2.0], vec![180.0, 181.0]];
        assert!(alpha(&turn, days(365.0)).unwrap().value > 0.99);
        assert!(alpha(&turn, Metric::Interval).unwrap().value < 0.0);
    }

    #[test]
    fn interval_of_the_published_example() {
        let units = units(&OBSERVERS);
        let found = alpha_with_interval(&units, Metric::Nominal, 2000, 7).unwrap();
        let (low, high) = found.interval.unwrap();
        assert!(low > 0.3 && low < 0.6 && high > 0.85 && high <= 1.0, "{low} {high}");
        assert_eq!(alpha_with_interval(&units, Metric::Nominal, 2000, 7), Some(found));
        assert_ne!(alpha_with_interval(&units, Metric::Nominal, 2000, 8), Some(found));
        assert_eq!(alpha_with_interval(&units, Metric::Nominal, 0, 7).unwrap().interval, None);
        let one = [vec![1.0, 2.0, 2.0]];
        assert_eq!(alpha_with_interval(&one, Metric::Nominal, 100, 7).unwrap().interval, None);
        // Every draw with variation has full agreement.
        let agreed = [vec![1.0, 1.0], vec![2.0, 2.0], vec![3.0, 3.0], vec![4.0, 4.0]];
        assert_eq!(alpha_with_interval(&agreed, Metric::Nominal, 100, 7).unwrap().interval, Some((1.0, 1.0)));
    }

    #[test]
    fn generator_gives_its_known_numbers() {
        let mut draws = SplitMix64(1_234_567);
        assert_eq!(draws.next(), 6_457_827_717_110_365_317);
        assert_eq!(draws.next(), 3_203_168_211_198_807_973);
    }

    fn metrics() -> impl Strategy<Value = Metric> {
        prop_oneof![
            Just(Metric::Nominal),
            Just(Metric::Ordinal),
            Just(Metric::Interval),
            Just(Metric::Ratio),
            (1.0..400.0).prop_map(days),
        ]
    }

    /// Draws few classes or measured values, so that both ties and distinct values occur.
    fn many() -> impl Strategy<Value = Vec<Unit>> {
        let value = prop_oneof![(0..6_u8).prop_map(f64::from), 0.0..300.0];
        prop::collection::vec(prop::collection::vec(value, 0..6), 0..12)
    }

    proptest! {
        #[test]
        fn same_as_pair_by_pair(units in many(), metric in metrics()) {
            if let Some(found) = alpha(&units, metric) {
                let wanted = by_pairs(&units, metric);
                let apart = (found.value - wanted).abs();
                prop_assert!(apart <= 1e-7 * wanted.abs().max(1.0), "{found:?} {wanted}");
            }
        }

        #[test]
        fn at_most_one_and_ends_in_order(units in many(), metric in metrics(), seed: u64) {
            if let Some(found) = alpha_with_interval(&units, metric, 40, seed) {
                prop_assert!(found.value <= 1.0);
                prop_assert!(found.values >= 2 * found.units);
                if let Some((low, high)) = found.interval {
                    prop_assert!(low <= high && high <= 1.0);
                }
            }
        }

        #[test]
        fn order_does_not_matter(
            (units, mixed) in many().prop_flat_map(|u| {
                let inner = u.iter().map(|v| Just(v.clone()).prop_shuffle()).collect::<Vec<_>>();
                (Just(u), inner.prop_flat_map(|v| Just(v).prop_shuffle()))
            }),
            metric in metrics(),
            seed: u64,
        ) {
            prop_assert_eq!(
                alpha_with_interval(&units, metric, 20, seed),
                alpha_with_interval(&mixed, metric, 20, seed)
            );
        }

        #[test]
        fn one_where_all_agree(
            agreed in prop::collection::vec((0.0..300.0, 2..5_usize), 2..8),
            metric in metrics(),
        ) {
            let units: Vec<Unit> = agreed.iter().map(|(v, n)| vec![*v; *n]).collect();
            if let Some(found) = alpha(&units, metric) {
                prop_assert_eq!(found.value, 1.0);
            } else {
                let first = agreed.first().map(|(v, _)| *v).unwrap_or_default();
                // Alpha is `None` only without variation.
                prop_assert!(agreed.iter().all(|(v, _)| placed(*v, metric) == placed(first, metric)));
            }
        }
    }
}
