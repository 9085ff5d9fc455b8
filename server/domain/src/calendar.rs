//! A calendar of ripe fruit by half months: what several cultivars give together, where nothing is ripe, and which
//! others would fill that.

use std::collections::BTreeSet;

use crate::{evidence::Summary, season::CORE};

/// Half months of a year.
pub const HALF_MONTHS: usize = 24;

/// For each half month, the share of place-years with ripe fruit, 0 to 1.
pub type Bars = [f64; HALF_MONTHS];

/// The bars of a season finding as they fall north or south of the equator: half a year apart. `None` for what is
/// no season.
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

fn ripe(bars: &Bars) -> BTreeSet<usize> {
    (0..).zip(bars).filter(|(_, share)| **share >= CORE).map(|(at, _)| at).collect()
}

/// The half months, 0 for early January, in which none of these is ripe in at least half of the place-years.
pub fn gaps(rows: &[Bars]) -> Vec<usize> {
    let all: BTreeSet<usize> = rows.iter().flat_map(ripe).collect();
    (0..HALF_MONTHS).filter(|at| !all.contains(at)).collect()
}

/// One that fills gaps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Filler {
    /// Its place among the candidates.
    pub at: usize,
    /// The gaps that it fills and none before it did.
    pub fills: Vec<usize>,
}

/// Candidates that fill the gaps, at most so many: each time the one that fills most of what is left, the earlier
/// candidate where two fill as many. (Greedy set cover; within a factor ln 24 + 1 of the fewest that could do it,
/// Chvatal 1979, Math. Oper. Res. 4: 233-235.)
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
            // nothing that could be filled is left
            let could: BTreeSet<usize> = rows.into_iter().flatten().collect();
            prop_assert_eq!(seen, could);
        }
    }
}
