//! Observations of a share, each kind with its own likelihood.

use std::cmp::Ordering;

use statrs::distribution::{Beta, ContinuousCDF as _};

use super::grid::{LOGITS, POINTS, SHARES};
use crate::evidence::{
    Finding,
    share::{WITHIN_REPORT, effective_count},
};

/// Possible report sizes behind a rate without its count; the likelihood averages over them.
const COUNTS_NOT_TOLD: [f64; 4] = [10.0, 20.0, 40.0, 80.0];
/// "None detected" is read as a share below this, because every method misses some.
const NONE_DETECTED: f64 = 0.05;
/// Margin by which a class with an open end excludes exactly 0 and exactly 1.
const EDGE: f64 = 1e-9;
/// Possible numbers of sprouts per seed if not counted (the reference tables have 2 to 4).
const SPROUTS_NOT_TOLD: [f64; 3] = [2.0, 3.0, 4.0];

/// Counts of seeds with and without an off-type sprout.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// Effective number of seeds with an off-type sprout.
    pub with: f64,
    /// Effective number of seeds without one.
    pub without: f64,
    /// Sprouts per seed, at least 1; `None` if unknown.
    pub sprouts: Option<f64>,
}

/// Observations of a share, in effective counts and as published.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Observed {
    /// Effective count of the event.
    pub yes: f64,
    /// Effective count of the opposite event.
    pub no: f64,
    /// Rates published without their counts, 0 to 1.
    pub rates: Vec<f64>,
    /// Classes, each as lower and upper bound of the rate.
    pub classes: Vec<(f64, f64)>,
    /// Counts of seeds with an off-type sprout.
    pub held: Option<Held>,
}

/// Descriptors about off-types among unselected seedlings.
pub struct OffTypes;

impl OffTypes {
    /// Key of the descriptor for off-types among unselected seedlings.
    pub const AS_THEY_COME: &'static str = "off_type_seedlings";
    /// Key of the descriptor for seeds with an off-type sprout.
    pub const SEEDS: &'static str = "zygotic_seeds";
    /// Key of the descriptor for sprouts per seed.
    const SPROUTS: &'static str = "sprouts_per_seed";

    /// Returns the off-type observations in a record's findings.
    pub fn of(findings: &[Finding]) -> Observed {
        let find = |key: &str| findings.iter().find(|f| f.descriptor == key);
        let mut all = find(Self::AS_THEY_COME).map(Observed::of).unwrap_or_default();
        let sprouts = match find(Self::SPROUTS).map(|f| &f.summary) {
            Some(crate::evidence::Summary::Quantity { median, .. }) if *median >= 1.0 => Some(*median),
            _ => None,
        };
        all.held = find(Self::SEEDS)
            .map(Observed::of)
            .filter(|seeds| seeds.yes + seeds.no > 0.0)
            .map(|seeds| Held { with: seeds.yes, without: seeds.no, sprouts });
        all
    }
}

impl Observed {
    /// Returns the observations in a finding on a share.
    pub fn of(finding: &Finding) -> Self {
        let mut all = Self::default();
        if let Some(share) = &finding.share {
            // Subtracts the prior with which findings start, because it was not observed.
            all.yes = share.posterior.a - crate::stats::Share::JEFFREYS.a;
            all.no = share.posterior.b - crate::stats::Share::JEFFREYS.b;
        }
        for rate in finding.published.iter().flat_map(|published| &published.rates) {
            all.add_rate(rate.low, rate.high, rate.mean);
        }
        // Sorted, so that equal evidence gives equal digits in any reading order.
        all.rates.sort_by(f64::total_cmp);
        all.classes.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        all
    }

    /// Orders by the observations alone, independent of the cultivar.
    pub(super) fn order(&self, other: &Self) -> Ordering {
        let numbers = |of: &Self| {
            let held = of.held.map(|held| [held.with, held.without, held.sprouts.unwrap_or(0.0)]);
            let classes = of.classes.iter().flat_map(|(low, high)| [*low, *high]);
            let all = [of.yes, of.no].into_iter().chain(held.into_iter().flatten()).chain(classes);
            all.chain(of.rates.iter().copied()).collect::<Vec<f64>>()
        };
        let (own, others) = (numbers(self), numbers(other));
        let first = own.iter().zip(&others).map(|(a, b)| a.total_cmp(b)).find(|order| order.is_ne());
        first.unwrap_or_else(|| own.len().cmp(&others.len()))
    }

    /// Returns the observations of a typed-in count, with the same design effect as a count on file.
    pub fn counted(of_these: u32, all: u32) -> Self {
        let (of_these, all) = (f64::from(of_these), f64::from(all));
        let effective = effective_count(all);
        let yes = effective * of_these / all.max(1.0);
        Self { yes, no: effective - yes, ..Self::default() }
    }

    /// Adds a published rate, from 0 to 1: one figure or a range. Open ends are 0 and 1.
    pub fn add_rate(&mut self, low: f64, high: f64, mean: Option<f64>) {
        match mean.or_else(|| (low >= high).then_some(low)) {
            Some(none) if none <= 0.0 => self.classes.push((0.0, NONE_DETECTED)),
            Some(all) if all >= 1.0 => self.classes.push((1.0 - NONE_DETECTED, 1.0)),
            Some(rate) => self.rates.push(rate),
            None => self.classes.push((low, high)),
        }
    }

    /// Returns true if there are no observations.
    pub fn is_empty(&self) -> bool {
        self.effective() <= 0.0
    }

    /// Returns the approximate number of independent seedlings behind the observations.
    pub fn effective(&self) -> f64 {
        let published = f64::from(u32::try_from(self.rates.len() + self.classes.len()).unwrap_or(u32::MAX));
        let held = self.held.map_or(0.0, |h| h.with + h.without);
        self.yes + self.no + held + published * effective_count(COUNTS_NOT_TOLD[2])
    }

    /// Returns the lowest and the highest observed share; `None` for classes alone.
    pub fn seen(&self) -> Option<(f64, f64)> {
        let counted = self.yes + self.no;
        let counts = (counted > 0.0).then(|| self.yes / counted);
        counts.into_iter().chain(self.rates.iter().copied()).fold(None, |seen: Option<(f64, f64)>, rate| {
            Some(seen.map_or((rate, rate), |(low, high)| (low.min(rate), high.max(rate))))
        })
    }

    /// Returns the likelihood at each grid point, up to a constant factor.
    pub(super) fn likelihood(&self) -> Vec<f64> {
        let mut all = vec![1.0; POINTS];
        let (yes, no) = (self.yes, self.no);
        if yes + no > 0.0 {
            times(&mut all, power(yes, no));
        }
        for rate in &self.rates {
            // Averages over the possible sizes, so that a source has no more weight than the largest size gives.
            let mut mixed = vec![0.0; POINTS];
            for size in COUNTS_NOT_TOLD {
                let effective = effective_count(size);
                let of_size = power(effective * rate, effective * (1.0 - rate));
                mixed.iter_mut().zip(of_size).for_each(|(sum, one)| *sum += one);
            }
            times(&mut all, mixed);
        }
        for (low, high) in &self.classes {
            times(&mut all, within(*low, *high));
        }
        if let Some(Held { with, without, sprouts }) = self.held {
            let sizes = sprouts.map_or_else(|| SPROUTS_NOT_TOLD.to_vec(), |sprouts| vec![sprouts]);
            let mut mixed = vec![0.0; POINTS];
            for sprouts in sizes {
                // One sprout of such a seed is off-type, so the seeds' share is the seedlings' share times the
                // sprouts per seed.
                let of_seeds = |share: &f64| (share * sprouts).min(1.0 - EDGE);
                let logs: Vec<f64> = SHARES
                    .iter()
                    .map(|share| with * of_seeds(share).ln() + without * (1.0 - of_seeds(share)).ln())
                    .collect();
                mixed.iter_mut().zip(scaled(&logs)).for_each(|(sum, one)| *sum += one);
            }
            times(&mut all, mixed);
        }
        all
    }
}

fn times(all: &mut [f64], by: impl IntoIterator<Item = f64>) {
    all.iter_mut().zip(by).for_each(|(one, by)| *one *= by);
}

/// Returns the exponentials, scaled so that the largest is 1.
fn scaled(logs: &[f64]) -> Vec<f64> {
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    logs.iter().map(|log| (log - most).exp()).collect()
}

/// Returns share^yes (1 - share)^no, scaled so that the largest is 1.
fn power(yes: f64, no: f64) -> Vec<f64> {
    // ln(share) = -ln(1 + e^-x), ln(1 - share) = -ln(1 + e^x).
    let logs: Vec<f64> = LOGITS.iter().map(|x| -yes * (-x).exp().ln_1p() - no * x.exp().ln_1p()).collect();
    scaled(&logs)
}

/// Returns the probability that a report's rate lies in a class. Reports scatter around the share as a beta
/// distribution of precision 1/rho - 1, where rho is the correlation of seedlings within a report
/// ([`WITHIN_REPORT`]).
fn within(low: f64, high: f64) -> Vec<f64> {
    let precision = 1.0 / WITHIN_REPORT - 1.0;
    let (low, high) = (low.max(EDGE), high.min(1.0 - EDGE));
    SHARES
        .iter()
        .map(|share| {
            let scatter = Beta::new(precision * share, precision * (1.0 - share));
            scatter.map_or(0.0, |beta| (beta.cdf(high) - beta.cdf(low)).max(0.0))
        })
        .collect()
}
