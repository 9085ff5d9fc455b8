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

/// The bars of a season finding as they were seen, wherever that was.
pub fn as_seen(summary: &Summary) -> Option<Bars> {
    let Summary::Period { southern, .. } = summary else { return None };
    bars(summary, *southern)
}

/// So many place-years of one's own weigh as much as the pattern that they are drawn to. A choice of ours.
pub const PATTERN_YEARS: f64 = 2.0;
/// A crop's pattern is told by so many other cultivars at least. A choice of ours.
pub const PATTERN_CULTIVARS: usize = 5;

/// The pattern of a crop: the mean over its cultivars, each with one vote.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pattern {
    sum: Bars,
    cultivars: usize,
}

impl Pattern {
    /// With one more cultivar.
    pub fn add(&mut self, bars: &Bars) {
        for (slot, share) in self.sum.iter_mut().zip(bars) {
            *slot += share;
        }
        self.cultivars += 1;
    }

    /// The mean over the others than one that is among them; none where too few are known.
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

/// What was seen in so many place-years, drawn toward a pattern the more the fewer they are: (n seen + k pattern) /
/// (n + k) with k = [`PATTERN_YEARS`]. What is not known leaves the other alone.
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
            // nothing that could be filled is left
            let could: BTreeSet<usize> = rows.into_iter().flatten().collect();
            prop_assert_eq!(seen, could);
        }
    }
}
