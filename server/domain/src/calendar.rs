//! A calendar of ripe fruit by half months: what several cultivars cover together, the gaps between them, and
//! which other cultivars would fill the gaps.

use std::collections::BTreeSet;

use crate::{evidence::Summary, season::CORE};

/// Half months in a year.
pub const HALF_MONTHS: usize = 24;

/// For each half month from early January, the share of place-years with ripe fruit, 0 to 1.
pub type Bars = [f64; HALF_MONTHS];

/// Returns the bars of a season finding for north or south of the equator. A finding from the other
/// hemisphere moves by half a year. Returns `None` for a finding that is not a season.
pub fn bars(summary: &Summary, south: bool) -> Option<Bars> {
    let Summary::Period { half_months, southern, .. } = summary else {
        return None;
    };
    let mut bars: Bars = half_months.as_slice().try_into().ok()?;
    if *southern != south {
        bars.rotate_left(HALF_MONTHS / 2);
    }
    Some(bars)
}

/// Returns the bars of a season finding in the hemisphere where growers saw them.
pub fn as_seen(summary: &Summary) -> Option<Bars> {
    let Summary::Period { southern, .. } = summary else { return None };
    bars(summary, *southern)
}

/// Number of own place-years that weigh as much as the crop's pattern. A choice of ours.
pub const PATTERN_YEARS: f64 = 2.0;
/// Least number of other cultivars that make a pattern. A choice of ours.
pub const PATTERN_CULTIVARS: usize = 5;

/// The season pattern of a crop: the mean of its cultivars' bars, each cultivar counted once.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pattern {
    sum: Bars,
    cultivars: usize,
}

impl Pattern {
    /// Adds the bars of one more cultivar.
    pub fn add(&mut self, bars: &Bars) {
        for (slot, share) in self.sum.iter_mut().zip(bars) {
            *slot += share;
        }
        self.cultivars += 1;
    }

    /// Returns the mean without `own`, which must be one of the added bars; `None` with too few other
    /// cultivars.
    pub fn without(&self, own: Option<&Bars>) -> Option<Bars> {
        let others = self.cultivars - usize::from(own.is_some() && self.cultivars > 0);
        if others < PATTERN_CULTIVARS {
            return None;
        }
        let mut mean = self.sum;
        for (at, slot) in mean.iter_mut().enumerate() {
            let own = own.and_then(|bars| bars.get(at)).copied().unwrap_or(0.0);
            *slot = ((*slot - own) / others as f64).clamp(0.0, 1.0);
        }
        Some(mean)
    }
}

/// Shrinks bars from `n` place-years toward a pattern: (n * seen + k * pattern) / (n + k), k =
/// [`PATTERN_YEARS`]. If one of the two is missing, returns the other.
pub fn drawn(seen: Option<(&Bars, usize)>, toward: Option<&Bars>) -> Option<Bars> {
    let Some((own, years)) = seen else { return toward.copied() };
    let Some(pattern) = toward else { return Some(*own) };
    let years = years as f64;
    let mut all: Bars = [0.0; HALF_MONTHS];
    for (slot, (own, other)) in all.iter_mut().zip(own.iter().zip(pattern)) {
        *slot = (years * own + PATTERN_YEARS * other) / (years + PATTERN_YEARS);
    }
    Some(all)
}

fn ripe(bars: &Bars) -> BTreeSet<usize> {
    (0..).zip(bars).filter(|(_, share)| **share >= CORE).map(|(at, _)| at).collect()
}

/// Returns the half months, 0 for early January, in which no row is ripe in at least half of the place-years.
pub fn gaps(rows: &[Bars]) -> Vec<usize> {
    let all: BTreeSet<usize> = rows.iter().flat_map(ripe).collect();
    (0..HALF_MONTHS).filter(|at| !all.contains(at)).collect()
}

/// A candidate that fills gaps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Filler {
    /// Index of the candidate.
    pub at: usize,
    /// Gaps that it fills and no earlier choice does.
    pub fills: Vec<usize>,
}

/// Chooses at most `most` candidates that fill the gaps. Each step takes the candidate that fills most of the
/// remaining gaps; the earlier one wins a tie. (Greedy set cover, within a factor ln 24 + 1 of the fewest
/// possible, Chvatal 1979, Math. Oper. Res. 4: 233-235.)
pub fn fillers(gaps: &[usize], candidates: &[Bars], most: usize) -> Vec<Filler> {
    let mut left: BTreeSet<usize> = gaps.iter().copied().collect();
    let ripe: Vec<BTreeSet<usize>> = candidates.iter().map(ripe).collect();
    let mut chosen = Vec::new();
    while chosen.len() < most {
        let mut best: Option<Filler> = None;
        for (at, months) in ripe.iter().enumerate() {
            let fills: Vec<usize> = months.intersection(&left).copied().collect();
            if fills.len() > best.as_ref().map_or(0, |b| b.fills.len()) {
                best = Some(Filler { at, fills });
            }
        }
        let Some(best) = best else { break };
        left.retain(|at| !best.fills.contains(at));
        chosen.push(best);
    }
    chosen
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::season::{Coverage, Span};

    fn of(months: &[usize]) -> Bars {
        let mut bars = [0.0; HALF_MONTHS];
        for at in months {
            bars[*at] = 1.0;
        }
        bars
    }

    #[test]
    fn hemispheres_are_half_a_year_apart() {
        let june = Coverage::of(&[Span::new(152, 181).unwrap()]).unwrap().half_months();
        let summary = |southern| Summary::Period {
            core: Vec::new(),
            full: Vec::new(),
            half_months: june.to_vec(),
            place_years: 1,
            southern,
        };
        let north = bars(&summary(false), false).unwrap();
        assert_eq!(ripe(&north).into_iter().collect::<Vec<_>>(), [10, 11]);
        let south = bars(&summary(false), true).unwrap();
        assert_eq!(ripe(&south).into_iter().collect::<Vec<_>>(), [22, 23], "June north, December south");
        assert_eq!(bars(&summary(true), true).unwrap(), north, "as seen there");
        assert_eq!(bars(&Summary::None, true), None);
    }

    #[test]
    fn few_sightings_lean_on_the_crop_and_many_do_not() {
        let mut pattern = Pattern::default();
        for bars in [of(&[1]), of(&[1]), of(&[1]), of(&[1]), of(&[2])] {
            assert_eq!(pattern.without(None), None, "too few cultivars");
            pattern.add(&bars);
        }
        let crop = pattern.without(None).unwrap();
        pattern.add(&of(&[7]));
        assert_eq!(pattern.without(Some(&of(&[7]))), Some(crop), "a cultivar does not lean on itself");
        assert!((crop[1] - 0.8).abs() < 1e-12 && (crop[2] - 0.2).abs() < 1e-12);
        let own = of(&[2]);
        let once = drawn(Some((&own, 1)), Some(&crop)).unwrap();
        assert!((once[2] - (1.0 + 2.0 * 0.2) / 3.0).abs() < 1e-12 && (once[1] - 1.6 / 3.0).abs() < 1e-12);
        let often = drawn(Some((&own, 40)), Some(&crop)).unwrap();
        assert!(often[2] > 0.95 && often[1] < 0.05);
        assert_eq!(drawn(None, Some(&crop)), Some(crop));
        assert_eq!(drawn(Some((&own, 1)), None), Some(own));
        assert_eq!(drawn(None, None), None);
    }

    #[test]
    fn the_largest_gap_is_filled_first() {
        let have = [of(&[0, 1, 2, 3]), of(&[3, 4])];
        let open = gaps(&have);
        assert_eq!(open.len(), 19);
        let others = [of(&[5, 6]), of(&[10, 11, 12]), of(&[11, 12]), of(&[6, 7]), of(&[1, 2])];
        let found = fillers(&open, &others, 10);
        let order: Vec<(usize, usize)> = found.iter().map(|f| (f.at, f.fills.len())).collect();
        assert_eq!(order, [(1, 3), (0, 2), (3, 1)]);
        assert_eq!(fillers(&open, &others, 1).len(), 1);
        assert!(fillers(&[], &others, 5).is_empty());
    }

    proptest! {
        #[test]
        fn every_choice_fills_something_new(rows in prop::collection::vec(prop::collection::vec(0_usize..24, 0..6), 0..12)) {
            let candidates: Vec<Bars> = rows.iter().map(|r| of(r)).collect();
            let all: Vec<usize> = (0..HALF_MONTHS).collect();
            let found = fillers(&all, &candidates, 50);
            let mut seen = BTreeSet::new();
            for filler in &found {
                prop_assert!(!filler.fills.is_empty());
                for at in &filler.fills {
                    prop_assert!(seen.insert(*at), "filled twice");
                }
            }
            // No gap remains that a candidate could fill.
            let could: BTreeSet<usize> = rows.into_iter().flatten().collect();
            prop_assert_eq!(seen, could);
        }
    }
}
