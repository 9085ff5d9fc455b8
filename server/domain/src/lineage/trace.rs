//! Trace forward and back over dated records of descent. Forward: from what day on is a thing exposed, if something
//! above it was infected since a day? Back: until what day may a source have been infected, if something below it proved
//! sick on a day? (The earliest arrival in a graph whose edges have days; back is its mirror.)
//!
//! Records are fetched generation by generation: a search says whose records it wants, and is given them, so that a
//! database of any size is asked only for what is reached.

use std::collections::{BTreeMap, BTreeSet};

crate::offer::words! {
    /// How something passed from a thing to another.
    Route {
        /// A scion or bud was grafted onto it: the whole plant is exposed from that day on.
        Graft = "graft",
        /// A cutting, a division, a scion taken from it.
        Cutting = "cutting",
        /// Its seed.
        Seed = "seed",
        /// A blade that was not disinfected.
        Tool = "tool",
    }
}

/// A dated record: of `parent` came `child`, or touched it, on a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record<N> {
    /// What it came from.
    pub parent: N,
    /// What came of it.
    pub child: N,
    /// On which day.
    pub day: i64,
    /// How.
    pub route: Route,
}

/// Since when, and by what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exposure<N> {
    /// The day.
    pub day: i64,
    /// What it came by; none for the start.
    pub via: Option<Record<N>>,
}

/// Which way a search goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// To all that it may have infected: each with the earliest day.
    Forward,
    /// To all that it may have come from: each with the latest day on which what is sick may have left it.
    Back,
}

impl Direction {
    /// The end of a record that is known, and the one that is reached.
    fn ends<N>(self, record: &Record<N>) -> (&N, &N) {
        match self {
            Self::Forward => (&record.parent, &record.child),
            Self::Back => (&record.child, &record.parent),
        }
    }
    /// Days as this way counts them: later is further.
    const fn day(self, day: i64) -> i64 {
        match self {
            Self::Forward => day,
            Self::Back => -day,
        }
    }
}

/// A search over dated records.
#[derive(Clone, Debug)]
pub struct Search<N> {
    direction: Direction,
    routes: Vec<Route>,
    clean: BTreeMap<N, i64>,
    found: BTreeMap<N, Exposure<N>>,
    open: BTreeSet<N>,
}

impl<N: Ord + Clone> Search<N> {
    /// From things and days. Forward: infected since that day at the earliest. Back: sick on that day. `routes` carry the
    /// pathogen.
    pub fn new(direction: Direction, starts: impl IntoIterator<Item = (N, i64)>, routes: &[Route]) -> Self {
        let found: BTreeMap<N, Exposure<N>> =
            starts.into_iter().map(|(n, day)| (n, Exposure { day, via: None })).collect();
        let open = found.keys().cloned().collect();
        Self { direction, routes: routes.to_vec(), clean: BTreeMap::new(), found, open }
    }

    /// Learns up to which day valid tests clear a thing, their latency taken off; of several the latest counts. Forward:
    /// what reached it until then is ruled out, what left it is not. Back: it is no source of what left it until then.
    /// Told before the records that end at the thing are taken.
    pub fn learn_clean(&mut self, thing: N, until: i64) {
        self.clean.entry(thing).and_modify(|known| *known = until.max(*known)).or_insert(until);
    }

    /// Things whose records are wanted next (as parents on the way forward, as children on the way back); none when the
    /// search is over.
    pub fn wanted(&mut self) -> Vec<N> {
        std::mem::take(&mut self.open).into_iter().collect()
    }

    /// Takes records of the things that were wanted.
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

    /// What was found, since or until when, by what.
    pub fn found(&self) -> &BTreeMap<N, Exposure<N>> {
        &self.found
    }

    /// The records by which a thing was reached, from the start on.
    pub fn chain<'a>(&'a self, thing: &'a N) -> Vec<&'a Record<N>> {
        let mut all = Vec::new();
        let mut at = thing;
        // a chain never passes a thing twice, as days only get better
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

/// Sources that several findings have in common, those that explain most first, the nearer of two first (the later
/// departure); what was found itself is left out.
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
        // hand-checkable: scion-2 was cut on day 40, before day 60; scion-3 left tree-A on day 90, before tree-A was
        // grafted on day 110
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
        // tree-A tested clean up to day 130: what reached it before is ruled out
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
        /// The same as trying every walk, on random dated graphs, circles among them.
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
            // a fixed point from below: days only get earlier
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
            // every exposure has its chain back to the start
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
