//! Hierarchical model over the cultivars of a crop.

use std::{
    cmp::Ordering,
    sync::{Arc, LazyLock, OnceLock},
};

use super::{
    Observed, Spread, Trueness,
    grid::{LOGITS, POINTS, count},
};
use crate::ids::CultivarId;

/// Grid points of mu, from -5 to 4, and of tau, from 0.1 to 4.
const MUS: usize = 61;
const TAUS: usize = 40;
const CELLS: usize = MUS * TAUS;
const MU: (f64, f64) = (-5.0, 4.0);
const TAU: (f64, f64) = (0.1, 4.0);
/// Scale of the priors of mu (Normal) and tau (half-Normal).
const SCALE: f64 = 1.5;
/// Maximum number of cultivars in the model; those with the highest counts stay. More would not visibly narrow
/// the spread.
pub const UNITS_MAX: usize = 200;
/// Cells with a weight below this fraction of the heaviest cell are ignored.
const NEGLIGIBLE: f64 = 1e-12;

/// Identifies a cultivar, or a set of plants without a record.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum UnitId {
    /// Cultivar with a record.
    Record(CultivarId),
    /// Plants without a record, as their source names them.
    Subject(String),
}

/// Grid of mu and tau: for each cell its distribution of the share, and the logarithm of its prior.
struct Cells {
    /// P(share | cell), one row of [`POINTS`] for each cell.
    rows: Vec<f32>,
    prior: Vec<f64>,
}

fn even((from, to): (f64, f64), at: usize, of: usize) -> f64 {
    from + (to - from) * count(at) / (count(of) - 1.0)
}

static GRID: LazyLock<Cells> = LazyLock::new(|| {
    let mut rows = Vec::with_capacity(CELLS * POINTS);
    let mut prior = Vec::with_capacity(CELLS);
    for m in 0..MUS {
        for t in 0..TAUS {
            let (mu, tau) = (even(MU, m, MUS), even(TAU, t, TAUS));
            let row: Vec<f64> = LOGITS.iter().map(|x| (-0.5 * ((x - mu) / tau).powi(2)).exp()).collect();
            let sum: f64 = row.iter().sum();
            #[expect(clippy::cast_possible_truncation, reason = "seven digits are enough for weights")]
            rows.extend(row.iter().map(|w| (w / sum) as f32));
            prior.push(-0.5 * ((mu / SCALE).powi(2) + (tau / SCALE).powi(2)));
        }
    }
    Cells { rows, prior }
});

/// A cultivar with observations.
#[derive(Clone, Debug)]
struct Unit {
    id: UnitId,
    observed: Observed,
    /// ln P(observations | cell).
    marginal: Arc<Vec<f64>>,
    /// Result for this cultivar, calculated at the first request.
    known: Arc<OnceLock<Arc<Trueness>>>,
}

impl Unit {
    fn new(id: UnitId, observed: Observed) -> Self {
        let likelihood = observed.likelihood();
        let cells = GRID.rows.chunks_exact(POINTS);
        let of_cell =
            |row: &[f32]| row.iter().zip(&likelihood).map(|(w, l)| f64::from(*w) * l).sum::<f64>().ln();
        let marginal = Arc::new(cells.map(of_cell).collect());
        Self { id, observed, marginal, known: Arc::default() }
    }
    /// Orders by effective count, highest first, then by the observations. Ids come last, because they differ
    /// between databases and would change the last digits of sums.
    fn order(&self, other: &Self) -> Ordering {
        let counted = other.observed.effective().total_cmp(&self.observed.effective());
        counted.then_with(|| self.observed.order(&other.observed)).then_with(|| self.id.cmp(&other.id))
    }
}

/// Model of one group of a crop's cultivars.
#[derive(Clone, Debug)]
pub struct CropModel {
    /// Cultivars by descending count, at most [`UNITS_MAX`].
    units: Vec<Unit>,
    /// ln P(cell | all observations), up to a constant.
    cells: Vec<f64>,
    /// Result for a cultivar without observations.
    uncounted: Arc<Trueness>,
}

impl Default for CropModel {
    fn default() -> Self {
        static EMPTY: LazyLock<CropModel> = LazyLock::new(|| CropModel::of(Vec::new()));
        EMPTY.clone()
    }
}

/// Returns the distribution of the share, averaged over the cells with these log weights.
fn averaged(cells: &[f64]) -> Spread {
    let most = cells.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut weights = vec![0.0; POINTS];
    for (cell, row) in cells.iter().zip(GRID.rows.chunks_exact(POINTS)) {
        let weight = (cell - most).exp();
        if weight > NEGLIGIBLE {
            weights.iter_mut().zip(row).for_each(|(sum, w)| *sum += weight * f64::from(*w));
        }
    }
    Spread::on_grid(&weights)
}

impl CropModel {
    fn of(mut units: Vec<Unit>) -> Self {
        units.sort_by(Unit::order);
        units.truncate(UNITS_MAX);
        let mut cells = GRID.prior.clone();
        for unit in &mut units {
            cells.iter_mut().zip(unit.marginal.iter()).for_each(|(sum, m)| *sum += m);
            unit.known = Arc::default();
        }
        let of_crop = averaged(&cells);
        let uncounted = Arc::new(Trueness {
            off_type: of_crop.clone(),
            of_crop,
            own: false,
            others: units.len(),
            seen: seen_in(units.iter()),
        });
        Self { units, cells, uncounted }
    }

    /// Builds the model from the observations of each cultivar; the order of the input does not matter.
    pub fn new(observed: impl IntoIterator<Item = (UnitId, Observed)>) -> Self {
        let mut all: Vec<(UnitId, Observed)> = observed.into_iter().filter(|(_, o)| !o.is_empty()).collect();
        all.sort_by(|(a, x), (b, y)| {
            let counted = y.effective().total_cmp(&x.effective());
            counted.then_with(|| x.order(y)).then_with(|| a.cmp(b))
        });
        all.truncate(UNITS_MAX);
        Self::of(all.into_iter().map(|(id, observed)| Unit::new(id, observed)).collect())
    }

    /// Returns true if these observations would not change the model.
    pub fn is_as(&self, id: &UnitId, observed: &Observed) -> bool {
        match self.units.iter().find(|unit| unit.id == *id) {
            Some(unit) => unit.observed == *observed,
            None => {
                let full = self.units.len() >= UNITS_MAX;
                let last = self.units.last().map_or(0.0, |unit| unit.observed.effective());
                observed.is_empty() || full && observed.effective() < last
            }
        }
    }

    /// Returns the model after one cultivar's observations have changed. Returns `None` if the caller must
    /// rebuild it, because a cultivar outside the full model may now belong in it.
    pub fn changed(&self, id: &UnitId, observed: &Observed) -> Option<Self> {
        if self.is_as(id, observed) {
            return Some(self.clone());
        }
        let before = self.units.iter().find(|unit| unit.id == *id);
        let full = self.units.len() >= UNITS_MAX;
        let less = before.is_some_and(|unit| unit.observed.effective() > observed.effective());
        if full && less {
            return None;
        }
        let mut units: Vec<Unit> = self.units.iter().filter(|unit| unit.id != *id).cloned().collect();
        if !observed.is_empty() {
            units.push(Unit::new(id.clone(), observed.clone()));
        }
        Some(Self::of(units))
    }

    /// Returns the distribution of the share for a cultivar without observations.
    pub fn predictive(&self) -> &Spread {
        &self.uncounted.off_type
    }

    /// Returns the result for a cultivar without observations.
    pub fn of_uncounted(&self) -> Arc<Trueness> {
        self.uncounted.clone()
    }

    /// Returns the prior of a cultivar in the model, learnt from the other cultivars only.
    fn prior_of(&self, unit: &Unit) -> Spread {
        let cells: Vec<f64> =
            self.cells.iter().zip(unit.marginal.iter()).map(|(all, own)| all - own).collect();
        averaged(&cells)
    }

    /// Returns the result for a cultivar with these observations.
    pub fn of_cultivar(&self, id: &UnitId, observed: &Observed) -> Arc<Trueness> {
        if observed.is_empty() {
            return self.of_uncounted();
        }
        let known = |of_crop: Spread| {
            let others = self.units.iter().filter(|unit| unit.id != *id);
            Arc::new(Trueness {
                off_type: after(&of_crop, observed),
                of_crop,
                own: true,
                others: others.clone().count(),
                seen: seen_in(others),
            })
        };
        match self.units.iter().find(|unit| unit.id == *id) {
            Some(unit) if unit.observed == *observed => {
                unit.known.get_or_init(|| known(self.prior_of(unit))).clone()
            }
            Some(unit) => known(self.prior_of(unit)),
            None => known(self.predictive().clone()),
        }
    }
}

/// Returns the lowest and the highest share observed in any of these cultivars.
fn seen_in<'a>(units: impl Iterator<Item = &'a Unit>) -> Option<(f64, f64)> {
    units.filter_map(|unit| unit.observed.seen()).reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
}

/// Returns the posterior after the observations.
pub fn after(prior: &Spread, observed: &Observed) -> Spread {
    let weights: Vec<f64> = prior.weights().zip(observed.likelihood()).map(|(w, l)| w * l).collect();
    Spread::on_grid(&weights)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn id(name: &str) -> UnitId {
        UnitId::Subject(name.into())
    }
    fn observed(rates: &[(f64, f64)]) -> Observed {
        let mut all = Observed::default();
        for (low, high) in rates {
            all.add_rate(*low, *high, None);
        }
        all
    }
    fn quantiles(spread: &Spread) -> [f64; 3] {
        [0.05, 0.5, 0.95].map(|p| spread.quantile(p))
    }
    fn close(found: &Spread, expected: &[f64; 3], what: &str) {
        for (found, expected) in quantiles(found).iter().zip(expected) {
            assert!((found - expected).abs() < 0.01, "{what}: {found} found, {expected} expected");
        }
    }

    /// Check values of the model: off-type rates of the reference catalogue (five mangoes, eighteen citrus),
    /// calculated by a prototype in Python; quantiles 5, 50 and 95 %, within 0.01.
    #[test]
    fn check_values() {
        let mango = [
            ("13-1", vec![(0.22, 0.22)], [0.076, 0.24, 0.483], [0.031, 0.303, 0.877]),
            ("Sabre", vec![(0.02, 0.02), (0.04, 0.04)], [0.017, 0.109, 0.293], [0.101, 0.384, 0.776]),
            ("Madoe", vec![(0.36, 0.36)], [0.128, 0.312, 0.584], [0.026, 0.266, 0.861]),
            ("Golek", vec![(0.64, 0.64)], [0.224, 0.483, 0.783], [0.035, 0.209, 0.707]),
            ("a Florida rootstock", vec![(0.28, 0.28)], [0.101, 0.275, 0.528], [0.028, 0.284, 0.872]),
        ];
        let under = vec![(0.0, 0.1)];
        let between = vec![(0.1, 0.3)];
        let over = vec![(0.3, 1.0)];
        let (under_is, between_is, over_is) =
            ([0.016, 0.093, 0.232], [0.061, 0.188, 0.394], [0.133, 0.363, 0.798]);
        let (under_left, between_left, over_left) =
            ([0.028, 0.188, 0.658], [0.021, 0.174, 0.697], [0.026, 0.162, 0.584]);
        let mut citrus = Vec::new();
        for name in ["C-32", "Gomeri", "Indio"] {
            citrus.push((name, under.clone(), under_is, under_left));
        }
        for name in ["CPB4475", "Cuban", "Volkamer", "Ponderosa"] {
            citrus.push((name, between.clone(), between_is, between_left));
        }
        for name in ["Sacaton", "TerraBella", "Taiwanica", "Yuma"] {
            citrus.push((name, over.clone(), over_is, over_left));
        }
        citrus.extend([
            ("Swingle", vec![(0.05, 0.1)], [0.037, 0.128, 0.275], [0.023, 0.188, 0.697]),
            (
                "rough",
                vec![(0.021, 0.021), (0.46, 0.46), (0.02, 0.02)],
                [0.067, 0.162, 0.303],
                [0.02, 0.181, 0.707],
            ),
            ("trifoliate", vec![(0.026, 0.026), (0.18, 0.18)], [0.037, 0.123, 0.266], [0.023, 0.188, 0.697]),
            ("sweet", vec![(0.008, 0.008)], [0.013, 0.093, 0.257], [0.028, 0.188, 0.658]),
            ("Troyer", vec![(0.008, 0.008)], [0.013, 0.093, 0.257], [0.028, 0.188, 0.658]),
            ("Cleopatra", vec![(0.0, 0.0)], [0.014, 0.076, 0.194], [0.032, 0.194, 0.637]),
            ("redlime", vec![(0.57, 0.57)], [0.168, 0.394, 0.697], [0.027, 0.162, 0.562]),
        ]);
        for (crop, none) in [(mango.to_vec(), [0.038, 0.284, 0.812]), (citrus, [0.025, 0.174, 0.648])] {
            let model = CropModel::new(crop.iter().map(|(name, rates, ..)| (id(name), observed(rates))));
            close(model.predictive(), &none, "no one counted");
            for (name, rates, posterior, left_out) in &crop {
                close(&model.of_cultivar(&id(name), &observed(rates)).off_type, posterior, name);
                let known = model.of_cultivar(&id(name), &observed(rates));
                close(&known.of_crop, left_out, &format!("{name} left out"));
            }
        }
    }

    /// Ids differ between databases; the result is the same to the last digit.
    #[test]
    fn ids_do_not_move_a_digit() {
        let rates = [0.02, 0.22, 0.28, 0.36, 0.64, 0.04];
        let units: Vec<Observed> = rates
            .into_iter()
            .map(|rate| Observed { rates: vec![rate], ..Observed::default() })
            .chain([Observed::counted(3, 40), Observed::counted(1, 25)])
            .collect();
        let known = |turn: usize| {
            // Each turn changes which unit is first by id.
            let id = |at: usize| UnitId::Subject(format!("{:02}", (at * 5 + turn) % units.len()));
            let model = CropModel::new(units.iter().cloned().enumerate().map(|(at, o)| (id(at), o)));
            let bits = |spread: &Spread| (spread.mean().to_bits(), spread.interval(0.9).0.to_bits());
            let own = model.of_cultivar(&id(2), &units[2]);
            (bits(model.predictive()), bits(&own.off_type), bits(&own.of_crop))
        };
        assert!((1..8).all(|turn| known(turn) == known(0)));
    }

    #[test]
    fn one_change_equals_a_new_computation() {
        let all =
            [("a", 0.1), ("b", 0.3), ("c", 0.6)].map(|(name, rate)| (id(name), observed(&[(rate, rate)])));
        let whole = CropModel::new(all.clone());
        let part = CropModel::new(all[..2].to_vec()).changed(&all[2].0, &all[2].1).unwrap();
        close(part.predictive(), &quantiles(whole.predictive()), "one more");
        let less = whole.changed(&id("c"), &Observed::default()).unwrap();
        close(less.predictive(), &quantiles(CropModel::new(all[..2].to_vec()).predictive()), "one less");
        assert_eq!(whole.of_cultivar(&id("a"), &all[0].1).seen, Some((0.3, 0.6)), "what others show");
        let many = (0..=UNITS_MAX).map(|n| (id(&format!("{n:03}")), observed(&[(0.2, 0.2)])));
        let full = CropModel::new(many);
        assert_eq!(full.units.len(), UNITS_MAX);
        assert!(full.changed(&id("001"), &Observed::default()).is_none(), "the one left out comes in");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]
        /// More off-types at equal counts lower no quantile. A rate outside the interval pulls the median towards it.
        #[test]
        fn evidence_pulls_its_way(n in 1_u32..200, share in 0.0_f64..1.0, others in prop::collection::vec(0.01_f64..0.9, 0..5)) {
            let model = CropModel::new(
                others.iter().enumerate().map(|(at, rate)| (id(&at.to_string()), observed(&[(*rate, *rate)]))),
            );
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "no more than n")]
            let x = ((f64::from(n) * share).floor() as u32).min(n - 1);
            let found = |x: u32| quantiles(&model.of_cultivar(&id("own"), &Observed::counted(x, n)).off_type);
            let (fewer, more) = (found(x), found(x + 1));
            for (fewer, more) in fewer.iter().zip(&more) {
                prop_assert!(more >= fewer);
            }
            let own = Observed::counted(x, n);
            let before = model.of_cultivar(&id("own"), &own).off_type.clone();
            let (low, high) = before.interval(0.9);
            for rate in [low / 2.0, f64::midpoint(high, 1.0)] {
                let mut with = own.clone();
                with.add_rate(rate, rate, None);
                let after = model.of_cultivar(&id("own"), &with).off_type.clone();
                if rate < low {
                    prop_assert!(after.quantile(0.5) <= before.quantile(0.5));
                } else {
                    prop_assert!(after.quantile(0.5) >= before.quantile(0.5));
                }
            }
        }
    }
}
