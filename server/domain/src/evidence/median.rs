//! Medians, quantiles, distribution-free intervals, and outliers, which are flagged and never removed.
//!
//! As long as they are fewer than half, wild values cannot move the median out of the range of the others.
//! Values should be finite; a value that is not sorts to the far end, and so does no more harm than another
//! wild value. No result depends on the order of the values.

/// Distance from the median, in spreads, beyond which a value is an outlier.
///
/// Source: Iglewicz and Hoaglin 1993, "How to Detect and Handle Outliers", modified z-score.
pub const OUTLIER_SPREADS: f64 = 3.5;

/// Factor from the median absolute deviation to the standard deviation of normal values: 1 / Φ⁻¹(3/4).
pub const SPREAD_PER_MAD: f64 = 1.4826;

/// Returns the lower and the upper median, in the values' unit. They differ only when the count is even.
/// Returns `None` without values.
pub fn medians(values: &[f64]) -> Option<(f64, f64)> {
    middle_pair(&in_order(values))
}

/// Returns the midpoint of lower and upper median, in the values' unit; `None` without values.
pub fn middle(values: &[f64]) -> Option<f64> {
    let (low, high) = medians(values)?;
    Some(between(low, high, 0.5))
}

/// Returns the quantile at `p` (0 to 1), in the values' unit: linear between the order statistics around
/// position `(n - 1) * p`, counted from 0. Returns `None` without values or when `p` is outside 0 to 1.
///
/// Source: Hyndman and Fan 1996, "Sample Quantiles in Statistical Packages", type 7 (the default of numpy).
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    let sorted = in_order(values);
    let place = sorted.len().checked_sub(1)? as f64 * p;
    let below = place.floor() as usize;
    let low = sorted.get(below).copied()?;
    let high = sorted.get(below + 1).copied().unwrap_or(low);
    Some(between(low, high, place.fract()))
}

/// Returns the ranks `k` and `n + 1 - k` (counted from 1) and their coverage. They are the narrowest
/// symmetric pair of order statistics that contains the population median with at least `confidence` (above
/// 0, below 1). The coverage is 1 - 2 P(Bin(n, 1/2) <= k - 1), exact for values without ties and a lower
/// bound with ties. Returns `None` when even the extremes of `n` values fall short of `confidence`, or when
/// `confidence` is out of range.
///
/// Source: inversion of the sign test; Conover 1999, "Practical Nonparametric Statistics", section 3.2.
pub fn interval_ranks(n: usize, confidence: f64) -> Option<(usize, usize, f64)> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    // Both sums are held times 2^n and scaled only by powers of two, which loses no digit. They are exact
    // while the binomial coefficients fit a double, and do not underflow for any n.
    const STEP: i32 = 500;
    let mut exponent = i32::try_from(n).ok()?.checked_neg()?;
    let (mut ways, mut tail) = (1.0_f64, 0.0_f64);
    let mut found = None;
    for k in 1..=n.div_ceil(2) {
        tail += ways;
        let coverage = 1.0 - 2.0 * tail * 2.0_f64.powi(exponent);
        if coverage < confidence {
            break;
        }
        found = Some((k, n + 1 - k, coverage));
        ways = ways * (n + 1 - k) as f64 / k as f64;
        if ways > 2.0_f64.powi(STEP) {
            ways *= 2.0_f64.powi(-STEP);
            tail *= 2.0_f64.powi(-STEP);
            exponent += STEP;
        }
    }
    found
}

/// Returns the distribution-free interval for the median, in the values' unit; see [`interval_ranks`].
pub fn interval(values: &[f64], confidence: f64) -> Option<(f64, f64)> {
    let (low, high, _) = interval_ranks(values.len(), confidence)?;
    let sorted = in_order(values);
    Some((at_rank(&sorted, low)?, at_rank(&sorted, high)?))
}

/// A value far from the others. It is shown with a flag and keeps its vote.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlier {
    /// Index of the value in the input.
    pub at: usize,
    /// The value itself, in its unit.
    pub value: f64,
    /// Midpoint median of all values, this one included.
    pub median: f64,
    /// The unit mistake that would bring the value among the others, if there is one. It has a meaning for
    /// grams only.
    pub unit_slip: Option<UnitSlip>,
}

/// A likely mistake with the unit of a mass that should be in grams.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum UnitSlip {
    /// Weighed in kilograms, recorded as if in grams.
    KilogramsAsGrams,
    /// Weighed in pounds (avoirdupois), recorded as if in grams.
    PoundsAsGrams,
    /// Weighed in ounces (avoirdupois), recorded as if in grams.
    OuncesAsGrams,
    /// Weighed in grams, recorded as if in ounces.
    GramsAsOunces,
    /// Weighed in grams, recorded as if in pounds.
    GramsAsPounds,
    /// Weighed in grams, recorded as if in kilograms.
    GramsAsKilograms,
}

/// Grams in an ounce and in a pound; exact, by the international yard and pound agreement of 1959.
const OUNCE: f64 = 28.349523125;
const POUND: f64 = 453.59237;
const KILOGRAM: f64 = 1000.0;

impl UnitSlip {
    /// Every mistake that [`outliers`] tries.
    pub const ALL: [Self; 6] = [
        Self::KilogramsAsGrams,
        Self::PoundsAsGrams,
        Self::OuncesAsGrams,
        Self::GramsAsOunces,
        Self::GramsAsPounds,
        Self::GramsAsKilograms,
    ];

    /// Returns the factor that undoes the mistake, applied to the recorded grams.
    pub fn factor(self) -> f64 {
        match self {
            Self::KilogramsAsGrams => KILOGRAM,
            Self::PoundsAsGrams => POUND,
            Self::OuncesAsGrams => OUNCE,
            Self::GramsAsOunces => 1.0 / OUNCE,
            Self::GramsAsPounds => 1.0 / POUND,
            Self::GramsAsKilograms => 1.0 / KILOGRAM,
        }
    }

    /// Describes the mistake for a recorded value in grams: "looks like ounces typed as grams: 12 would be
    /// 340 g".
    pub fn text(self, value: f64) -> String {
        let (meant, typed) = match self {
            Self::KilogramsAsGrams => ("kilograms", "grams"),
            Self::PoundsAsGrams => ("pounds", "grams"),
            Self::OuncesAsGrams => ("ounces", "grams"),
            Self::GramsAsOunces => ("grams", "ounces"),
            Self::GramsAsPounds => ("grams", "pounds"),
            Self::GramsAsKilograms => ("grams", "kilograms"),
        };
        let (was, would_be) = (digits(value, 6), digits(value * self.factor(), 3));
        format!("looks like {meant} typed as {typed}: {was} would be {would_be} g")
    }
}

/// Returns the values further from the median than [`OUTLIER_SPREADS`] * [`SPREAD_PER_MAD`] * MAD, in order
/// of index. MAD is the median absolute deviation from the median. When more than half of the values are
/// equal, MAD is 0 and means nothing; then a value is an outlier if it differs from the median by more than
/// `factor` (1 or more, such as 3), up or down. Values that are not finite are always outliers.
///
/// A unit mistake is named when undoing it brings the value within the same limits; of several, the one that
/// comes nearest to the median.
pub fn outliers(values: &[f64], factor: f64) -> Vec<Outlier> {
    let Some(median) = middle(values) else { return Vec::new() };
    let deviations: Vec<f64> = values.iter().map(|v| (v - median).abs()).collect();
    let limit = OUTLIER_SPREADS * SPREAD_PER_MAD * middle(&deviations).unwrap_or(0.0);
    let fits = |v: f64| {
        let within = if limit > 0.0 { (v - median).abs() <= limit } else { !apart(v, median, factor) };
        v.is_finite() && within
    };
    values
        .iter()
        .enumerate()
        .filter(|(_, value)| !fits(**value))
        .map(|(at, &value)| {
            let distance = |slip: &UnitSlip| (value * slip.factor() - median).abs();
            let unit_slip = UnitSlip::ALL
                .into_iter()
                .filter(|slip| fits(value * slip.factor()))
                .min_by(|a, b| distance(a).total_cmp(&distance(b)));
            Outlier { at, value, median, unit_slip }
        })
        .collect()
}

/// Summary of grades on an ordinal scale. Nothing is averaged: every number is a grade from the input.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Steps {
    /// Lower and upper median.
    pub median: (usize, usize),
    /// Lower and upper quartile: the values of rank ceil(n / 4) from below and from above. At least half of
    /// the values lie between them. Reversing the scale reverses them.
    pub quartiles: (usize, usize),
    /// Interval for the median; `None` when there are too few values for the confidence.
    pub interval: Option<(usize, usize)>,
    /// Lowest and highest grade.
    pub range: (usize, usize),
}

/// Summarises grades on an ordinal scale, with an interval at `confidence` (see [`interval_ranks`]). Returns
/// `None` without values.
pub fn steps(values: &[usize], confidence: f64) -> Option<Steps> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable();
    let n = sorted.len();
    let quarter = n.div_ceil(4);
    let pair = |low: usize, high: usize| Some((at_rank(&sorted, low)?, at_rank(&sorted, high)?));
    Some(Steps {
        median: middle_pair(&sorted)?,
        quartiles: pair(quarter, n + 1 - quarter)?,
        interval: interval_ranks(n, confidence).and_then(|(low, high, _)| pair(low, high)),
        range: pair(1, n)?,
    })
}

fn in_order(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    sorted
}

/// Returns the value at a rank counted from 1.
fn at_rank<T: Copy>(sorted: &[T], rank: usize) -> Option<T> {
    sorted.get(rank.checked_sub(1)?).copied()
}

fn middle_pair<T: Copy>(sorted: &[T]) -> Option<(T, T)> {
    let n = sorted.len();
    Some((at_rank(sorted, n.div_ceil(2))?, at_rank(sorted, n / 2 + 1)?))
}

/// Returns the point a share `t` (0 to 1) of the way from `low` to `high`, never outside them.
fn between(low: f64, high: f64, t: f64) -> f64 {
    // Equal ends and t = 0 return early: infinite ends would give NaN.
    if t <= 0.0 || low == high { low } else { (low * (1.0 - t) + high * t).max(low).min(high) }
}

/// Returns whether one value is more than `factor` times the other in size, or the signs differ.
fn apart(a: f64, b: f64, factor: f64) -> bool {
    let (small, large) = (a.abs().min(b.abs()), a.abs().max(b.abs()));
    a * b < 0.0 || large > factor * small
}

/// Formats a number with at most `significant` digits and no trailing zeros; digits before the point always
/// stay.
fn digits(value: f64, significant: i32) -> String {
    let whole = if value == 0.0 || !value.is_finite() { 1 } else { value.abs().log10().floor() as i32 + 1 };
    let decimals = usize::try_from((significant - whole).clamp(0, 12)).unwrap_or(0);
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_string() } else { text }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// (k, coverage) for n = 3 to 30, computed with scipy; k = 0 where there is no interval.
    #[rustfmt::skip]
    const AT_95: [(usize, f64); 28] = [
        (0, 0.0), (0, 0.0), (0, 0.0), (1, 0.96875), (1, 0.984375), (1, 0.992188), (2, 0.960938),
        (2, 0.978516), (2, 0.988281), (3, 0.961426), (3, 0.977539), (3, 0.987061), (4, 0.964844),
        (4, 0.978729), (5, 0.950958), (5, 0.969116), (5, 0.980789), (6, 0.958611), (6, 0.973396),
        (6, 0.983099), (7, 0.96531), (7, 0.977344), (8, 0.956715), (8, 0.971041), (8, 0.980843),
        (9, 0.964302), (9, 0.97588), (10, 0.957226),
    ];
    #[rustfmt::skip]
    const AT_90: [(usize, f64); 28] = [
        (0, 0.0), (0, 0.0), (1, 0.9375), (1, 0.96875), (1, 0.984375), (2, 0.929688), (2, 0.960938),
        (2, 0.978516), (3, 0.93457), (3, 0.961426), (4, 0.907715), (4, 0.942627), (4, 0.964844),
        (5, 0.923187), (5, 0.950958), (6, 0.903748), (6, 0.936432), (6, 0.958611), (7, 0.921646),
        (7, 0.947521), (8, 0.90686), (8, 0.936085), (8, 0.956715), (9, 0.924481), (9, 0.947761),
        (10, 0.912841), (10, 0.938572), (11, 0.901263),
    ];

    #[test]
    fn ranks_and_coverages_match_the_table() {
        for (confidence, table) in [(0.95, AT_95), (0.90, AT_90)] {
            for (n, (k, coverage)) in (3..).zip(table) {
                match interval_ranks(n, confidence) {
                    None => assert_eq!(k, 0, "n = {n} at {confidence}"),
                    Some((low, high, got)) => {
                        assert_eq!((low, high), (k, n + 1 - k), "n = {n} at {confidence}");
                        assert!((got - coverage).abs() < 6e-7, "n = {n} at {confidence}: {got}");
                    }
                }
            }
        }
    }

    #[test]
    fn coverage_is_exact_and_does_not_underflow() {
        assert_eq!(interval_ranks(5, 0.9375), Some((1, 5, 0.9375)));
        assert_eq!(interval_ranks(5, 0.9376), None);
        for confidence in [0.0, 1.0, -1.0, f64::NAN] {
            assert_eq!(interval_ranks(50, confidence), None);
        }
        assert_eq!(interval_ranks(0, 0.5), None);
        // With many values, the ranks are about n/2 - 1.96 sqrt(n)/2.
        let (low, high, coverage) = interval_ranks(100_000, 0.95).unwrap();
        assert_eq!(low + high, 100_001);
        assert!((49_688..=49_692).contains(&low), "{low}");
        assert!((0.95..0.9505).contains(&coverage), "{coverage}");
    }

    #[test]
    fn small_counts() {
        assert_eq!(
            (medians(&[]), middle(&[]), quantile(&[], 0.5), steps(&[], 0.9)),
            (None, None, None, None)
        );
        assert_eq!(medians(&[7.0]), Some((7.0, 7.0)));
        assert_eq!(medians(&[4.0, 1.0, 3.0, 2.0]), Some((2.0, 3.0)));
        assert_eq!(middle(&[4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(middle(&[f64::MAX, f64::MAX]), Some(f64::MAX));
        assert_eq!(interval(&[1.0, 2.0, 3.0], 0.9), None);
        assert_eq!(interval(&[6.0, 2.0, 3.0, 4.0, 5.0, 1.0], 0.95), Some((1.0, 6.0)));
    }

    #[test]
    fn quantiles_are_those_of_numpy() {
        let values = [210.0, 250.0, 180.0, 340.0, 300.0];
        for (p, expected) in
            [(0.0, 180.0), (0.1, 192.0), (0.25, 210.0), (0.5, 250.0), (0.9, 324.0), (1.0, 340.0)]
        {
            assert!((quantile(&values, p).unwrap() - expected).abs() < 1e-9, "{p}");
        }
        for p in [-0.1, 1.1, f64::NAN] {
            assert_eq!(quantile(&values, p), None);
        }
        assert_eq!(quantile(&[1.0, 2.0, f64::INFINITY], 0.5), Some(2.0));
    }

    #[test]
    fn slips_of_unit_are_named() {
        let slip = |wild: f64| {
            let flagged = outliers(&[330.0, 345.0, wild, 352.0, 338.0, 341.0], 3.0);
            assert_eq!(flagged.len(), 1, "{flagged:?}");
            assert_eq!((flagged[0].at, flagged[0].value), (2, wild));
            flagged[0].unit_slip.map(|slip| slip.text(wild))
        };
        assert_eq!(slip(12.0).as_deref(), Some("looks like ounces typed as grams: 12 would be 340 g"));
        assert_eq!(slip(0.75).as_deref(), Some("looks like pounds typed as grams: 0.75 would be 340 g"));
        assert_eq!(slip(0.34).as_deref(), Some("looks like kilograms typed as grams: 0.34 would be 340 g"));
        let by_ounce = 340.0 * OUNCE;
        assert_eq!(
            slip(by_ounce).as_deref(),
            Some("looks like grams typed as ounces: 9638.84 would be 340 g")
        );
        let by_pound = 340.0 * POUND;
        assert_eq!(
            slip(by_pound).as_deref(),
            Some("looks like grams typed as pounds: 154221 would be 340 g")
        );
        assert_eq!(
            slip(340_000.0).as_deref(),
            Some("looks like grams typed as kilograms: 340000 would be 340 g")
        );
        assert_eq!(slip(900.0), None);
        assert_eq!(slip(f64::INFINITY), None);
    }

    #[test]
    fn equal_values_leave_the_factor_to_judge() {
        let values = [300.0, 300.0, 300.0, 300.0, 350.0, 1000.0, 0.3, -300.0];
        let flagged: Vec<_> = outliers(&values, 3.0).into_iter().map(|o| (o.at, o.unit_slip)).collect();
        assert_eq!(flagged, [(5, None), (6, Some(UnitSlip::KilogramsAsGrams)), (7, None)]);
        assert_eq!(outliers(&[0.0, 0.0, 0.0, 1.0], 3.0).len(), 1);
        assert!(outliers(&[5.0], 3.0).is_empty());
        assert!(outliers(&[], 3.0).is_empty());
    }

    #[test]
    fn steps_are_steps() {
        let found = steps(&[3, 4, 4, 5, 5, 6, 9, 2], 0.95).unwrap();
        let expected = Steps { median: (4, 5), quartiles: (3, 6), interval: Some((2, 9)), range: (2, 9) };
        assert_eq!(found, expected);
        assert_eq!(steps(&[4], 0.9).unwrap().quartiles, (4, 4));
        assert_eq!(steps(&[4, 5], 0.9).unwrap().interval, None);
    }

    fn masses() -> impl Strategy<Value = Vec<f64>> {
        prop::collection::vec(1.0..2000.0_f64, 1..40)
    }

    fn anything() -> impl Strategy<Value = f64> {
        prop_oneof![any::<f64>(), Just(f64::NAN), Just(f64::INFINITY), Just(f64::NEG_INFINITY), Just(0.0)]
    }

    proptest! {
        #[test]
        fn fewer_than_half_cannot_carry_the_median_away(
            kept in masses(),
            wild in prop::collection::vec(anything(), 0..40),
        ) {
            let replaced = wild.len().min(kept.len() - 1);
            let mut values = kept.clone();
            values.extend(&wild[..replaced]);
            let (low, high) = medians(&values).unwrap();
            let range = quantile(&kept, 0.0).unwrap()..=quantile(&kept, 1.0).unwrap();
            prop_assert!(range.contains(&low) && range.contains(&high));
            prop_assert!(range.contains(&middle(&values).unwrap()));
        }

        #[test]
        fn order_does_not_matter(
            (values, mixed) in masses().prop_flat_map(|v| (Just(v.clone()), Just(v).prop_shuffle())),
            p in 0.0..=1.0_f64,
        ) {
            prop_assert_eq!(medians(&values), medians(&mixed));
            prop_assert_eq!(quantile(&values, p), quantile(&mixed, p));
            prop_assert_eq!(interval(&values, 0.9), interval(&mixed, 0.9));
            let flagged = |v: &[f64]| {
                let mut all: Vec<_> = outliers(v, 3.0).into_iter().map(|o| (o.value, o.unit_slip)).collect();
                all.sort_by(|a, b| a.0.total_cmp(&b.0));
                all
            };
            prop_assert_eq!(flagged(&values), flagged(&mixed));
        }

        #[test]
        fn the_interval_holds_the_median(values in masses(), confidence in 0.01..0.999) {
            if let Some((low, high)) = interval(&values, confidence) {
                let (lower, upper) = medians(&values).unwrap();
                prop_assert!(low <= lower && upper <= high);
            }
        }

        #[test]
        fn coverage_suffices_and_the_next_pair_would_not(n in 1..3000_usize, confidence in 0.01..0.9999) {
            if let Some((low, high, coverage)) = interval_ranks(n, confidence) {
                prop_assert!(coverage >= confidence && coverage <= 1.0);
                prop_assert!(1 <= low && low <= high && low + high == n + 1);
                // A slightly higher confidence than this pair has must widen the pair or fail.
                if coverage < 0.9999 {
                    prop_assert!(interval_ranks(n, coverage + 1e-9).is_none_or(|(wider, _, _)| wider < low));
                }
            } else {
                prop_assert!(1.0 - 2.0 * 0.5_f64.powf(n as f64) < confidence);
            }
        }

        #[test]
        fn quantiles_grow_and_meet_the_middle(values in masses(), p in 0.0..=1.0_f64, q in 0.0..=1.0_f64) {
            let at = |p: f64| quantile(&values, p).unwrap();
            prop_assert!(at(p.min(q)) <= at(p.max(q)) + 1e-9);
            prop_assert!((at(0.5) - middle(&values).unwrap()).abs() < 1e-9);
        }

        #[test]
        fn fewer_than_half_are_outliers(values in masses()) {
            prop_assert!(outliers(&values, 3.0).len() * 2 <= values.len());
        }

        #[test]
        fn steps_agree_with_numbers(values in prop::collection::vec(0..9_usize, 1..40)) {
            let found = steps(&values, 0.9).unwrap();
            let numbers: Vec<f64> = values.iter().map(|v| *v as f64).collect();
            let (lower, upper) = medians(&numbers).unwrap();
            prop_assert_eq!((found.median.0 as f64, found.median.1 as f64), (lower, upper));
            prop_assert!(found.range.0 <= found.quartiles.0 && found.quartiles.0 <= found.median.0);
            prop_assert!(found.median.1 <= found.quartiles.1 && found.quartiles.1 <= found.range.1);
            let as_numbers = found.interval.map(|(a, b)| (a as f64, b as f64));
            prop_assert_eq!(as_numbers, interval(&numbers, 0.9));
            // Reversing the scale reverses the answer.
            let turned: Vec<usize> = values.iter().map(|v| 8 - v).collect();
            let other = steps(&turned, 0.9).unwrap();
            prop_assert_eq!(other.quartiles, (8 - found.quartiles.1, 8 - found.quartiles.0));
        }
    }
}
