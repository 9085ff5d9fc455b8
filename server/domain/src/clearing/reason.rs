//! Explains why a wish was not met, or not by one lot: the cheapest change that forces one more unit, and the
//! rule that it breaks. The change is a shortest path in the residual network. The explanation agrees with
//! settling the round again with that unit forced.
#![expect(
    clippy::indexing_slicing,
    reason = "every index is a node or an arc that this module numbered itself"
)]

use std::{cmp::Reverse, collections::BTreeMap, collections::BinaryHeap};

use serde::{Deserialize, Serialize};

use super::{
    draw::Draw,
    flow::Arc,
    input::{BadInput, Bar, Input},
    network::{Network, Role},
    solve::{Aim, Outcome},
};

/// The reason why a wish did not get one more unit of a lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "reason")]
pub enum Reason {
    /// The pair is barred.
    Barred {
        /// Reason for the bar.
        bar: Bar,
    },
    /// The wish received its full quantity.
    Met,
    /// The wish received all units of the lot that it may have.
    AllOfIt,
    /// The taker is at a limit, on what they take or take beyond what they give, and nothing can be traded
    /// back.
    TakerBooks,
    /// The owner, or the club's gifts, would give more beyond what they get than their limit allows.
    GiverBooks,
    /// Each side alone has room, but nothing balances the two.
    Books,
    /// One more unit would lower an objective.
    Decided {
        /// The first objective that would be lower.
        by: Aim,
        /// Amount by which the objective would fall. For draws the number has no meaning.
        loss: i64,
    },
}

/// Explains the outcome of one round.
#[derive(Debug)]
pub struct Explainer<'a> {
    input: &'a Input,
    network: Network,
    /// The objectives in their order.
    aims: Vec<Aim>,
    /// For each arc: the index in `aims` of the objective that closed it (past the end if none did), and its
    /// reduced cost there.
    closed: Vec<(u32, i64)>,
    first: Vec<u32>,
    /// Arcs grouped by node: the arc, and whether it leaves the node along its direction.
    ends: Vec<(u32, bool)>,
    pair_at: BTreeMap<(u32, u32), Vec<u32>>,
    lot_at: BTreeMap<&'a str, u32>,
    want_at: BTreeMap<&'a str, u32>,
    bars: BTreeMap<(u32, u32), Bar>,
}

impl<'a> Explainer<'a> {
    /// Prepares explanations for a round and its outcome.
    ///
    /// # Errors
    /// Returns [`BadInput`] when the input is wrong or the outcome belongs to another round.
    pub fn new(input: &'a Input, outcome: &Outcome) -> Result<Self, BadInput> {
        input.check()?;
        let mut network = Network::new(input)?;
        let lot_at: BTreeMap<&str, u32> =
            input.lots.iter().zip(0..).map(|(l, at)| (l.id.as_str(), at)).collect();
        let want_at: BTreeMap<&str, u32> =
            input.wants.iter().zip(0..).map(|(w, at)| (w.id.as_str(), at)).collect();
        let mut pair_at: BTreeMap<(u32, u32), Vec<u32>> = BTreeMap::new();
        for (at, role) in network.roles.iter().enumerate() {
            if let Role::Pair { lot, want, .. } = role {
                pair_at.entry((*lot, *want)).or_default().push(at as u32);
            }
        }
        let mut shares = BTreeMap::new();
        for share in &outcome.shares {
            let stranger = || BadInput(format!("{} for {} is of another round", share.lot, share.want));
            let lot = lot_at.get(share.lot.as_str()).ok_or_else(stranger)?;
            let want = want_at.get(share.want.as_str()).ok_or_else(stranger)?;
            if !pair_at.contains_key(&(*lot, *want)) {
                return Err(stranger());
            }
            shares.insert((*lot, *want), share.units);
        }
        network.set_flow(&pair_at, &shares);
        let draw = Draw::new(&outcome.seed, outcome.redraw);
        let mut closed = vec![(outcome.steps.len() as u32, 0); network.arcs.len()];
        for (place, step) in outcome.steps.iter().enumerate() {
            let potential = network.unnamed(&step.potentials);
            let mut weights = vec![0; network.arcs.len()];
            for (arc, weight) in step.aim.weights(&network, input, &draw) {
                weights[arc as usize] = weight;
            }
            for ((arc, weight), closed) in network.arcs.iter().zip(weights).zip(&mut closed) {
                let cost = potential[arc.tail as usize] - potential[arc.head as usize] - weight;
                if closed.0 as usize == outcome.steps.len() && cost != 0 {
                    *closed = (place as u32, cost);
                }
            }
        }
        let mut first = vec![0_u32; network.nodes + 1];
        for arc in &network.arcs {
            first[arc.tail as usize + 1] += 1;
            first[arc.head as usize + 1] += 1;
        }
        for node in 0..network.nodes {
            first[node + 1] += first[node];
        }
        let mut next = first.clone();
        let mut ends = vec![(0, false); 2 * network.arcs.len()];
        for (at, arc) in network.arcs.iter().enumerate() {
            for (node, along) in [(arc.tail, true), (arc.head, false)] {
                ends[next[node as usize] as usize] = (at as u32, along);
                next[node as usize] += 1;
            }
        }
        let bars = input
            .barred
            .iter()
            .filter_map(|b| Some(((*lot_at.get(b.lot.as_str())?, *want_at.get(b.want.as_str())?), b.why)))
            .collect();
        let aims = outcome.steps.iter().map(|s| s.aim).collect();
        Ok(Self { input, network, aims, closed, first, ends, pair_at, lot_at, want_at, bars })
    }

    /// Returns why the wish did not get one more unit of the lot. Returns `None` if either id is unknown, or
    /// the wish does not name the lot.
    pub fn why(&self, lot: &str, want: &str) -> Option<Reason> {
        let (lot_at, want_at) = (*self.lot_at.get(lot)?, *self.want_at.get(want)?);
        let wish = self.input.wants.get(want_at as usize)?;
        if !wish.lots.iter().any(|l| l == lot) {
            return None;
        }
        if let Some(bar) = self.bars.get(&(lot_at, want_at)) {
            return Some(Reason::Barred { bar: *bar });
        }
        if self.input.lots.get(lot_at as usize)?.owner == wish.member {
            return Some(Reason::Barred { bar: Bar::Own });
        }
        let arcs = self.pair_at.get(&(lot_at, want_at))?;
        if self.got(want_at) >= wish.quantity {
            return Some(Reason::Met);
        }
        let Some(arc) = arcs.iter().find(|a| room(&self.network.arcs[**a as usize], true) > 0) else {
            return Some(Reason::AllOfIt);
        };
        let (from, to) = (self.network.wish_node(want_at)?, self.network.lot_node(lot_at));
        let (own, own_cost) = self.closed[*arc as usize];
        // Both searches leave out the pair's own arcs, because a path back along them would remove the unit
        // again. `low` becomes the last objective that some path back leaves whole.
        let (mut low, mut high) = (0, self.aims.len() as u32 + 1);
        if !self.reaches(from, to, 0, arcs) {
            return Some(match (self.reaches(from, 0, 0, arcs), self.reaches(0, to, 0, arcs)) {
                (false, _) => Reason::TakerBooks,
                (true, false) => Reason::GiverBooks,
                (true, true) => Reason::Books,
            });
        }
        while high - low > 1 {
            let middle = low.midpoint(high);
            if self.reaches(from, to, middle, arcs) {
                low = middle;
            } else {
                high = middle;
            }
        }
        let by = low.min(own);
        let aim = self.aims.get(by as usize).copied()?;
        let loss = self.cheapest(from, to, by, arcs)? + if own == by { own_cost } else { 0 };
        Some(Reason::Decided { by: aim, loss })
    }

    /// Returns the units that a wish received.
    fn got(&self, want: u32) -> u32 {
        let named = self.input.wants.get(want as usize).into_iter().flat_map(|w| &w.lots);
        named
            .filter_map(|l| self.pair_at.get(&(*self.lot_at.get(l.as_str())?, want)))
            .flatten()
            .map(|a| self.network.arcs[*a as usize].flow.unsigned_abs())
            .sum()
    }

    /// Returns the residual arcs of a node (next node, arc, along) that no objective before `from_aim`
    /// closed.
    fn onward(&self, node: u32, from_aim: u32) -> impl Iterator<Item = (u32, u32, bool)> + '_ {
        let range = self.first[node as usize] as usize..self.first[node as usize + 1] as usize;
        self.ends[range].iter().filter_map(move |(at, along)| {
            let arc = &self.network.arcs[*at as usize];
            (self.closed[*at as usize].0 >= from_aim && room(arc, *along) > 0).then_some((
                if *along { arc.head } else { arc.tail },
                *at,
                *along,
            ))
        })
    }

    fn reaches(&self, from: u32, to: u32, from_aim: u32, but: &[u32]) -> bool {
        let mut seen = vec![false; self.network.nodes];
        let mut queue = vec![from];
        seen[from as usize] = true;
        while let Some(node) = queue.pop() {
            if node == to {
                return true;
            }
            for (next, arc, _) in self.onward(node, from_aim) {
                if !but.contains(&arc) && !seen[next as usize] {
                    seen[next as usize] = true;
                    queue.push(next);
                }
            }
        }
        false
    }

    /// Returns the least loss of the objective on any path (Dijkstra; costs are zero or more).
    fn cheapest(&self, from: u32, to: u32, aim: u32, but: &[u32]) -> Option<i64> {
        let mut distance = vec![i64::MAX; self.network.nodes];
        let mut heap = BinaryHeap::from([Reverse((0, from))]);
        distance[from as usize] = 0;
        while let Some(Reverse((here, node))) = heap.pop() {
            if node == to {
                return Some(here);
            }
            if here > distance[node as usize] {
                continue;
            }
            for (next, arc, along) in self.onward(node, aim).filter(|(_, arc, _)| !but.contains(arc)) {
                let (place, cost) = self.closed[arc as usize];
                let cost = if place != aim {
                    0
                } else if along {
                    cost
                } else {
                    -cost
                };
                let there = here + cost;
                if there < distance[next as usize] {
                    distance[next as usize] = there;
                    heap.push(Reverse((there, next)));
                }
            }
        }
        None
    }
}

/// Returns the units that can still be sent along an arc, or back against it.
const fn room(arc: &Arc, along: bool) -> i32 {
    if along { arc.upper - arc.flow } else { arc.flow - arc.lower }
}
