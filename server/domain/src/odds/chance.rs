//! A chance that is known with uncertainty, and the numbers of seeds and seedlings that follow from it.

use crate::{evidence::share::CONFIDENCE, sowing, trueness::Spread};

/// A chance from 0 to 1, with its uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub enum Chance {
    /// Distribution of the chance; a single point for a typed-in rate.
    Known(Spread),
    /// Lower and upper end of a range, without any distribution between them.
    Between(f64, f64),
}

impl Chance {
    /// Returns a chance without uncertainty.
    pub fn exactly(chance: f64) -> Self {
        Self::Known(Spread::exactly(chance))
    }

    /// Returns the chance of the opposite event.
    #[must_use]
    pub fn complement(&self) -> Self {
        match self {
            Self::Known(spread) => Self::Known(spread.complement()),
            Self::Between(low, high) => Self::Between(1.0 - high, 1.0 - low),
        }
    }

    /// Returns the mean; `None` if only the ends are known.
    pub fn middle(&self) -> Option<f64> {
        match self {
            Self::Known(spread) => Some(spread.mean()),
            Self::Between(..) => None,
        }
    }

    /// Returns the ends of the 90 % interval, or the ends of the range.
    pub fn ends(&self) -> (f64, f64) {
        match self {
            Self::Known(spread) => spread.interval(CONFIDENCE),
            Self::Between(low, high) => (*low, *high),
        }
    }

    /// Returns the chance that both events happen, such as germinating and being true. The events are taken to
    /// be independent.
    #[must_use]
    pub fn and(&self, other: &Self) -> Self {
        match (self, other) {
            (Self::Known(first), Self::Known(second)) => Self::Known(first.and(second)),
            _ => {
                let (first, second) = (self.ends(), other.ends());
                Self::Between(first.0 * second.0, first.1 * second.1)
            }
        }
    }
}

/// Number of plants or seeds needed. `None` means more than [`sowing::SEEDS_MAX`], or for `likely` that only
/// the ends of the chance are known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Needed {
    /// Needed number with the uncertainty of the chance averaged in.
    pub likely: Option<u32>,
    /// Needed number if the chance is at its good end.
    pub at_best: Option<u32>,
    /// Needed number if the chance is at its bad end.
    pub at_worst: Option<u32>,
}

/// Chance of an event in a batch, for the same three cases as [`Needed`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Batch {
    /// Chance with the uncertainty averaged in; `None` if only the ends are known.
    pub likely: Option<f64>,
    /// Chance at the good end.
    pub at_best: f64,
    /// Chance at the bad end.
    pub at_worst: f64,
}

/// Returns how many plants give `wanted` good ones with this confidence, if each is good with `chance`.
/// `likely` averages the uncertainty in. The ends use the binomial at the ends of the 90 % interval (the
/// question of Sedcole 1977, Crop Sci. 17: 667-668). Above 90 % confidence the average can lie outside the
/// ends, so each end is widened to include it.
pub fn needed(wanted: u32, confidence: f64, chance: &Chance) -> Needed {
    let (low, high) = chance.ends();
    let likely = match chance {
        Chance::Known(spread) => spread.needed(wanted, confidence),
        Chance::Between(..) => None,
    };
    let (at_best, at_worst) =
        (sowing::needed(wanted, confidence, high), sowing::needed(wanted, confidence, low));
    match chance {
        Chance::Between(..) => Needed { likely, at_best, at_worst },
        Chance::Known(_) => Needed {
            likely,
            at_best: at_best.zip(likely).map(|(best, likely)| best.min(likely)).or(at_best),
            at_worst: at_worst.zip(likely).map(|(worst, likely)| worst.max(likely)),
        },
    }
}

/// Returns the chance that at least one of `batch` plants is off-type, if each is off-type with `off_type`.
pub fn at_least_one(batch: u32, off_type: &Chance) -> Batch {
    let none = |chance: f64| (1.0 - chance).powf(f64::from(batch));
    let (low, high) = off_type.ends();
    Batch {
        likely: match off_type {
            Chance::Known(spread) => Some(spread.at_least(1, batch)),
            Chance::Between(..) => None,
        },
        at_best: 1.0 - none(low),
        at_worst: 1.0 - none(high),
    }
}

/// Returns the chance that `markers` loci, at which the mother has two different alleles, distinguish one of her
/// selfed seedlings from a clone: 1 - (1/2)^n, because selfing fixes each such locus in half of the offspring.
pub fn markers_tell(markers: u32) -> f64 {
    1.0 - 0.5_f64.powf(f64::from(markers))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::trueness::Observed;

    #[test]
    fn published_off_type_rates_give_these_numbers() {
        // Published off-type rates for mango: 2, 4, 22, 36 and 64 % (LITZ-POLY in the reference catalogue).
        // Seedlings needed for one true plant, and to see one off-type, at 95 %: ln 0.05 / ln p, rounded up.
        for (rate, for_true, to_see_one) in
            [(0.02, 1, 149), (0.04, 1, 74), (0.22, 2, 13), (0.36, 3, 7), (0.64, 7, 3)]
        {
            let off = Chance::exactly(rate);
            assert_eq!(needed(1, 0.95, &off.complement()).likely, Some(for_true), "{rate}");
            assert_eq!(needed(1, 0.95, &off).likely, Some(to_see_one), "{rate}");
        }
        // q = 1/2 ... 1/64: computed rows of the reference table, at 95 and 99 %.
        for (chance, confidence, plants) in [
            (0.5, 0.95, 5),
            (0.25, 0.95, 11),
            (0.125, 0.95, 23),
            (0.0625, 0.95, 47),
            (1.0 / 64.0, 0.95, 191),
            (0.25, 0.99, 17),
        ] {
            assert_eq!(needed(1, confidence, &Chance::exactly(chance)).likely, Some(plants));
        }
    }

    #[test]
    fn markers() {
        // Published as 88 and 94 % for three and four loci.
        assert_eq!(markers_tell(3), 0.875);
        assert_eq!(markers_tell(4), 0.9375);
        assert_eq!(markers_tell(0), 0.0);
    }

    fn counted(of_these: u32, all: u32) -> Chance {
        let none = crate::trueness::CropModel::default();
        Chance::Known(crate::trueness::after(none.predictive(), &Observed::counted(of_these, all)))
    }

    #[test]
    fn two_chances_cost_more_than_one() {
        let (germination, truth) = (counted(17, 20), counted(45, 60));
        let both = needed(5, 0.9, &germination.and(&truth));
        let only = needed(5, 0.9, &truth);
        assert!(both.likely > only.likely && both.at_worst >= both.likely && both.at_best <= both.likely);
        // A certain event leaves the other chance unchanged.
        let sure = needed(5, 0.9, &Chance::exactly(1.0).and(&Chance::exactly(0.75)));
        assert_eq!(sure, needed(5, 0.9, &Chance::exactly(0.75)));
    }

    #[test]
    fn ranges_have_no_middle() {
        let range = Chance::Between(0.02, 0.64);
        let found = needed(1, 0.95, &range.complement());
        assert_eq!(found, Needed { likely: None, at_best: Some(1), at_worst: Some(7) });
        let batch = at_least_one(10, &range);
        assert!(batch.likely.is_none() && batch.at_best < batch.at_worst);
    }

    proptest! {
        #[test]
        fn likely_lies_between_its_ends(of_these in 0_u32..60, more in 1_u32..60, wanted in 1_u32..30, sure in 0.5_f64..0.999) {
            let found = needed(wanted, sure, &counted(of_these, of_these + more));
            let many = |n: Option<u32>| n.unwrap_or(u32::MAX);
            prop_assert!(many(found.at_best) <= many(found.likely));
            prop_assert!(many(found.likely) <= many(found.at_worst));
        }

        #[test]
        fn a_batch_is_between_its_ends(of_these in 0_u32..60, more in 1_u32..60, n in 1_u32..200) {
            let batch = at_least_one(n, &counted(of_these, of_these + more));
            let likely = batch.likely.unwrap_or(-1.0);
            prop_assert!((0.0..=1.0).contains(&likely));
            prop_assert!(batch.at_best <= batch.at_worst);
        }
    }
}
