//! Traces forward and back over dated records of descent. Forward: from which day is a thing exposed, if
//! something above it is infected since a given day? Back: until which day can a source have been infected,
//! if something below it proved sick on a given day? (Earliest arrival in a graph with dated edges; back is
//! the mirror image.)
//!
//! The search works generation by generation. It names the things whose records it wants, and the caller
//! supplies those records. A database of any size so reads only what the trace reaches.

use std::collections::{BTreeMap, BTreeSet};

crate::offer::words! {
    /// Route by which something passes from one thing to another.
    Route {
        /// Grafting of a scion or bud; the whole plant is exposed from that day on.
        Graft = "graft",
        /// A cutting, a division or a scion taken from the plant.
        Cutting = "cutting",
        /// The plant's seed.
        Seed = "seed",
        /// A blade that was not disinfected.
        Tool = "tool",
    }
}

/// A dated record: `child` comes from `parent`, or touched it, on a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record<N> {
    /// The thing above.
    pub parent: N,
    /// The thing below.
    pub child: N,
    /// Day number of the record, as in [`crate::time::Date::days`].
    pub day: i64,
    /// Route of the passage.
    pub route: Route,
}

/// When a search reached a thing, and through which record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exposure<N> {
    /// Day number of the exposure.
    pub day: i64,
    /// The record that reached it; `None` for a start.
    pub via: Option<Record<N>>,
}

/// Direction of a search.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Toward everything that the start can have infected, each with the earliest day.
    Forward,
    /// Toward every possible source, each with the latest day on which sick material can have left it.
    Back,
}

impl Direction {
    /// Returns the known end of a record and the end that the search reaches.
    fn ends<N>(self, record: &Record<N>) -> (&N, &N) {
        match self {
            Self::Forward => (&record.parent, &record.child),
            Self::Back => (&record.child, &record.parent),
        }
    }
    /// Returns a day in the order of this direction, in which later days are further away.
    const fn day(self, day: i64) -> i64 {
        match self {
            Self::Forward => day,
            Self::Back => -day,
        }
    }
}

/// A search over dated records of descent.
#[derive(Clone, Debug)]
pub struct Search<N> {
    direction: Direction,
    routes: Vec<Route>,
    clean: BTreeMap<N, i64>,
    found: BTreeMap<N, Exposure<N>>,
    open: BTreeSet<N>,
}

impl<N: Ord + Clone> Search<N> {
    /// Starts a search from things and days. Forward: the earliest day of infection. Back: the day on which
    /// the thing is sick. `routes` are the routes that the pathogen takes.
    pub fn new(direction: Direction, starts: impl IntoIterator<Item = (N, i64)>, routes: &[Route]) -> Self {
        let found: BTreeMap<N, Exposure<N>> =
            starts.into_iter().map(|(n, day)| (n, Exposure { day, via: None })).collect();
        let open = found.keys().cloned().collect();
        Self { direction, routes: routes.to_vec(), clean: BTreeMap::new(), found, open }
    }

    /// Notes that valid tests found nothing in a thing up to a day, with the test latency already subtracted.
    /// Of several days the latest counts. Forward, records that reach the thing until then are ignored;
    /// records that leave it are not. Back, the thing is no source of what left it until then. Call this
    /// before [`Self::take`] with records that reach the thing.
    pub fn learn_clean(&mut self, thing: N, until: i64) {
        self.clean.entry(thing).and_modify(|known| *known = until.max(*known)).or_insert(until);
    }

    /// Returns the things whose records the search needs next (as parents when going forward, as children
    /// when going back); empty when the search is over.
    pub fn wanted(&mut self) -> Vec<N> {
        std::mem::take(&mut self.open).into_iter().collect()
    }

    /// Takes the records of the wanted things.
    pub fn take<'a>(&mut self, records: impl IntoIterator<Item = &'a Record<N>>)
    where
        N: 'a,
    {
        let direction = self.direction;
        for record in records {
            let (from, to) = direction.ends(record);
            let Some(known) = self.found.get(from).map(|e| e.day) else { continue };
            let day = direction.day(record.day);
            let carries = self.routes.contains(&record.route) && day >= direction.day(known);
            let ruled_out = self.clean.get(to).is_some_and(|until| record.day <= *until);
            let no_better = self.found.get(to).is_some_and(|e| direction.day(e.day) <= day);
            if carries && !ruled_out && !no_better {
                let exposure = Exposure { day: record.day, via: Some(record.clone()) };
                self.found.insert(to.clone(), exposure);
                self.open.insert(to.clone());
            }
        }
    }

    /// Returns everything reached so far, with the day and the record that reached it.
    pub fn found(&self) -> &BTreeMap<N, Exposure<N>> {
        &self.found
    }

    /// Returns the records that lead from the start to a thing, in order from the start.
    pub fn chain<'a>(&'a self, thing: &'a N) -> Vec<&'a Record<N>> {
        let mut all = Vec::new();
        let mut at = thing;
        // A chain never visits a thing twice, because days only improve.
        while let Some(via) = self.found.get(at).and_then(|e| e.via.as_ref()) {
            all.push(via);
            at = self.direction.ends(via).0;
            if all.len() > self.found.len() {
                break;
            }
        }
        all.reverse();
        all
    }
}

/// Returns sources that several searches share, with the number of searches that each explains. The most
/// explaining come first, then those with the later departure. The starts themselves are left out.
pub fn common_sources<N: Ord + Clone>(found: &[Search<N>]) -> Vec<(usize, N)> {
    let mut explains: BTreeMap<&N, (usize, i64)> = BTreeMap::new();
    let starts: BTreeSet<&N> =
        found.iter().flat_map(|b| b.found.iter().filter(|(_, e)| e.via.is_none()).map(|(n, _)| n)).collect();
    for back in found {
        for (node, exposure) in &back.found {
            if !starts.contains(node) {
                let (count, day) = explains.entry(node).or_insert((0, i64::MIN));
                *count += 1;
                *day = (*day).max(exposure.day);
            }
        }
    }
    let mut ranked: Vec<_> = explains.into_iter().collect();
    ranked.sort_by(|(a, (many, late)), (b, (few, early))| few.cmp(many).then(early.cmp(late)).then(a.cmp(b)));
    ranked.into_iter().map(|(node, (count, _))| (count, node.clone())).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    type Node = &'static str;

    fn records() -> Vec<Record<Node>> {
        // By hand: scion-2 was cut on day 40, before day 60; scion-3 left tree-A on day 90, before tree-A was
        // grafted on day 110.
        [
            ("mother", "scion-1", 100, Route::Graft),
            ("mother", "scion-2", 40, Route::Graft),
            ("scion-1", "tree-A", 110, Route::Graft),
            ("scion-1", "tree-B", 160, Route::Graft),
            ("tree-A", "seed-lot", 200, Route::Seed),
            ("tree-A", "scion-3", 90, Route::Graft),
            ("scion-2", "tree-C", 120, Route::Graft),
            ("tree-B", "scion-4", 300, Route::Cutting),
            ("other", "tree-B", 150, Route::Tool),
        ]
        .map(|(parent, child, day, route)| Record { parent, child, day, route })
        .to_vec()
    }

    fn forward(routes: &[Route], clean: &[(Node, i64)]) -> BTreeMap<Node, i64> {
        let all = records();
        let mut search = Search::new(Direction::Forward, [("mother", 60)], routes);
        clean.iter().for_each(|(n, until)| search.learn_clean(n, *until));
        loop {
            let wanted = search.wanted();
            if wanted.is_empty() {
                break;
            }
            search.take(all.iter().filter(|r| wanted.contains(&r.parent)));
        }
        search.found().iter().map(|(n, e)| (*n, e.day)).collect()
    }

    fn back(found: Node, on: i64) -> Search<Node> {
        let all = records();
        let mut search = Search::new(Direction::Back, [(found, on)], Route::ALL);
        loop {
            let wanted = search.wanted();
            if wanted.is_empty() {
                break search;
            }
            search.take(all.iter().filter(|r| wanted.contains(&r.child)));
        }
    }

    #[test]
    fn the_example_that_can_be_checked_by_hand() {
        let plain = [Route::Cutting, Route::Graft, Route::Tool];
        let usual = [("mother", 60), ("scion-1", 100), ("scion-4", 300), ("tree-A", 110), ("tree-B", 160)];
        assert_eq!(forward(&plain, &[]), BTreeMap::from(usual));
        let mut with_seed = BTreeMap::from(usual);
        with_seed.insert("seed-lot", 200);
        assert_eq!(forward(Route::ALL, &[]), with_seed);
        // tree-A tested clean up to day 130, so records that reach it before are ignored.
        let mut without = BTreeMap::from(usual);
        without.remove("tree-A");
        assert_eq!(forward(&plain, &[("tree-A", 130)]), without);
        let sources: BTreeMap<Node, i64> =
            back("scion-4", 400).found().iter().map(|(n, e)| (*n, e.day)).collect();
        let expected = [("mother", 100), ("other", 150), ("scion-1", 160), ("scion-4", 400), ("tree-B", 300)];
        assert_eq!(sources, BTreeMap::from(expected));
        let ranked = common_sources(&[back("scion-4", 400), back("tree-A", 250)]);
        assert_eq!(ranked, [(2, "scion-1"), (2, "mother"), (1, "tree-B"), (1, "other")]);
    }

    proptest! {
        /// Agrees with trying every walk on random dated graphs, cycles included.
        #[test]
        fn as_brute_force_finds(
            edges in prop::collection::vec((0_u8..8, 0_u8..8, 0_i64..20, 0_usize..4), 0..24),
            clean in prop::collection::btree_map(0_u8..8, 0_i64..20, 0..3),
            since in 0_i64..15,
        ) {
            let records: Vec<Record<u8>> = edges
                .iter()
                .map(|(parent, child, day, route)| Record { parent: *parent, child: *child, day: *day, route: Route::ALL[*route] })
                .collect();
            let routes = [Route::Graft, Route::Cutting, Route::Seed];
            let mut search = Search::new(Direction::Forward, [(0, since)], &routes);
            clean.iter().for_each(|(n, until)| search.learn_clean(*n, *until));
            loop {
                let wanted = search.wanted();
                if wanted.is_empty() { break }
                search.take(records.iter().filter(|r| wanted.contains(&r.parent)));
            }
            // A fixed point from below: days only get earlier.
            let mut brute: BTreeMap<u8, i64> = BTreeMap::from([(0, since)]);
            for _ in 0..20 {
                for r in &records {
                    if let Some(from) = brute.get(&r.parent).copied()
                        && routes.contains(&r.route) && r.day >= from
                        && clean.get(&r.child).is_none_or(|c| r.day > *c)
                        && brute.get(&r.child).is_none_or(|known| r.day < *known)
                    {
                        brute.insert(r.child, r.day);
                    }
                }
            }
            let found: BTreeMap<u8, i64> = search.found().iter().map(|(n, e)| (*n, e.day)).collect();
            prop_assert_eq!(&found, &brute);
            // Every exposure has a chain back to the start.
            for (node, exposure) in search.found() {
                let (mut at, mut exposure, mut steps) = (*node, exposure, 0);
                while let Some(via) = &exposure.via {
                    prop_assert!(via.child == at && steps < 50);
                    at = via.parent;
                    exposure = &search.found()[&at];
                    prop_assert!(exposure.day <= via.day);
                    steps += 1;
                }
                prop_assert_eq!(at, 0);
            }
        }
    }
}
