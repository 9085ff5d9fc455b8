//! Estimates how observers err when they sort items into classes and the true classes are unknown.
//!
//! A. P. Dawid and A. M. Skene 1979, Maximum likelihood estimation of observer error-rates using the EM
//! algorithm, Applied Statistics 28(1): 20-28. Each item has one true class. Given that class, observers rate
//! independently, each by a confusion table of their own. EM estimates classes and tables in turn, starting
//! from vote shares. Observers who err together violate the independence and look better than they are.

/// One observer's rating of one item. An observer may rate an item several times. Items, observers and
/// classes are numbered from 0; unused numbers take memory, so leave no large gaps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Rating {
    /// Number of the item.
    pub item: usize,
    /// Number of the observer.
    pub observer: usize,
    /// Number of the class that the observer gave.
    pub class: usize,
}

/// Settings of the fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Pseudo-count added to the diagonal cell of each row of a confusion table, on top of `off_diagonal`.
    /// Above 0 it assumes that observers tend to be right; 0 gives maximum likelihood.
    pub diagonal: f64,
    /// Pseudo-count added to every cell of a confusion table and to every class share; 0 gives maximum
    /// likelihood.
    pub off_diagonal: f64,
    /// Maximum number of EM iterations; at least one runs.
    pub iterations_max: usize,
    /// The fit stops when no class probability changes by more than this in one iteration.
    pub tolerance: f64,
}

impl Options {
    /// Maximum likelihood, as published.
    pub const ML: Self = Self { diagonal: 0.0, off_diagonal: 0.0, iterations_max: 500, tolerance: 1e-9 };
    /// Maximum a posteriori with half a count in every cell and 2 more on the diagonal. An observer with few
    /// ratings then looks neither perfect nor hopeless.
    pub const MAP: Self = Self { diagonal: 2.0, off_diagonal: 0.5, ..Self::ML };
}

/// The estimates.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Share of each class among the rated items; sums to 1.
    pub class_shares: Vec<f64>,
    /// Probability of each rating, as `[observer][true class][rated class]`; each row sums to 1. A row
    /// without data is uniform.
    pub confusion: Vec<Vec<Vec<f64>>>,
    /// Probability of each class, as `[item][class]`; an item without ratings has the class shares.
    pub posterior: Vec<Vec<f64>>,
    /// Natural logarithm of the probability of all ratings, without multinomial constants and without the
    /// prior.
    pub log_likelihood: f64,
    /// Number of iterations run; `iterations_max` when the fit did not converge.
    pub iterations: usize,
}

/// How often an observer is right, as estimated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    /// Estimated share of the observer's ratings that are right, 0 to 1.
    pub share: f64,
    /// Number of ratings behind the share.
    pub ratings: usize,
}

/// Limit on cells in all tables together, so that one stray number in the ratings cannot exhaust memory.
const CELLS_MOST: usize = 50_000_000;

/// Estimates classes and confusion tables. The same ratings give the same fit, whatever their order.
///
/// Returns `None` without ratings, with a class not below `classes`, with negative or infinite pseudo-counts,
/// or when the highest numbers would make the tables larger than 50 million cells.
pub fn fit(ratings: &[Rating], classes: usize, options: Options) -> Option<Fit> {
    let usable = |pseudo: f64| pseudo.is_finite() && pseudo >= 0.0;
    if !usable(options.diagonal) || !usable(options.off_diagonal) {
        return None;
    }
    if ratings.iter().any(|rating| rating.class >= classes) {
        return None;
    }
    let items = ratings.iter().map(|r| r.item).max()?.checked_add(1)?;
    let observers = ratings.iter().map(|r| r.observer).max()?.checked_add(1)?;
    let cells = items.checked_add(observers.checked_mul(classes)?)?.checked_mul(classes)?;
    if cells > CELLS_MOST {
        return None;
    }
    let mut ratings = ratings.to_vec();
    // The order of the input must not change sums of fractions.
    ratings.sort_unstable();

    let mut posterior = vote_shares(&ratings, items, classes);
    let mut iterations = 0;
    loop {
        iterations += 1;
        let model = Model::from(&posterior, &ratings, observers, options);
        let (next, log_likelihood) = model.classify(&ratings, items);
        let change = posterior
            .cells
            .iter()
            .zip(&next.cells)
            .map(|(before, after)| (before - after).abs())
            .fold(0.0, f64::max);
        posterior = next;
        if change <= options.tolerance || iterations >= options.iterations_max {
            return Some(model.fit(posterior, &ratings, log_likelihood, iterations));
        }
    }
}

/// Estimates how often an observer is right: the mean, over their ratings, of the probability of the class
/// they gave. Returns `None` if they rated nothing, or rated an item or class outside the fit.
///
/// The observer's own ratings are part of the fit, so the estimate is lenient. It means nothing where no one
/// else rated the items.
pub fn accuracy(fit: &Fit, ratings: &[Rating], observer: usize) -> Option<Accuracy> {
    let mut own: Vec<&Rating> = ratings.iter().filter(|r| r.observer == observer).collect();
    own.sort_unstable();
    if own.is_empty() {
        return None;
    }
    let right: Option<Vec<f64>> =
        own.iter().map(|r| fit.posterior.get(r.item)?.get(r.class).copied()).collect();
    // Rounding must not lift the mean above 1.
    let share = (right?.iter().sum::<f64>() / own.len() as f64).min(1.0);
    Some(Accuracy { share, ratings: own.len() })
}

/// A table with one cell per class in each row.
#[derive(Clone)]
struct Rows {
    classes: usize,
    cells: Vec<f64>,
}

impl Rows {
    fn new(rows: usize, classes: usize, value: f64) -> Self {
        Self { classes, cells: vec![value; rows * classes] }
    }
    fn row(&self, row: usize) -> &[f64] {
        self.cells.get(row * self.classes..(row + 1) * self.classes).unwrap_or_default()
    }
    fn row_mut(&mut self, row: usize) -> &mut [f64] {
        self.cells.get_mut(row * self.classes..(row + 1) * self.classes).unwrap_or_default()
    }
    /// Scales a row to sum 1; a row of zeros becomes uniform.
    fn normalise(&mut self, row: usize) {
        let even = 1.0 / self.classes as f64;
        let own = self.row_mut(row);
        let sum: f64 = own.iter().sum();
        own.iter_mut().for_each(|cell| *cell = if sum > 0.0 { *cell / sum } else { even });
    }
}

/// Groups the ratings by item; `ratings` must be sorted by item.
fn by_item(ratings: &[Rating]) -> impl Iterator<Item = (usize, &[Rating])> {
    ratings.chunk_by(|a, b| a.item == b.item).filter_map(|own| Some((own.first()?.item, own)))
}

/// Returns the starting point of EM: the share of ratings for each class. Items without ratings keep zeros.
fn vote_shares(ratings: &[Rating], items: usize, classes: usize) -> Rows {
    let mut shares = Rows::new(items, classes, 0.0);
    for (item, own) in by_item(ratings) {
        for rating in own {
            if let Some(votes) = shares.row_mut(item).get_mut(rating.class) {
                *votes += 1.0;
            }
        }
        shares.normalise(item);
    }
    shares
}

/// The parameters in one iteration.
struct Model {
    class_shares: Rows,
    /// Row `observer * classes + true class`; cells are the rated classes.
    confusion: Rows,
    /// The logarithms, transposed: row `observer * classes + rated class`; cells are the true classes.
    log_said: Rows,
}

impl Model {
    /// Returns the parameters that best fit the class probabilities (M step).
    fn from(posterior: &Rows, ratings: &[Rating], observers: usize, options: Options) -> Self {
        let classes = posterior.classes;
        let mut class_shares = Rows::new(1, classes, options.off_diagonal);
        for (item, _) in by_item(ratings) {
            for (share, chance) in class_shares.row_mut(0).iter_mut().zip(posterior.row(item)) {
                *share += chance;
            }
        }
        class_shares.normalise(0);

        let mut confusion = Rows::new(observers * classes, classes, options.off_diagonal);
        for row in 0..observers * classes {
            if let Some(cell) = confusion.row_mut(row).get_mut(row % classes) {
                *cell += options.diagonal;
            }
        }
        for rating in ratings {
            for (class, chance) in posterior.row(rating.item).iter().enumerate() {
                let row = confusion.row_mut(rating.observer * classes + class);
                if let Some(cell) = row.get_mut(rating.class) {
                    *cell += chance;
                }
            }
        }
        let mut log_said = Rows::new(observers * classes, classes, 0.0);
        for observer in 0..observers {
            for class in 0..classes {
                let row = observer * classes + class;
                confusion.normalise(row);
                for (said, chance) in confusion.row(row).iter().enumerate() {
                    if let Some(cell) = log_said.row_mut(observer * classes + said).get_mut(class) {
                        *cell = chance.ln();
                    }
                }
            }
        }
        Self { class_shares, confusion, log_said }
    }

    /// Returns the probability of each class for each item (E step), and the log-likelihood of the ratings.
    fn classify(&self, ratings: &[Rating], items: usize) -> (Rows, f64) {
        let classes = self.class_shares.classes;
        let prior: Vec<f64> = self.class_shares.row(0).iter().map(|share| share.ln()).collect();
        let mut posterior = Rows::new(items, classes, 0.0);
        let mut log_likelihood = 0.0;
        for (item, own) in by_item(ratings) {
            let chances = posterior.row_mut(item);
            chances.copy_from_slice(&prior);
            for rating in own {
                let said = self.log_said.row(rating.observer * classes + rating.class);
                chances.iter_mut().zip(said).for_each(|(chance, log)| *chance += log);
            }
            // Subtracting the largest logarithm keeps many ratings from underflowing every class to 0.
            let most = chances.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            chances.iter_mut().for_each(|chance| *chance = (*chance - most).exp());
            log_likelihood += most + chances.iter().sum::<f64>().ln();
            posterior.normalise(item);
        }
        (posterior, log_likelihood)
    }

    fn fit(self, mut posterior: Rows, ratings: &[Rating], log_likelihood: f64, iterations: usize) -> Fit {
        let classes = self.class_shares.classes;
        let mut rated = by_item(ratings).map(|(item, _)| item).peekable();
        for item in 0..posterior.cells.len() / classes {
            if rated.next_if_eq(&item).is_none() {
                posterior.row_mut(item).copy_from_slice(self.class_shares.row(0));
            }
        }
        let rows = |of: &[f64]| of.chunks(classes).map(<[f64]>::to_vec).collect::<Vec<_>>();
        Fit {
            confusion: self.confusion.cells.chunks(classes * classes).map(rows).collect(),
            posterior: rows(&posterior.cells),
            class_shares: self.class_shares.cells,
            log_likelihood,
            iterations,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Dawid and Skene 1979, Table 1: 45 patients, one word each, sorted into classes 1 to 4 by 5 observers.
    /// The first three digits of a word are three ratings by the first observer.
    const PATIENTS: &str = "1111111 3334334 1122122 2223121 2223222 2223322 1222111 3333433 2222223 \
        2322223 4444444 2223343 1111111 2223212 1211111 1112111 1111111 1111111 2222221 2221322 2222222 \
        2222221 2223222 2212222 1111111 1111111 2322222 1111111 1111111 1121121 1111111 3333233 1111111 \
        2222222 2223232 4334343 2212232 2323233 3333432 1111111 1111111 1212111 2322222 1211111 2222222";
    const PATIENT_CLASSES: &str = "142222132243121111222222112111131224233111212";
    /// The classes with pseudo-counts: two patients move from class 4 to class 3.
    const PATIENT_CLASSES_MAP: &str = "132222132242121111222222112111131223223111212";

    fn patients() -> Vec<Rating> {
        let mut all = Vec::new();
        for (item, said) in PATIENTS.split_whitespace().enumerate() {
            for (n, digit) in said.bytes().enumerate() {
                all.push(Rating { item, observer: n.saturating_sub(2), class: usize::from(digit - b'1') });
            }
        }
        all
    }

    fn near(found: &[f64], wanted: &[f64], by: f64) {
        assert_eq!(found.len(), wanted.len());
        for (f, w) in found.iter().zip(wanted) {
            assert!((f - w).abs() <= by, "{found:?} is not {wanted:?}");
        }
    }

    fn classes(fit: &Fit) -> String {
        let best = |p: &Vec<f64>| (0..p.len()).max_by(|a, b| p[*a].total_cmp(&p[*b])).unwrap();
        fit.posterior.iter().map(|p| (best(p) + 1).to_string()).collect()
    }

    fn is_proper(fit: &Fit) {
        let rows = fit.confusion.iter().flatten().chain(&fit.posterior).chain([&fit.class_shares]);
        for row in rows {
            assert!(row.iter().all(|p| (0.0..=1.0).contains(p)), "{row:?}");
            assert!((row.iter().sum::<f64>() - 1.0).abs() < 1e-9, "{row:?}");
        }
        assert!(fit.log_likelihood.is_finite() && fit.log_likelihood <= 1e-9);
    }

    #[test]
    fn published_example() {
        let ratings = patients();
        assert_eq!(ratings.len(), 45 * 7);
        let found = fit(&ratings, 4, Options::ML).unwrap();
        is_proper(&found);
        // Two other implementations give these figures; the second stops earlier.
        near(&found.class_shares, &[0.399_555, 0.421_983, 0.111_795, 0.066_667], 1e-6);
        near(&found.class_shares, &[0.3997, 0.4224, 0.1112, 0.0667], 7e-4);
        near(&[found.log_likelihood], &[-192.890_881], 1e-6);
        assert!(found.iterations < Options::ML.iterations_max);
        assert_eq!(classes(&found), PATIENT_CLASSES);
        near(&found.posterior[6], &[0.981_02, 0.018_98, 0.0, 0.0], 1e-5);
        near(&found.posterior[34], &[0.0, 0.947_995, 0.052_005, 0.0], 1e-5);
        near(&found.posterior[37], &[0.0, 0.0212, 0.9788, 0.0], 1e-4);
        let first = &found.confusion[0];
        near(&first[0], &[0.889_488, 0.110_512, 0.0, 0.0], 1e-5);
        near(&first[1], &[0.070_585, 0.876_38, 0.053_035, 0.0], 1e-5);
        near(&first[2], &[0.0, 0.338_822, 0.661_178, 0.0], 1e-5);
        near(&first[3], &[0.0, 0.0, 0.555_556, 0.444_444], 1e-5);
        near(&found.confusion[2][2], &[0.0, 0.403_671, 0.198_776, 0.397_552], 1e-5);
    }

    #[test]
    fn with_pseudo_counts() {
        let found = fit(&patients(), 4, Options::MAP).unwrap();
        is_proper(&found);
        near(&found.class_shares, &[0.401_455, 0.449_07, 0.117_409, 0.032_066], 1e-5);
        assert_eq!(classes(&found), PATIENT_CLASSES_MAP);
        for (observer, wanted) in [
            [0.8671, 0.8674, 0.8664, 0.7843],
            [0.7823, 0.5743, 0.6127, 0.7004],
            [0.9329, 0.7508, 0.4983, 0.699],
            [0.8711, 0.7363, 0.7235, 0.7004],
            [0.9159, 0.6551, 0.6119, 0.699],
        ]
        .iter()
        .enumerate()
        {
            let right: Vec<f64> = (0..4).map(|c| found.confusion[observer][c][c]).collect();
            near(&right, wanted, 1e-4);
        }
    }

    #[test]
    fn more_rounds_are_more_likely() {
        let likely = |rounds| {
            fit(&patients(), 4, Options { iterations_max: rounds, ..Options::ML }).unwrap().log_likelihood
        };
        for rounds in 1..30 {
            assert!(likely(rounds + 1) >= likely(rounds) - 1e-9);
        }
        // At least one iteration runs.
        assert_eq!(likely(0), likely(1));
    }

    #[test]
    fn accuracy_finds_the_careless() {
        // Three observers agree and one always says 0.
        let ratings: Vec<Rating> = (0..20)
            .flat_map(|item| {
                let class = move |observer| if observer == 3 { 0 } else { item % 2 };
                (0..4).map(move |observer| Rating { item, observer, class: class(observer) })
            })
            .collect();
        let found = fit(&ratings, 2, Options::MAP).unwrap();
        let good = accuracy(&found, &ratings, 0).unwrap();
        let careless = accuracy(&found, &ratings, 3).unwrap();
        assert!(good.share > 0.99 && good.ratings == 20);
        assert!((careless.share - 0.5).abs() < 0.01 && careless.ratings == 20);
        assert_eq!(accuracy(&found, &ratings, 4), None);
        let stray = [Rating { item: 99, observer: 0, class: 0 }];
        assert_eq!(accuracy(&found, &stray, 0), None);
    }

    #[test]
    fn gaps_in_the_numbers() {
        let ratings = [(0, 0, 1), (0, 2, 1), (3, 0, 0), (3, 2, 1)].map(|(item, observer, class)| Rating {
            item,
            observer,
            class,
        });
        let found = fit(&ratings, 2, Options::ML).unwrap();
        is_proper(&found);
        assert_eq!((found.posterior.len(), found.confusion.len()), (4, 3));
        assert_eq!(found.posterior[1], found.class_shares);
        assert_eq!(found.confusion[1], vec![vec![0.5; 2]; 2]);
    }

    #[test]
    fn many_ratings_do_not_vanish() {
        // The plain product of 4000 probabilities underflows to 0.
        let ratings: Vec<Rating> = (0..4000)
            .flat_map(|observer| {
                (0..2).map(move |item| Rating { item, observer, class: (observer + item) % 3 })
            })
            .collect();
        is_proper(&fit(&ratings, 3, Options::MAP).unwrap());
    }

    #[test]
    fn nothing_to_fit() {
        let one = Rating { item: 0, observer: 0, class: 0 };
        assert_eq!(fit(&[], 2, Options::ML), None);
        assert_eq!(fit(&[one], 0, Options::ML), None);
        assert_eq!(fit(&[Rating { class: 2, ..one }], 2, Options::ML), None);
        assert_eq!(fit(&[Rating { item: usize::MAX, ..one }], 2, Options::ML), None);
        assert_eq!(fit(&[Rating { observer: usize::MAX - 1, ..one }], 2, Options::ML), None);
        assert_eq!(fit(&[Rating { item: 1 << 40, ..one }], 2, Options::ML), None);
        assert_eq!(fit(&[one], 2, Options { diagonal: -1.0, ..Options::ML }), None);
        assert_eq!(fit(&[one], 2, Options { off_diagonal: f64::NAN, ..Options::ML }), None);
        assert_eq!(fit(&[one], 1, Options::ML).unwrap().class_shares, vec![1.0]);
    }

    fn any_ratings() -> impl Strategy<Value = Vec<Rating>> {
        let one = (0..8_usize, 0..4_usize, 0..3_usize);
        prop::collection::vec(one.prop_map(|(item, observer, class)| Rating { item, observer, class }), 1..60)
    }

    proptest! {
        #[test]
        fn proper_in_any_order(
            (ratings, mixed) in any_ratings().prop_flat_map(|r| (Just(r.clone()), Just(r).prop_shuffle())),
            prior: bool,
        ) {
            let options = if prior { Options::MAP } else { Options::ML };
            let found = fit(&ratings, 3, options).unwrap();
            is_proper(&found);
            for observer in 0..4 {
                let own = accuracy(&found, &ratings, observer);
                prop_assert_eq!(own, accuracy(&found, &mixed, observer));
                prop_assert!(own.is_none_or(|a| (0.0..=1.0).contains(&a.share)));
            }
            prop_assert_eq!(Some(found), fit(&mixed, 3, options));
        }
    }
}
