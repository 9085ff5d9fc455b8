//! Why a wish was not met, or not by that lot: the cheapest change that would force one more unit, and the rule that it
//! breaks. It is a shortest way in what could still be changed, and agrees with settling the round again with that unit
//! forced.
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

/// Why one more unit of a lot did not go to a wish.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "reason")]
pub enum Reason {
    /// It may not go there at all.
    Barred {
        /// Why.
        bar: Bar,
    },
    /// The wish got all that it asked.
    Met,
    /// All of the lot that this wish may have went to it.
    AllOfIt,
    /// The member cannot take more: they would take more than they give, by more than is allowed them, or their limit is
    /// reached and nothing can be given back.
    TakerBooks,
    /// The owner, or the club's gifts, cannot give more: they would give more than they get, by more than is allowed.
    GiverBooks,
    /// Both could on their own; but nothing balances the two.
    Books,
    /// One more would break an objective.
    Decided {
        /// Which: the first that would be lower.
        by: Aim,
        /// By how much. For draws the number says nothing.
        loss: i64,
    },
}

/// Finds reasons in one round.
#[derive(Debug)]
pub struct Explainer<'a> {
    input: &'a Input,
    network: Network,
    /// The aims by place.
    aims: Vec<Aim>,
    /// For each arc: the objective that closed it (as a place in `aims`; past their end if none did) and its reduced cost
    /// there.
    closed: Vec<(u32, i64)>,
    first: Vec<u32>,
    /// Arcs by node: the arc, and whether it is left in its direction.
    ends: Vec<(u32, bool)>,
    pair_at: BTreeMap<(u32, u32), Vec<u32>>,
    lot_at: BTreeMap<&'a str, u32>,
    want_at: BTreeMap<&'a str, u32>,
    bars: BTreeMap<(u32, u32), Bar>,
}

impl<'a> Explainer<'a> {
    /// Of a round and its outcome.
    ///
    /// # Errors
    /// The two do not belong together.
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

    /// Why the wish did not get one more unit of the lot; none where one of them is not there, or the wish does not name
    /// the lot.
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
        // the way back is not the pair's own arc: that would take the unit away again
        // the last objective that some way back leaves whole
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

    /// Units that a wish got.
    fn got(&self, want: u32) -> u32 {
        let named = self.input.wants.get(want as usize).into_iter().flat_map(|w| &w.lots);
        named
            .filter_map(|l| self.pair_at.get(&(*self.lot_at.get(l.as_str())?, want)))
            .flatten()
            .map(|a| self.network.arcs[*a as usize].flow.unsigned_abs())
            .sum()
    }

    /// The arcs along which more could be sent from a node, and that no objective before `from_aim` closed.
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

    /// What the cheapest way costs the objective (Dijkstra; costs are zero or more).
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

/// How much more may be sent along an arc, or back.
const fn room(arc: &Arc, along: bool) -> i32 {
    if along { arc.upper - arc.flow } else { arc.flow - arc.lower }
}
