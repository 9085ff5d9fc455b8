//! Calculates how many seeds to sow and seedlings to keep. The seed report and the odds use [`needed`] and
//! [`smallest`] with a [`crate::trueness::Spread`]; [`UncertainSeed`] models a seed lot of which more than one
//! rate is known.

use crate::{
    quadrature::{Point, points},
    stats::{Share, beta_binomial_at_least, binomial_at_least},
};

/// Limit above which growing from seed is not practical; there is no answer beyond it.
pub const SEEDS_MAX: u32 = 5_000;

/// Returns the smallest number of seedlings among which at least `wanted` are true with this confidence, if
/// each is true with a known chance (the question of Sedcole 1977, Crop Sci. 17: 667-668; exact binomial here).
/// Returns `None` beyond [`SEEDS_MAX`].
pub fn needed(wanted: u32, confidence: f64, chance: f64) -> Option<u32> {
    smallest(wanted, |n| binomial_at_least(wanted, n, chance) >= confidence)
}

/// Does the same for a chance that is known as a Beta distribution: the beta-binomial.
pub fn needed_uncertain(wanted: u32, confidence: f64, chance: Share) -> Option<u32> {
    smallest(wanted, |n| beta_binomial_at_least(wanted, n, chance) >= confidence)
}

/// Returns the smallest number that is `enough`, a condition that must hold for all larger numbers too. Returns
/// `None` beyond [`SEEDS_MAX`].
pub fn smallest(wanted: u32, enough: impl Fn(u32) -> bool) -> Option<u32> {
    // `enough` is monotonic in n: double until it holds, then bisect.
    let mut high = wanted.max(1);
    while !enough(high) {
        if high >= SEEDS_MAX {
            return None;
        }
        high = (high * 2).min(SEEDS_MAX);
    }
    let mut low = wanted.max(1);
    while low < high {
        let middle = low + (high - low) / 2;
        if enough(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Some(high)
}

/// Parameters that decide whether the one plant kept from a seed is true to type.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeedModel {
    /// Chance that the seed germinates.
    pub germination: f64,
    /// Share of seeds with several sprouts.
    pub several: f64,
    /// Share of those seeds that contain a zygotic sprout.
    pub zygotic: f64,
    /// Number of sprouts of such a seed, at least 2.
    pub sprouts: f64,
    /// Chance that a lone sprout is true; 0 for a monoembryonic cultivar. (Schnell et al. 1994 found 54 % of
    /// lone seedlings zygotic in one cultivar, so about one half there.)
    pub lone_true: f64,
}

impl SeedModel {
    /// Returns the chance that the kept plant is true if a sprout is picked at random.
    pub fn random_keep(self) -> f64 {
        self.germination
            * (self.several * (1.0 - self.zygotic / self.sprouts) + (1.0 - self.several) * self.lone_true)
    }
    /// Returns the same chance after pulling the weakest sprout. `weakest_is_zygotic` is the chance that the weakest
    /// sprout is the zygotic one, if the seed has one. Pulling helps exactly if that chance is above 1 / sprouts.
    pub fn cull_weakest(self, weakest_is_zygotic: f64) -> f64 {
        let left = self.zygotic * (1.0 - weakest_is_zygotic) / (self.sprouts - 1.0);
        self.germination * (self.several * (1.0 - left) + (1.0 - self.several) * self.lone_true)
    }
}

/// The parameters of [`SeedModel`], each known as a distribution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UncertainSeed {
    /// Chance that the seed germinates.
    pub germination: Share,
    /// Share of seeds with several sprouts.
    pub several: Share,
    /// Share of those seeds that contain a zygotic sprout.
    pub zygotic: Share,
    /// Number of sprouts of such a seed, at least 2.
    pub sprouts: f64,
    /// Chance that the weakest sprout is the zygotic one, if the seed has one; `None` if no sprout is pulled.
    pub weakest_is_zygotic: Option<Share>,
    /// Chance that a lone sprout is true.
    pub lone_true: f64,
}

impl UncertainSeed {
    /// Returns the chance that the one plant kept from a seed is true, for every combination of nodes with its
    /// weight.
    pub fn chances(&self) -> Vec<Point> {
        let culls = match self.weakest_is_zygotic {
            None => vec![None],
            Some(share) => points(share).into_iter().map(Some).collect(),
        };
        let mut all = Vec::new();
        let (several, zygotic) = (points(self.several), points(self.zygotic));
        for g in points(self.germination) {
            for p in &several {
                for z in &zygotic {
                    let model = SeedModel {
                        germination: g.at,
                        several: p.at,
                        zygotic: z.at,
                        sprouts: self.sprouts,
                        lone_true: self.lone_true,
                    };
                    let weight = g.weight * p.weight * z.weight;
                    all.extend(culls.iter().map(|cull| match cull {
                        None => Point { at: model.random_keep(), weight },
                        Some(c) => Point { at: model.cull_weakest(c.at), weight: weight * c.weight },
                    }));
                }
            }
        }
        all
    }

    /// Returns the seeds to sow for `wanted` true plants with this confidence, if one plant is kept from each seed.
    pub fn needed(&self, wanted: u32, confidence: f64) -> Option<u32> {
        needed_among(&self.chances(), wanted, confidence)
    }
}

/// Returns the seeds to sow for `wanted` true plants with this confidence, averaged over the uncertain chance.
pub fn needed_among(chances: &[Point], wanted: u32, confidence: f64) -> Option<u32> {
    smallest(wanted, |n| at_least(chances, wanted, n) >= confidence)
}

/// Returns P(at least `wanted` true of n seeds), averaged over the uncertain chance.
pub fn at_least(chances: &[Point], wanted: u32, n: u32) -> f64 {
    chances.iter().map(|c| c.weight * binomial_at_least(wanted, n, c.at)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sedcole_table() {
        // Table of Sedcole's problem, recomputed with scipy from the exact binomial (the paper's printed table
        // was not seen). Rows: chance; columns: at least 1, 2, 3, 5, 10.
        let rows: [(f64, [u32; 5], [u32; 5]); 6] = [
            (3.0 / 4.0, [3, 5, 6, 9, 17], [4, 6, 8, 11, 19]),
            (1.0 / 2.0, [5, 8, 11, 16, 28], [7, 11, 14, 19, 33]),
            (3.0 / 8.0, [7, 11, 15, 22, 39], [10, 15, 19, 27, 45]),
            (1.0 / 4.0, [11, 18, 23, 34, 60], [17, 24, 31, 43, 70]),
            (1.0 / 16.0, [47, 75, 99, 144, 248], [72, 104, 132, 182, 296]),
            (1.0 / 64.0, [191, 302, 401, 584, 1002], [293, 423, 535, 739, 1198]),
        ];
        for (chance, at_95, at_99) in rows {
            for (at, wanted) in [1, 2, 3, 5, 10].into_iter().enumerate() {
                assert_eq!(needed(wanted, 0.95, chance), Some(at_95[at]), "{chance} {wanted}");
                assert_eq!(needed(wanted, 0.99, chance), Some(at_99[at]), "{chance} {wanted}");
            }
        }
    }

    #[test]
    fn published_off_type_rates() {
        // Rates of Truscott 1992, Schnell & Knight 1992, Degani et al. 1993, Khan & Roose 1988; exact arithmetic.
        for (off_type, one_95, one_99, ten_95, ten_99) in [
            (0.02, 1, 2, 11, 12),
            (0.04, 1, 2, 12, 13),
            (0.22, 2, 4, 16, 18),
            (0.36, 3, 5, 21, 24),
            (0.64, 7, 11, 40, 47),
            (0.18, 2, 3, 15, 17),
        ] {
            let chance = 1.0 - off_type;
            assert_eq!(needed(1, 0.95, chance), Some(one_95));
            assert_eq!(needed(1, 0.99, chance), Some(one_99));
            assert_eq!(needed(10, 0.95, chance), Some(ten_95));
            assert_eq!(needed(10, 0.99, chance), Some(ten_99));
        }
    }

    #[test]
    fn uncertainty_costs_seeds() {
        // Beta-binomial against plug-in binomial, computed with scipy.
        for (a, b, wanted, confidence, uncertain, plug_in) in [
            (9.0, 3.0, 1, 0.9, 2, 2),
            (9.0, 3.0, 3, 0.95, 7, 6),
            (9.0, 3.0, 10, 0.95, 21, 17),
            (45.0, 15.0, 10, 0.95, 18, 17),
            (450.0, 150.0, 10, 0.9, 16, 16),
            (19.0, 1.0, 10, 0.95, 12, 12),
            (2.0, 2.0, 3, 0.95, 24, 11),
            (2.0, 2.0, 10, 0.95, 76, 28),
        ] {
            let share = Share { a, b };
            assert_eq!(needed_uncertain(wanted, confidence, share), Some(uncertain), "{a} {b} {wanted}");
            assert_eq!(needed(wanted, confidence, share.mean()), Some(plug_in), "{a} {b} {wanted}");
        }
    }

    #[test]
    fn culling_helps_exactly_above_one_in_sprouts() {
        // Values calculated by hand: several = 1, zygotic = 0.4, three sprouts, all germinate.
        let model = SeedModel { germination: 1.0, several: 1.0, zygotic: 0.4, sprouts: 3.0, lone_true: 0.0 };
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} {b}");
        close(model.random_keep(), 0.866_666_666_666_666_7);
        close(model.cull_weakest(0.0), 0.8);
        close(model.cull_weakest(1.0 / 3.0), model.random_keep());
        close(model.cull_weakest(1.0), 1.0);
    }

    /// Three uncertain parts at once, computed with scipy by the same rule; a Monte Carlo run gave 0.9305.
    #[test]
    fn uncertain_parts_together() {
        let beta = |a: f64, b: f64| Share { a, b };
        let plain = UncertainSeed {
            germination: beta(17.0, 3.0),
            several: beta(38.0, 2.0),
            zygotic: beta(8.0, 12.0),
            sprouts: 3.0,
            weakest_is_zygotic: None,
            lone_true: 0.0,
        };
        let probability = at_least(&plain.chances(), 5, 10);
        assert!((probability - 0.9304).abs() < 6e-5, "{probability}");
        assert_eq!(plain.needed(5, 0.9), Some(10));
        // Pulling the weakest sprout gains nothing if it is zygotic no more often than by chance.
        let doubtful = UncertainSeed { weakest_is_zygotic: Some(beta(1.0, 2.0)), ..plain };
        let probability = at_least(&doubtful.chances(), 5, 10);
        assert!((probability - 0.925).abs() < 6e-4, "{probability}");
        let reliable = UncertainSeed { weakest_is_zygotic: Some(beta(9.0, 3.0)), ..plain };
        let probability = at_least(&reliable.chances(), 5, 9);
        assert!((probability - 0.9398).abs() < 6e-5, "{probability}");
    }

    #[test]
    fn hopeless_is_said() {
        assert_eq!(needed(1, 0.95, 0.0), None);
        assert_eq!(needed(0, 0.95, 0.5), Some(1));
    }
}
