//! Finds the cheapest change that forces one more unit into an outcome, and the rule that it breaks.
//!
//! The change is a cycle in the residual network: the unit from the lot to the wish, and a path back whose
//! loss is the least, compared objective by objective in their order. That path is unique, because the last
//! draw separates all outcomes, so the cycle is the difference between the outcome and a settlement with the
//! unit forced.
#![expect(
    clippy::indexing_slicing,
    reason = "every index is a node or an arc that this module numbered itself"
)]

use std::{
    cmp::Reverse,
    collections::{BTreeMap, BTreeSet, BinaryHeap, VecDeque},
};

use super::{
    draw::Draw,
    flow::Arc,
    input::{BadInput, Bar, Input, RANKS},
    network::{Network, Role, giver},
    reason::{Change, Limit, Reason},
    solve::{Aim, Outcome},
};

/// An arc as a step on a path: its index, and whether the path follows its direction.
type Step = (u32, bool);

/// Explains the outcome of one round.
#[derive(Debug)]
pub struct Explainer<'a> {
    input: &'a Input,
    network: Network,
    /// The objectives in their order, without the final [`Aim::Settled`].
    aims: Vec<Aim>,
    /// For each arc, its nonzero weights: the index of the objective, and the weight.
    weights: Vec<Vec<(usize, i64)>>,
    /// Potentials, one row of `aims.len()` numbers for each node. With them no residual arc has a negative
    /// cost, compared objective by objective.
    potentials: Vec<i64>,
    first: Vec<u32>,
    /// Arcs grouped by node, each as the step that leaves the node.
    ends: Vec<Step>,
    pair_at: BTreeMap<(u32, u32), Vec<u32>>,
    lot_at: BTreeMap<&'a str, u32>,
    want_at: BTreeMap<&'a str, u32>,
    member_at: BTreeMap<&'a str, u32>,
    bars: BTreeMap<(u32, u32), Bar>,
    /// Units that each member takes.
    taken: Vec<u32>,
}

impl<'a> Explainer<'a> {
    /// Prepares explanations for a round and its outcome.
    ///
    /// # Errors
    /// Returns [`BadInput`] when the input is wrong, or the outcome belongs to another round or is not the
    /// best one.
    pub fn new(input: &'a Input, outcome: &Outcome) -> Result<Self, BadInput> {
        input.check()?;
        let mut network = Network::new(input)?;
        let index = |ids: Vec<&'a str>| -> BTreeMap<&'a str, u32> { ids.into_iter().zip(0..).collect() };
        let lot_at = index(input.lots.iter().map(|l| l.id.as_str()).collect());
        let want_at = index(input.wants.iter().map(|w| w.id.as_str()).collect());
        let member_at = index(input.members.iter().map(|m| m.id.as_str()).collect());
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
        let steps: Vec<_> = outcome.steps.iter().filter(|s| s.aim != Aim::Settled).collect();
        let aims: Vec<Aim> = steps.iter().map(|s| s.aim).collect();
        let mut weights = vec![Vec::new(); network.arcs.len()];
        let mut potentials = vec![0; network.nodes * aims.len()];
        for (place, step) in steps.iter().enumerate() {
            for (arc, weight) in step.aim.weights(&network, input, &draw) {
                weights[arc as usize].push((place, weight));
            }
            for (node, value) in network.unnamed(&step.potentials).into_iter().enumerate() {
                potentials[node * aims.len() + place] = value;
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
        let mut taken = vec![0; input.members.len()];
        for (arc, role) in network.arcs.iter().zip(&network.roles) {
            if let Role::Unit { member, .. } = role {
                taken[*member as usize] += arc.flow.unsigned_abs();
            }
        }
        let mut new = Self {
            input,
            network,
            aims,
            weights,
            potentials,
            first,
            ends,
            pair_at,
            lot_at,
            want_at,
            member_at,
            bars,
            taken,
        };
        new.mend_potentials()?;
        Ok(new)
    }

    /// Returns why the wish did not get one more unit of the lot. Returns `None` if either id is unknown, or
    /// the wish does not name the lot.
    pub fn why(&self, lot: &str, want: &str) -> Option<Reason> {
        self.whys(want)?.into_iter().find(|(named, _)| *named == lot).map(|(_, reason)| reason)
    }

    /// Returns, for each lot that a wish names, why the wish did not get one more unit of it, in the order of
    /// the wish. Returns `None` if the id is unknown.
    pub fn whys(&self, want: &str) -> Option<Vec<(&'a str, Reason)>> {
        let want = *self.want_at.get(want)?;
        let wish = self.input.wants.get(want as usize)?;
        let met = self.got(want) >= wish.quantity;
        let mut all = Vec::with_capacity(wish.lots.len());
        // One search serves every lot of which the wish has nothing yet.
        let mut open = Vec::new();
        for name in &wish.lots {
            let lot = *self.lot_at.get(name.as_str())?;
            let row = self.input.lots.get(lot as usize)?;
            let arcs = self.pair_at.get(&(lot, want));
            let spare = arcs.into_iter().flatten().copied().find(|a| self.room((*a, true)) > 0);
            let known = if let Some(bar) = self.bars.get(&(lot, want)) {
                Some(Reason::Barred { bar: *bar })
            } else if row.owner == wish.member {
                Some(Reason::Barred { bar: Bar::Own })
            } else if met {
                Some(Reason::Met)
            } else if spare.is_none() {
                Some(Reason::AllOfIt)
            } else if !self.can_come_back(lot) {
                Some(Reason::Gone)
            } else {
                None
            };
            if known.is_none() {
                open.extend(spare.map(|arc| (all.len(), lot, arc)));
            }
            all.push((row.id.as_str(), known));
        }
        if !open.is_empty() {
            let from = self.network.wish_node(want)?;
            // A path back must not undo the pair itself, so a lot of which the wish has something already
            // gets a search of its own.
            let holds = |lot: u32| {
                self.pair_at.get(&(lot, want)).into_iter().flatten().any(|a| self.room((*a, false)) > 0)
            };
            let (shared, own): (Vec<_>, Vec<_>) = open.into_iter().partition(|(_, lot, _)| !holds(*lot));
            for group in std::iter::once(shared).chain(own.into_iter().map(|one| vec![one])) {
                let targets: BTreeSet<u32> =
                    group.iter().map(|(_, lot, _)| self.network.lot_node(*lot)).collect();
                let but: &[u32] = match group.as_slice() {
                    [(_, lot, _)] if holds(*lot) => {
                        self.pair_at.get(&(*lot, want)).map_or(&[], Vec::as_slice)
                    }
                    _ => &[],
                };
                let ways = self.ways(from, targets, but);
                for (place, lot, arc) in group {
                    let reason = match ways.get(&self.network.lot_node(lot)) {
                        Some(path) => self.decided(want, arc, path)?,
                        None => self.limits(lot, want, but),
                    };
                    if let Some((_, slot)) = all.get_mut(place) {
                        *slot = Some(reason);
                    }
                }
            }
        }
        all.into_iter().map(|(lot, reason)| Some((lot, reason?))).collect()
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

    /// Returns the units that can still be sent along a step.
    fn room(&self, (arc, along): Step) -> i32 {
        let Arc { lower, upper, flow, .. } = self.network.arcs[arc as usize];
        if along { upper - flow } else { flow - lower }
    }

    /// Returns whether a unit of the lot is left over, or can be taken back from a wish.
    fn can_come_back(&self, lot: u32) -> bool {
        let node = self.network.lot_node(lot) as usize;
        let leaving = &self.ends[self.first[node] as usize..self.first[node + 1] as usize];
        // A step into the node is the reverse of one that leaves it.
        leaving.iter().any(|(arc, along)| self.room((*arc, !along)) > 0)
    }

    /// Returns the residual steps that leave a node, each with the node that it reaches.
    fn onward(&self, node: u32) -> impl Iterator<Item = (u32, Step)> + '_ {
        let range = self.first[node as usize] as usize..self.first[node as usize + 1] as usize;
        self.ends[range].iter().filter(|step| self.room(**step) > 0).map(|(at, along)| {
            let arc = &self.network.arcs[*at as usize];
            (if *along { arc.head } else { arc.tail }, (*at, *along))
        })
    }

    /// Adds the losses of a step to `to`, objective by objective.
    fn add_loss(&self, (arc, along): Step, to: &mut [i64]) {
        for (place, weight) in &self.weights[arc as usize] {
            to[*place] += if along { -weight } else { *weight };
        }
    }

    fn potential(&self, node: u32) -> &[i64] {
        let from = node as usize * self.aims.len();
        &self.potentials[from..from + self.aims.len()]
    }

    /// Lowers potentials until no residual arc has a negative cost. The proofs of an outcome look only at
    /// arcs that each objective left open, so later objectives can leave others negative.
    fn mend_potentials(&mut self) -> Result<(), BadInput> {
        let mut queue: VecDeque<u32> = (0..self.network.nodes as u32).collect();
        let mut waits = vec![true; self.network.nodes];
        // In an optimal outcome no node is lowered more often than there are nodes.
        let mut left = self.network.nodes.saturating_mul(self.network.nodes).max(1_000);
        while let Some(node) = queue.pop_front() {
            waits[node as usize] = false;
            let steps: Vec<(u32, Step)> = self.onward(node).collect();
            for (next, step) in steps {
                let mut reached = self.potential(node).to_vec();
                self.add_loss(step, &mut reached);
                if reached.as_slice() < self.potential(next) {
                    let from = next as usize * self.aims.len();
                    self.potentials[from..from + reached.len()].copy_from_slice(&reached);
                    if !std::mem::replace(&mut waits[next as usize], true) {
                        queue.push_back(next);
                    }
                }
            }
            left -= 1;
            if left == 0 {
                return Err(BadInput("the outcome is not the best one for its round".into()));
            }
        }
        Ok(())
    }

    /// Returns the path of least loss to each target that can be reached (Dijkstra with rows of costs).
    fn ways(&self, from: u32, mut targets: BTreeSet<u32>, but: &[u32]) -> BTreeMap<u32, Vec<Step>> {
        let mut best: BTreeMap<u32, Vec<i64>> = BTreeMap::from([(from, vec![0; self.aims.len()])]);
        let mut parent: BTreeMap<u32, (u32, Step)> = BTreeMap::new();
        let mut done = vec![false; self.network.nodes];
        let mut heap = BinaryHeap::from([Reverse((vec![0; self.aims.len()], from))]);
        let mut ways = BTreeMap::new();
        while let Some(Reverse((here, node))) = heap.pop() {
            if std::mem::replace(&mut done[node as usize], true) {
                continue;
            }
            if targets.remove(&node) {
                let (mut path, mut at) = (Vec::new(), node);
                while let Some((before, step)) = parent.get(&at) {
                    path.push(*step);
                    at = *before;
                }
                ways.insert(node, path);
                if targets.is_empty() {
                    break;
                }
            }
            for (next, step) in self.onward(node) {
                if done[next as usize] || but.contains(&step.0) {
                    continue;
                }
                let mut there = here.clone();
                for ((sum, tail), head) in
                    there.iter_mut().zip(self.potential(node)).zip(self.potential(next))
                {
                    *sum += tail - head;
                }
                self.add_loss(step, &mut there);
                if best.get(&next).is_none_or(|known| there < *known) {
                    parent.insert(next, (node, step));
                    best.insert(next, there.clone());
                    heap.push(Reverse((there, next)));
                }
            }
        }
        ways
    }

    /// Returns whether a path leads from one node to another, with some more arcs that are always open.
    fn reaches(&self, from: u32, to: u32, but: &[u32], more: &[(u32, u32)]) -> bool {
        let mut seen = vec![false; self.network.nodes];
        let mut queue = vec![from];
        seen[from as usize] = true;
        while let Some(node) = queue.pop() {
            if node == to {
                return true;
            }
            let steps = self.onward(node).filter(|(_, (arc, _))| !but.contains(arc)).map(|(next, _)| next);
            let opened = more.iter().filter(|(tail, _)| *tail == node).map(|(_, head)| *head);
            for next in steps.chain(opened) {
                if !std::mem::replace(&mut seen[next as usize], true) {
                    queue.push(next);
                }
            }
        }
        false
    }

    /// Finds the fewest limits that together keep a unit from a wish.
    fn limits(&self, lot: u32, want: u32, but: &[u32]) -> Reason {
        let find = || {
            let (wish, lot_row) = (self.input.wants.get(want as usize)?, self.input.lots.get(lot as usize)?);
            let taker_node = self.network.taker_of(want)?;
            let me = giver(*self.member_at.get(wish.member.as_str())? as usize);
            let owner = giver(*self.member_at.get(lot_row.owner.as_str())? as usize);
            let mut lifted = vec![(Limit::Cap, (taker_node, me))];
            lifted.extend(self.network.group_of(want).map(|group| (Limit::CultivarCap, (group, taker_node))));
            lifted.push((Limit::Get, (me, 0)));
            if !lot_row.gift {
                lifted.push((Limit::Give, (0, owner)));
            }
            let (from, to) = (self.network.wish_node(want)?, self.network.lot_node(lot));
            let mut sets: Vec<u32> = (1..1_u32 << lifted.len()).collect();
            sets.sort_by_key(|set| (set.count_ones(), *set));
            sets.into_iter().find_map(|set| {
                let chosen: Vec<_> =
                    lifted.iter().zip(0..).filter(|(_, at)| set & (1 << at) != 0).map(|(l, _)| *l).collect();
                let more: Vec<(u32, u32)> = chosen.iter().map(|(_, arc)| *arc).collect();
                let limits = chosen.iter().map(|(limit, _)| *limit).collect();
                self.reaches(from, to, but, &more).then_some(Reason::Limits { limits })
            })
        };
        find().unwrap_or(Reason::Books)
    }

    /// Says what a cycle changes: the pair's own arc, and a path back.
    fn decided(&self, want: u32, arc: u32, path: &[Step]) -> Option<Reason> {
        let cycle = || path.iter().copied().chain([(arc, true)]);
        let mut losses = vec![0; self.aims.len()];
        cycle().for_each(|step| self.add_loss(step, &mut losses));
        let (place, loss) = losses.iter().enumerate().find(|(_, loss)| **loss != 0)?;
        let by = *self.aims.get(place)?;
        let wish = self.input.wants.get(want as usize)?;
        let me = *self.member_at.get(wish.member.as_str())?;
        let mut change = Change { loss: *loss, ..Change::default() };
        let mut lines: BTreeMap<u32, i32> = BTreeMap::new();
        let mut totals: BTreeMap<u32, i32> = BTreeMap::new();
        let mut pairs: BTreeMap<(u32, u32), i32> = BTreeMap::new();
        let mut kept_less = 0;
        for (arc, along) in cycle() {
            let sign = if along { 1 } else { -1 };
            match self.network.roles[arc as usize] {
                Role::Unit { member, level } => {
                    *totals.entry(member).or_default() += sign;
                    if by == Aim::Level(level) && member != me && !along {
                        change.at_level += 1;
                    }
                }
                Role::Pair { lot, want: of, kept } => {
                    *lines.entry(of).or_default() += sign;
                    *pairs.entry((lot, of)).or_default() += sign;
                    if kept && !along && !self.is_of(of, me) {
                        kept_less += 1;
                    }
                }
                Role::Supply | Role::Wish { .. } | Role::Group | Role::Balance => {}
            }
        }
        for (member, by) in &totals {
            if *member == me {
                change.own_total = *by;
            } else if *by < 0 {
                change.others_less += 1;
            } else if *by > 0 {
                change.others_more += 1;
            }
        }
        change.same_line = pairs.iter().any(|((_, of), by)| *of == want && *by < 0);
        let mine = |of: &u32| *of != want && self.is_of(*of, me);
        let rank = |of: u32| self.input.wants.get(of as usize).map(|w| w.rank);
        change.own_lines =
            lines.iter().filter(|(of, by)| mine(of) && **by < 0).filter_map(|(of, _)| rank(*of)).collect();
        change.own_lines.sort_unstable();
        let of_others = lines.iter().filter(|(of, _)| !self.is_of(**of, me));
        match by {
            Aim::Level(level) => change.standing = level - self.reached(me),
            Aim::Rank(decides) => {
                for (_, by) in of_others.filter(|(of, _)| rank(**of).map(|r| r.min(RANKS)) == Some(decides)) {
                    if *by < 0 {
                        change.lines_less += by.unsigned_abs();
                    } else {
                        change.lines_more += by.unsigned_abs();
                    }
                }
            }
            Aim::Which => {
                let lost = pairs.iter().filter(|((_, of), by)| !self.is_of(*of, me) && **by < 0);
                change.lines_less = lost.map(|(_, by)| by.unsigned_abs()).sum();
            }
            Aim::Kept => change.lines_less = kept_less,
            Aim::Who | Aim::Settled => {}
        }
        Some(Reason::Decided { by, change })
    }

    /// Returns whether a wish is of a member.
    fn is_of(&self, want: u32, member: u32) -> bool {
        let of = self.input.wants.get(want as usize).and_then(|w| self.member_at.get(w.member.as_str()));
        of == Some(&member)
    }

    /// Returns the level that a member has reached: that of their last unit, or one below their first.
    fn reached(&self, member: u32) -> i32 {
        let row = self.input.members.get(member as usize);
        row.zip(self.taken.get(member as usize)).map_or(0, |(row, taken)| row.level(*taken))
    }
}
