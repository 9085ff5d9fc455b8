//! A chance that is not known exactly: what is known of it, and what follows for numbers of seeds and seedlings.

use crate::{
    quadrature::{Point, points},
    sowing,
    stats::{Share, beta_binomial_at_least},
};

/// What is known of a chance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Chance {
    /// Counted: a distribution.
    Counted(Share),
    /// Reported without its counts, or typed in: from lowest to highest, with a middle where one is told.
    Reported {
        /// The lowest.
        low: f64,
        /// One figure for all of it; `None` where only a range is known.
        middle: Option<f64>,
        /// The highest.
        high: f64,
    },
}

/// The quantiles that stand for "at worst" and "at best" of what was counted.
const TAIL: f64 = 0.10;

impl Chance {
    /// A chance that is taken as known.
    pub const fn exactly(chance: f64) -> Self {
        Self::Reported { low: chance, middle: Some(chance), high: chance }
    }

    /// The chance of the contrary.
    pub fn complement(self) -> Self {
        match self {
            Self::Counted(share) => Self::Counted(share.complement()),
            Self::Reported { low, middle, high } => {
                Self::Reported { low: 1.0 - high, middle: middle.map(|m| 1.0 - m), high: 1.0 - low }
            }
        }
    }

    /// The mean, or the one figure told.
    pub fn middle(self) -> Option<f64> {
        match self {
            Self::Counted(share) => Some(share.mean()),
            Self::Reported { middle, .. } => middle,
        }
    }

    /// From a tenth below to a tenth above, or the range reported.
    pub fn ends(self) -> (f64, f64) {
        match self {
            Self::Counted(share) => (share.quantile(TAIL), share.quantile(1.0 - TAIL)),
            Self::Reported { low, high, .. } => (low, high),
        }
    }

    fn spread(self) -> Option<Vec<Point>> {
        match self {
            Self::Counted(share) => Some(points(share)),
            Self::Reported { middle, .. } => middle.map(|at| vec![Point { at, weight: 1.0 }]),
        }
    }
}

/// How many it takes: by all that is known, and if the chance is at the good or the bad end of it. `None` where
/// it takes more than [`sowing::SEEDS_MAX`], or for `likely` where only the ends are known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Needed {
    /// With what is not known averaged in.
    pub likely: Option<u32>,
    /// At the good end.
    pub at_best: Option<u32>,
    /// At the bad end.
    pub at_worst: Option<u32>,
}

/// A chance of a batch, in the same three ways.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Batch {
    /// With what is not known averaged in.
    pub likely: Option<f64>,
    /// At the good end.
    pub at_best: f64,
    /// At the bad end.
    pub at_worst: f64,
}

/// Plants to have for `wanted` good ones with this confidence, each good with `chance`.
///
/// A counted chance takes the beta-binomial, a known one the binomial; the ends take the binomial (the question
/// of Sedcole 1977, Crop Sci. 17: 667-668).
pub fn needed(wanted: u32, confidence: f64, chance: Chance) -> Needed {
    let (low, high) = chance.ends();
    Needed {
        likely: match chance {
            Chance::Counted(share) => sowing::needed_uncertain(wanted, confidence, share),
            Chance::Reported { middle, .. } => middle.and_then(|m| sowing::needed(wanted, confidence, m)),
        },
        at_best: sowing::needed(wanted, confidence, high),
        at_worst: sowing::needed(wanted, confidence, low),
    }
}

/// The same where two things must go well one after the other, such as coming up and being true; they are taken
/// to be independent.
pub fn needed_of_both(wanted: u32, confidence: f64, first: Chance, second: Chance) -> Needed {
    let product = first.spread().zip(second.spread()).map(|(first, second)| {
        first
            .iter()
            .flat_map(|a| second.iter().map(|b| Point { at: a.at * b.at, weight: a.weight * b.weight }))
            .collect::<Vec<_>>()
    });
    let (low, high) = match (first, second) {
        (Chance::Counted(first), Chance::Counted(second)) => {
            (product_quantile(first, second, TAIL), product_quantile(first, second, 1.0 - TAIL))
        }
        _ => {
            let (first, second) = (first.ends(), second.ends());
            (first.0 * second.0, first.1 * second.1)
        }
    };
    Needed {
        likely: product.and_then(|both| sowing::needed_among(&both, wanted, confidence)),
        at_best: sowing::needed(wanted, confidence, high),
        at_worst: sowing::needed(wanted, confidence, low),
    }
}

/// Steps of halving: enough for twelve decimals.
const HALVINGS: usize = 40;

/// The point below which the product of two independent shares lies with this probability:
/// P(first x second <= x) = E[P(first <= x / second)], averaged over the second by quadrature.
fn product_quantile(first: Share, second: Share, probability: f64) -> f64 {
    let second = points(second);
    let below = |x: f64| second.iter().map(|p| p.weight * first.below((x / p.at).min(1.0))).sum::<f64>();
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if below(middle) < probability {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

/// The chance that at least one of `batch` plants is off-type, each off-type with `off_type`.
pub fn at_least_one(batch: u32, off_type: Chance) -> Batch {
    let none = |chance: f64| (1.0 - chance).powf(f64::from(batch));
    let (low, high) = off_type.ends();
    Batch {
        likely: match off_type {
            Chance::Counted(share) => Some(beta_binomial_at_least(1, batch, share)),
            Chance::Reported { middle, .. } => middle.map(|m| 1.0 - none(m)),
        },
        at_best: 1.0 - none(low),
        at_worst: 1.0 - none(high),
    }
}

/// The chance that `markers` loci, at each of which the mother bears two alleles, tell one of her selfed
/// seedlings from a clone: 1 - (1/2)^n, as each such locus is fixed in half of the selfed offspring.
pub fn markers_tell(markers: u32) -> f64 {
    1.0 - 0.5_f64.powf(f64::from(markers))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn published_off_type_rates_give_these_numbers() {
        // Rates published for mango, 2, 4, 22, 36 and 64 % (LITZ-POLY in the reference catalogue); seedlings for one
        // true plant, and for one off-type to be seen, with 95 %: ln 0.05 / ln p, rounded up.
        for (rate, for_true, to_see_one) in
            [(0.02, 1, 149), (0.04, 1, 74), (0.22, 2, 13), (0.36, 3, 7), (0.64, 7, 3)]
        {
            let off = Chance::exactly(rate);
            assert_eq!(needed(1, 0.95, off.complement()).likely, Some(for_true), "{rate}");
            assert_eq!(needed(1, 0.95, off).likely, Some(to_see_one), "{rate}");
        }
        // q = 1/2 ... 1/64 of the reference table's computed rows, 95 and 99 %
        for (chance, confidence, plants) in [
            (0.5, 0.95, 5),
            (0.25, 0.95, 11),
            (0.125, 0.95, 23),
            (0.0625, 0.95, 47),
            (1.0 / 64.0, 0.95, 191),
            (0.25, 0.99, 17),
        ] {
            assert_eq!(needed(1, confidence, Chance::exactly(chance)).likely, Some(plants));
        }
    }

    #[test]
    fn markers() {
        // published as 88 and 94 % for three and four loci
        assert_eq!(markers_tell(3), 0.875);
        assert_eq!(markers_tell(4), 0.9375);
        assert_eq!(markers_tell(0), 0.0);
    }

    #[test]
    fn two_chances_cost_more_than_one() {
        let (germination, truth) =
            (Chance::Counted(Share { a: 17.0, b: 3.0 }), Chance::Counted(Share { a: 45.0, b: 15.0 }));
        let both = needed_of_both(5, 0.9, germination, truth);
        let only = needed(5, 0.9, truth);
        assert!(both.likely > only.likely && both.at_worst >= both.likely && both.at_best <= both.likely);
        // one of them certain is the other alone
        let sure = needed_of_both(5, 0.9, Chance::exactly(1.0), Chance::exactly(0.75));
        assert_eq!(sure, needed(5, 0.9, Chance::exactly(0.75)));
    }

    #[test]
    fn ranges_have_no_middle() {
        let range = Chance::Reported { low: 0.02, middle: None, high: 0.64 };
        let found = needed(1, 0.95, range.complement());
        assert_eq!(found, Needed { likely: None, at_best: Some(1), at_worst: Some(7) });
        let batch = at_least_one(10, range);
        assert!(batch.likely.is_none() && batch.at_best < batch.at_worst);
    }

    proptest! {
        #[test]
        fn worse_never_takes_fewer(a in 0.5_f64..60.0, b in 0.5_f64..60.0, wanted in 1_u32..8) {
            let found = needed(wanted, 0.9, Chance::Counted(Share { a, b }));
            let many = |n: Option<u32>| n.unwrap_or(u32::MAX);
            prop_assert!(many(found.at_best) <= many(found.at_worst));
            prop_assert!(many(found.at_best) <= many(found.likely));
        }

        #[test]
        fn a_batch_is_between_its_ends(a in 1.0_f64..60.0, b in 1.0_f64..60.0, n in 1_u32..200) {
            let batch = at_least_one(n, Chance::Counted(Share { a, b }));
            let likely = batch.likely.unwrap_or(-1.0);
            prop_assert!((0.0..=1.0).contains(&likely));
            prop_assert!(batch.at_best <= batch.at_worst);
        }
    }
}
