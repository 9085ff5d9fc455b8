//! Distributions of a share, as weights on points.

use std::sync::LazyLock;

use crate::{quadrature::Point, sowing, stats::binomial_at_least};

/// Number of grid points, evenly spaced in the logit.
pub(super) const POINTS: usize = 400;
/// Logit of the last grid point; the first one has the negative.
const LOGIT_MAX: f64 = 9.0;
/// Limits of a merged point, as (weight, width in share).
const COARSE: (f64, f64) = (0.01, 0.03);
/// The same limits for each of two factors of a product.
const COARSER: (f64, f64) = (0.03, 0.06);

/// Logits of the grid points.
pub(super) static LOGITS: LazyLock<Vec<f64>> = LazyLock::new(|| {
    let step = 2.0 * LOGIT_MAX / (count(POINTS) - 1.0);
    (0..POINTS).map(|at| count(at).mul_add(step, -LOGIT_MAX)).collect()
});

/// Shares at the grid points.
pub(super) static SHARES: LazyLock<Vec<f64>> =
    LazyLock::new(|| LOGITS.iter().map(|x| 1.0 / (1.0 + (-x).exp())).collect());

pub(super) fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(0.0, f64::from)
}

/// Distribution of a share: points in ascending order, with weights that sum to 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread(Vec<Point>);

impl Spread {
    /// Returns a share without uncertainty.
    pub fn exactly(at: f64) -> Self {
        Self(vec![Point { at, weight: 1.0 }])
    }

    /// Normalises weights on the grid; a sum of 0 gives a uniform grid.
    pub(super) fn on_grid(weights: &[f64]) -> Self {
        let sum: f64 = weights.iter().sum();
        let even = 1.0 / count(POINTS);
        let weight = |w: &f64| if sum > 0.0 { w / sum } else { even };
        Self(SHARES.iter().zip(weights).map(|(at, w)| Point { at: *at, weight: weight(w) }).collect())
    }

    /// Returns the weights on the grid.
    pub(super) fn weights(&self) -> impl Iterator<Item = f64> + '_ {
        self.0.iter().map(|point| point.weight)
    }

    /// Returns the distribution of 1 minus the share.
    #[must_use]
    pub fn complement(&self) -> Self {
        Self(self.0.iter().rev().map(|p| Point { at: 1.0 - p.at, weight: p.weight }).collect())
    }

    /// Returns true for a share without uncertainty.
    pub fn is_exact(&self) -> bool {
        self.0.len() == 1
    }

    /// Returns the mean.
    pub fn mean(&self) -> f64 {
        self.0.iter().map(|p| p.at * p.weight).sum()
    }

    /// Returns the first point at which the cumulative weight reaches this probability.
    pub fn quantile(&self, probability: f64) -> f64 {
        let mut below = 0.0;
        for point in &self.0 {
            below += point.weight;
            if below >= probability {
                return point.at;
            }
        }
        self.0.last().map_or(0.0, |point| point.at)
    }

    /// Returns the equal-tailed interval with this confidence, such as 0.90.
    pub fn interval(&self, confidence: f64) -> (f64, f64) {
        let tail = (1.0 - confidence) / 2.0;
        (self.quantile(tail), self.quantile(1.0 - tail))
    }

    /// Returns P(share <= at).
    pub fn below(&self, at: f64) -> f64 {
        self.0.iter().filter(|p| p.at <= at).map(|p| p.weight).sum()
    }

    /// Merges neighbouring points within these limits, each group at its mean.
    fn coarse(&self, (most, widest): (f64, f64)) -> Vec<Point> {
        let mut all: Vec<Point> = Vec::new();
        let (mut from, mut weight, mut sum) = (None, 0.0, 0.0);
        for point in &self.0 {
            let start = *from.get_or_insert(point.at);
            if weight > 0.0 && (weight + point.weight > most || point.at - start > widest) {
                all.push(Point { at: sum / weight, weight });
                (from, weight, sum) = (Some(point.at), 0.0, 0.0);
            }
            weight += point.weight;
            sum += point.weight * point.at;
        }
        if weight > 0.0 {
            all.push(Point { at: sum / weight, weight });
        }
        all
    }

    /// Returns the distribution of the product: the chance that both events happen, such as germinating and
    /// being true. The events are taken to be independent.
    #[must_use]
    pub fn and(&self, other: &Self) -> Self {
        if let ([one], _) = (self.0.as_slice(), &other.0) {
            return other.scaled(one.at);
        }
        if let [one] = other.0.as_slice() {
            return self.scaled(one.at);
        }
        let second = other.coarse(COARSER);
        let mut all: Vec<Point> = self
            .coarse(COARSER)
            .iter()
            .flat_map(|a| second.iter().map(|b| Point { at: a.at * b.at, weight: a.weight * b.weight }))
            .collect();
        all.sort_by(|a, b| a.at.total_cmp(&b.at));
        Self(all)
    }

    fn scaled(&self, by: f64) -> Self {
        Self(self.0.iter().map(|p| Point { at: p.at * by, weight: p.weight }).collect())
    }

    /// Returns P(at least `wanted` of `n`), averaged over the uncertain share.
    pub fn at_least(&self, wanted: u32, n: u32) -> f64 {
        if wanted == 1 {
            // A power is faster than a sum of one term, and as exact.
            let none: f64 = self.0.iter().map(|p| p.weight * (1.0 - p.at).powf(f64::from(n))).sum();
            return 1.0 - none;
        }
        self.coarse(COARSE).iter().map(|p| p.weight * binomial_at_least(wanted, n, p.at)).sum()
    }

    /// Returns the smallest number among which at least `wanted` are good with this confidence, if each is good with
    /// this share. Returns `None` beyond [`sowing::SEEDS_MAX`]. The question of Sedcole 1977, Crop Sci. 17: 667-668.
    pub fn needed(&self, wanted: u32, confidence: f64) -> Option<u32> {
        let few = Self(if wanted == 1 { self.0.clone() } else { self.coarse(COARSE) });
        sowing::smallest(wanted, |n| few.at_least(wanted, n) >= confidence)
    }

    /// Returns the points in ascending order.
    pub fn points(&self) -> &[Point] {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn an_exact_share_is_the_binomial() {
        for (share, wanted, confidence, expected) in
            [(0.75, 3, 0.9, 6), (0.25, 1, 0.95, 11), (0.5, 5, 0.95, 16), (0.36, 1, 0.95, 7)]
        {
            let exact = Spread::exactly(share);
            assert_eq!(exact.needed(wanted, confidence), Some(expected), "{share}");
            assert_eq!(exact.complement().mean(), 1.0 - share);
        }
        assert_eq!(Spread::exactly(0.0).needed(1, 0.9), None);
        assert_eq!(Spread::exactly(0.8).and(&Spread::exactly(0.75)), Spread::exactly(0.8 * 0.75));
    }

    proptest! {
        #[test]
        fn few_points_do_for_many(mu in -4.0_f64..4.0, sd in 0.2_f64..2.0, wanted in 2_u32..8, n in 8_u32..60) {
            let weights: Vec<f64> = LOGITS.iter().map(|x| (-0.5 * ((x - mu) / sd).powi(2)).exp()).collect();
            let spread = Spread::on_grid(&weights);
            let whole: f64 = spread.points().iter().map(|p| p.weight * binomial_at_least(wanted, n, p.at)).sum();
            prop_assert!((spread.at_least(wanted, n) - whole).abs() < 2e-3);
            let sum: f64 = spread.coarse(COARSE).iter().map(|p| p.weight).sum();
            prop_assert!((sum - 1.0).abs() < 1e-9);
            let (low, high) = spread.interval(0.9);
            prop_assert!(low <= spread.quantile(0.5) && spread.quantile(0.5) <= high);
        }
    }
}
