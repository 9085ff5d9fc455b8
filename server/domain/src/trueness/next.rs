//! What one more count would teach: how much narrower the share of off-types would be known after so many more
//! seedlings were judged, before anyone judges them.
//!
//! The sums over the possible outcomes are exact. What a new report shows scatters around the share as a
//! beta-binomial with the correlation of seedlings within a report ([`WITHIN_REPORT`]); what is then known is what
//! [`after`](super::after) would make of it.

use std::sync::LazyLock;

use statrs::function::beta::ln_beta;

use super::{
    CropModel, Observed, Spread, Trueness, after,
    grid::{POINTS, SHARES},
};
use crate::evidence::share::{CONFIDENCE, Quality, WITHIN_REPORT};

/// Seedlings of the counts that are proposed: few, and a usual tray.
pub const JUDGED: [u32; 2] = [10, 20];
/// Chance that someone can make a count where seed is on offer, where only plants of it are known, and where
/// neither is. A choice, not an estimate.
const CAN: [f64; 3] = [1.0, 0.5, 0.1];
/// Look-ups that every record is taken to have had, so that one which no one asked for lately can still be
/// proposed.
const ASKED_ANYWAY: f64 = 1.0;

/// What a count would teach about a share.
#[derive(Clone, Debug, PartialEq)]
pub struct Taught {
    /// Seedlings that would be judged.
    pub judged: u32,
    /// The 90 % interval as it is known now.
    pub now: (f64, f64),
    /// Mean width of the interval afterwards, over all outcomes.
    pub width: f64,
    /// The middle outcome: so many of them off-type.
    pub middle: u32,
    /// The interval after the middle outcome.
    pub after_middle: (f64, f64),
}

impl Taught {
    /// Returns the mean narrowing of the interval; below 0 where the count would more likely unsettle what is
    /// known.
    pub fn narrowing(&self) -> f64 {
        self.now.1 - self.now.0 - self.width
    }
}

/// What can come of a count, one row of [`POINTS`] for each outcome: its chance at each grid point, and what is learnt
/// from it.
struct Outcomes {
    judged: u32,
    rows: Vec<Vec<f64>>,
    likelihoods: Vec<Vec<f64>>,
}

impl Outcomes {
    fn new(judged: u32, quality: Quality) -> Self {
        let precision = 1.0 / WITHIN_REPORT - 1.0;
        let rows = (0..=judged)
            .map(|off| {
                let (x, n) = (f64::from(off), f64::from(judged));
                let ways = -(n + 1.0).ln() - ln_beta(x + 1.0, n - x + 1.0);
                let of = |share: &f64| {
                    let (a, b) = (precision * share, precision * (1.0 - share));
                    (ways + ln_beta(a + x, b + n - x) - ln_beta(a, b)).exp()
                };
                SHARES.iter().map(of).collect()
            })
            .collect();
        let learnt = |off: u32| {
            let Observed { yes, no, .. } = Observed::counted(off, judged);
            let weight = quality.weight();
            Observed { yes: yes * weight, no: no * weight, ..Observed::default() }.likelihood()
        };
        Self { judged, rows, likelihoods: (0..=judged).map(learnt).collect() }
    }
    /// Returns the chance of each outcome if the share is known so.
    fn chances(&self, known: &Spread) -> Vec<f64> {
        let of = |row: &Vec<f64>| known.weights().zip(row).map(|(weight, chance)| weight * chance).sum();
        self.rows.iter().map(of).collect()
    }
    /// Returns the interval after an outcome.
    fn then(&self, known: &Spread, off: usize) -> (f64, f64) {
        let likelihood = self.likelihoods.get(off).into_iter().flatten();
        let weights: Vec<f64> = known.weights().zip(likelihood).map(|(w, l)| w * l).collect();
        Spread::on_grid(&weights).interval(CONFIDENCE)
    }
}

static DOCUMENTED: LazyLock<Vec<Outcomes>> =
    LazyLock::new(|| JUDGED.map(|judged| Outcomes::new(judged, Quality::Documented)).into());
static COUNTED: LazyLock<Vec<Outcomes>> =
    LazyLock::new(|| JUDGED.map(|judged| Outcomes::new(judged, Quality::Counted)).into());

fn width((low, high): (f64, f64)) -> f64 {
    high - low
}

fn taught_by(outcomes: &Outcomes, known: &Spread) -> Taught {
    let chances = outcomes.chances(known);
    let mean =
        chances.iter().enumerate().map(|(off, chance)| chance * width(outcomes.then(known, off))).sum();
    let mut below = 0.0;
    let middle = chances.iter().position(|chance| {
        below += chance;
        below >= 0.5
    });
    let middle = middle.unwrap_or_default();
    Taught {
        judged: outcomes.judged,
        now: known.interval(CONFIDENCE),
        width: mean,
        middle: u32::try_from(middle).unwrap_or_default(),
        after_middle: outcomes.then(known, middle),
    }
}

/// Returns what each of the proposed counts ([`JUDGED`]) would teach about a cultivar's off-types, fewest
/// seedlings first, if they are documented so well.
pub fn taught(known: &Trueness, quality: Quality) -> Vec<Taught> {
    debug_assert_eq!(known.off_type.points().len(), POINTS, "known on the grid");
    let outcomes = match quality {
        Quality::Documented => &*DOCUMENTED,
        Quality::Counted => &*COUNTED,
    };
    outcomes.iter().map(|outcomes| taught_by(outcomes, &known.off_type)).collect()
}

/// Returns what a sowing of 20 seeds, with its sprouts counted, would teach about the share of seeds that send up
/// several, from what was observed of it. With nothing observed, the share is as unknown as any
/// ([`CropModel`](super::CropModel) without cultivars).
pub fn taught_by_sprouts(observed: &Observed, quality: Quality) -> Option<Taught> {
    let known = after(CropModel::default().predictive(), observed);
    let outcomes = match quality {
        Quality::Documented => &*DOCUMENTED,
        Quality::Counted => &*COUNTED,
    };
    outcomes.last().map(|outcomes| taught_by(outcomes, &known))
}

/// Who could make a count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// Seed, or fruit for its seed, is on offer or in the asker's hands.
    Seed,
    /// Someone keeps plants of it.
    Plants,
    /// Neither is known.
    None,
}

/// Returns the worth of a count: its narrowing, times how often the record is looked up, times the chance that
/// someone can make it. It orders proposals and has no unit.
pub fn worth(taught: &Taught, looked_up: u64, source: Source) -> f64 {
    let [seed, plants, none] = CAN;
    let can = match source {
        Source::Seed => seed,
        Source::Plants => plants,
        Source::None => none,
    };
    let asked = f64::from(u32::try_from(looked_up).unwrap_or(u32::MAX)) + ASKED_ANYWAY;
    taught.narrowing().max(0.0) * asked * can
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::trueness::UnitId;

    fn id(at: usize) -> UnitId {
        UnitId::Subject(format!("{at:02}"))
    }
    fn rates(rates: &[(f64, f64)]) -> Observed {
        let mut all = Observed::default();
        for (low, high) in rates {
            all.add_rate(*low, *high, None);
        }
        all
    }

    /// Check values of a prototype in Python, written from the model's description: widths now and after 10 and 20
    /// judged seedlings, for the reference catalogue's rates (five mangoes, eighteen citrus).
    #[test]
    #[expect(clippy::approx_constant, reason = "a width, not 1 / pi")]
    fn check_values() {
        let mango = [
            (rates(&[(0.22, 0.22)]), [0.407, 0.331, 0.318]),
            (rates(&[(0.02, 0.02), (0.04, 0.04)]), [0.276, 0.230, 0.223]),
            (rates(&[(0.36, 0.36)]), [0.456, 0.371, 0.351]),
            (rates(&[(0.64, 0.64)]), [0.559, 0.431, 0.407]),
            (rates(&[(0.28, 0.28)]), [0.427, 0.347, 0.332]),
        ];
        let (under, between, over) = ((0.0, 0.1), (0.1, 0.3), (0.3, 1.0));
        let mut citrus = vec![(rates(&[under]), [0.216, 0.192, 0.188]); 3];
        citrus.extend(vec![(rates(&[between]), [0.333, 0.287, 0.274]); 4]);
        citrus.extend(vec![(rates(&[over]), [0.665, 0.445, 0.414]); 4]);
        citrus.extend([
            (rates(&[(0.05, 0.1)]), [0.238, 0.212, 0.203]),
            (rates(&[(0.021, 0.021), (0.46, 0.46), (0.02, 0.02)]), [0.236, 0.213, 0.210]),
            (rates(&[(0.026, 0.026), (0.18, 0.18)]), [0.229, 0.206, 0.203]),
            (rates(&[(0.008, 0.008)]), [0.245, 0.214, 0.206]),
            (rates(&[(0.008, 0.008)]), [0.245, 0.214, 0.206]),
            (rates(&[(0.0, 0.0)]), [0.181, 0.169, 0.161]),
            (rates(&[(0.57, 0.57)]), [0.530, 0.415, 0.392]),
        ]);
        let none = ([0.774, 0.446, 0.408], [0.623, 0.374, 0.347]);
        for (crop, none) in [(mango.to_vec(), none.0), (citrus, none.1)] {
            let model =
                CropModel::new(crop.iter().enumerate().map(|(at, (observed, _))| (id(at), observed.clone())));
            let check = |known: Arc<Trueness>, expected: [f64; 3], what: &str| {
                let taught = taught(&known, Quality::Documented);
                let found = [width(taught[0].now), taught[0].width, taught[1].width];
                for (found, expected) in found.iter().zip(expected) {
                    assert!((found - expected).abs() < 0.012, "{what}: {found} found, {expected} expected");
                }
            };
            check(model.of_uncounted(), none, "no one counted");
            for (at, (observed, expected)) in crop.iter().enumerate() {
                check(model.of_cultivar(&id(at), observed), *expected, &format!("{at}"));
            }
        }
    }

    /// The more sprouts were counted, the less 20 more seeds teach.
    #[test]
    fn sprouts_teach_less_the_more_were_counted() {
        let taught = |several: u32, seeds: u32| {
            let observed = if seeds == 0 { Observed::default() } else { Observed::counted(several, seeds) };
            taught_by_sprouts(&observed, Quality::Counted).unwrap()
        };
        let [none, few, many] = [taught(0, 0), taught(9, 10), taught(180, 200)];
        assert!(none.narrowing() > few.narrowing() && few.narrowing() > many.narrowing());
        assert!(many.narrowing() > 0.0 && none.judged == 20);
    }

    #[test]
    fn outcomes_are_all_that_can_happen() {
        for outcomes in DOCUMENTED.iter() {
            for at in (0..POINTS).step_by(37) {
                let sum: f64 = outcomes.rows.iter().map(|row| row[at]).sum();
                assert!((sum - 1.0).abs() < 1e-9, "{sum}");
                let mean: f64 =
                    (0_u32..).zip(&outcomes.rows).map(|(off, row)| f64::from(off) * row[at]).sum();
                assert!((mean / f64::from(outcomes.judged) - SHARES[at]).abs() < 1e-9, "{mean}");
            }
        }
    }

    /// A small generator of the tests' own: splitmix64.
    struct Random(u64);
    impl Random {
        fn next(&mut self) -> f64 {
            self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = self.0;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            f64::from(u32::try_from((z ^ (z >> 31)) >> 32).unwrap()) / 4_294_967_296.0
        }
        /// Standard normal, by Box and Muller.
        fn normal(&mut self) -> f64 {
            let (u, v) = (self.next().max(1e-12), self.next());
            (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
        }
        /// Off-types among 20 judged seedlings, by an urn: its first ball shows the share, and each ball drawn goes
        /// back with 1 / (1 / correlation - 1) more of its kind.
        fn judged(&mut self, share: f64) -> u32 {
            let precision = 1.0 / WITHIN_REPORT - 1.0;
            let (mut off, mut all) = (0_u32, 0_u32);
            for _ in 0..20 {
                let chance = (precision * share + f64::from(off)) / (precision + f64::from(all));
                off += u32::from(self.next() < chance);
                all += 1;
            }
            off
        }
    }

    /// Cultivars with true shares and numbers of look-ups, and what was counted of each.
    struct Grove {
        shares: Vec<f64>,
        looks: Vec<u64>,
        counted: Vec<Observed>,
        model: CropModel,
    }
    impl Grove {
        fn new(random: &mut Random) -> Self {
            let shares: Vec<f64> =
                (0..12).map(|_| 1.0 / (1.0 + (1.2 - 1.3 * random.normal()).exp())).collect();
            let looks = (0..12).map(|rank| 1 + 60 / (1 + rank)).collect();
            Self { shares, looks, counted: vec![Observed::default(); 12], model: CropModel::default() }
        }
        fn known(&self, at: usize) -> Arc<Trueness> {
            self.model.of_cultivar(&id(at), &self.counted[at])
        }
        fn width(&self, at: usize) -> f64 {
            width(self.known(at).off_type.interval(CONFIDENCE))
        }
        /// Mean width of what people look up.
        fn asked_width(&self) -> f64 {
            let sum: f64 = (0..12).map(|at| self.width(at) * self.looks[at] as f64).sum();
            sum / self.looks.iter().sum::<u64>() as f64
        }
        fn count(&mut self, at: usize, random: &mut Random) {
            let more = Observed::counted(random.judged(self.shares[at]), 20);
            self.counted[at].yes += more.yes;
            self.counted[at].no += more.no;
            self.model = self.model.changed(&id(at), &self.counted[at]).unwrap();
        }
        fn advised(&self) -> (usize, Taught) {
            let proposals = (0..12).map(|at| (at, taught(&self.known(at), Quality::Documented)[1].clone()));
            let worth = |at: usize, taught: &Taught| worth(taught, self.looks[at], Source::Seed);
            proposals.max_by(|(a, x), (b, y)| worth(*a, x).total_cmp(&worth(*b, y))).unwrap()
        }
    }

    /// Who follows the advice for 50 counts knows more of what is asked for than who counts at random or always what
    /// is asked most, on the way and in the end; and what was promised of each count came true within a tenth.
    #[test]
    fn advice_teaches_faster() {
        let (mut promised, mut achieved) = (0.0, 0.0);
        let mut sums = [[0.0; 3]; 2];
        for seed in 1..=6 {
            for (way, sums) in sums.as_mut_slice().iter_mut().flat_map(|s| s.iter_mut()).enumerate() {
                let (steps, way) = if way < 3 { (20, way) } else { (50, way - 3) };
                let mut random = Random(seed);
                let mut grove = Grove::new(&mut random);
                for _ in 0..steps {
                    let at = match way {
                        0 => {
                            let (at, taught) = grove.advised();
                            let before = grove.width(at);
                            promised += taught.narrowing();
                            grove.count(at, &mut random);
                            achieved += before - grove.width(at);
                            continue;
                        }
                        1 => (random.next() * 12.0) as usize,
                        _ => (0..12).max_by_key(|at| grove.looks[*at]).unwrap(),
                    };
                    grove.count(at, &mut random);
                }
                *sums += grove.asked_width() / 6.0;
            }
        }
        for [advised, at_random, most_asked] in sums {
            assert!(advised < at_random && advised < most_asked, "{advised} {at_random} {most_asked}");
        }
        assert!((achieved / promised - 1.0).abs() < 0.1, "{promised} promised, {achieved} achieved");
    }
}
