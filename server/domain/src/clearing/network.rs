//! A round as a network: units flow from givers to lots, to wishes, to takers, and back to the same member as
//! giver. Units that a member gives beyond what they take flow through a node for the commons, within the
//! member's limits.
#![expect(
    clippy::indexing_slicing,
    reason = "every index is a member, lot, wish, node or arc that this module numbered itself"
)]

use std::collections::{BTreeMap, BTreeSet};

use super::{
    draw::Draw,
    flow::Arc,
    input::{BadInput, Input, RANKS},
};

/// What an arc represents.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    /// A lot leaves its owner, or the commons if it is a gift.
    Supply,
    /// Units of a lot for a wish; `kept` marks units that an earlier outcome gave to the same pair.
    Pair { lot: u32, want: u32, kept: bool },
    /// A wish for several lots, to its taker or to the taker's group limit.
    Wish { want: u32 },
    /// A member's limit on a group of lots.
    Group,
    /// A member's n-th unit, with its level.
    Unit { member: u32, level: i32 },
    /// What a member takes beyond what they give; negative if they give more.
    Balance,
}

/// Where a wish's units go.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// The wish's own node, if several lots can meet it.
    node: Option<u32>,
    /// Node that the units reach next: the taker, or their group limit.
    to: u32,
}

/// The network of a round.
#[derive(Debug)]
pub(super) struct Network {
    pub(super) nodes: usize,
    pub(super) arcs: Vec<Arc>,
    pub(super) roles: Vec<Role>,
    /// Place of each wish; `None` where no lot can reach it.
    pub(super) wishes: Vec<Option<Place>>,
    /// Group limits: node, member, group.
    groups: Vec<(u32, u32, String)>,
    members: usize,
    lots: usize,
}

/// Returns the node of a member as giver. Node 0 is the commons.
pub(super) fn giver(member: usize) -> u32 {
    1 + member as u32
}

impl Network {
    /// Builds the network of a checked input.
    pub(super) fn new(input: &Input) -> Result<Self, BadInput> {
        let index = |ids: Vec<&str>| -> BTreeMap<String, usize> {
            ids.into_iter().enumerate().map(|(at, id)| (id.to_string(), at)).collect()
        };
        let member_at = index(input.members.iter().map(|m| m.id.as_str()).collect());
        let lot_at = index(input.lots.iter().map(|l| l.id.as_str()).collect());
        let want_at = index(input.wants.iter().map(|w| w.id.as_str()).collect());
        let find = |map: &BTreeMap<String, usize>, id: &str| {
            map.get(id).copied().ok_or_else(|| BadInput(format!("{id} is not there")))
        };
        let pairs_of = |shares: &[super::input::Share]| -> Result<BTreeMap<(usize, usize), i32>, BadInput> {
            let mut pairs = BTreeMap::new();
            for share in shares {
                let pair = (find(&lot_at, &share.lot)?, find(&want_at, &share.want)?);
                *pairs.entry(pair).or_insert(0) += small(share.units);
            }
            Ok(pairs)
        };
        let fixed = pairs_of(&input.fixed)?;
        let kept = pairs_of(&input.kept)?;
        let mut barred = BTreeSet::new();
        for bar in &input.barred {
            barred.insert((find(&lot_at, &bar.lot)?, find(&want_at, &bar.want)?));
        }
        let (members, lots) = (input.members.len(), input.lots.len());
        let taker = |member: usize| (1 + members + member) as u32;
        let lot_node = |lot: usize| (1 + 2 * members + lot) as u32;
        let mut new = Self {
            nodes: 1 + 2 * members + lots,
            arcs: Vec::new(),
            roles: Vec::new(),
            wishes: vec![None; input.wants.len()],
            groups: Vec::new(),
            members,
            lots,
        };
        let mut takes = vec![0_i32; members];
        let mut gives = vec![0_i32; members];
        let mut asks = vec![0_i64; members];
        let mut leaves = vec![0_i32; lots];
        let mut group_at: BTreeMap<(usize, &str), (u32, i32)> = BTreeMap::new();
        let mut pairs = Vec::new();
        for (want_index, want) in input.wants.iter().enumerate() {
            let member_index = find(&member_at, &want.member)?;
            let member = &input.members[member_index];
            let mut open = Vec::new();
            for lot in &want.lots {
                let lot_index = find(&lot_at, lot)?;
                let pair = (lot_index, want_index);
                let lot = &input.lots[lot_index];
                let own = lot.owner == want.member;
                if fixed.contains_key(&pair) || !own && !barred.contains(&pair) {
                    open.push((lot_index, lot));
                }
            }
            let Some((_, first)) = open.first() else { continue };
            let mut to = taker(member_index);
            if let Some(cap) = member.caps.get(&first.group) {
                if open.iter().any(|(_, lot)| lot.group != first.group) {
                    return Err(BadInput(format!(
                        "wish {} names lots of several groups, and {} takes a limited number of one of them",
                        want.id, want.member
                    )));
                }
                let next = new.nodes as u32;
                let (node, _) = group_at.entry((member_index, &first.group)).or_insert_with(|| {
                    new.nodes += 1;
                    new.groups.push((next, member_index as u32, first.group.clone()));
                    (next, small(*cap))
                });
                to = *node;
            }
            let node = (open.len() > 1).then(|| {
                new.nodes += 1;
                new.nodes as u32 - 1
            });
            new.wishes[want_index] = Some(Place { node, to });
            asks[member_index] += i64::from(want.quantity);
            let mut reached = 0;
            for (lot_index, lot) in &open {
                let pair = (*lot_index, want_index);
                let done = fixed.get(&pair).copied().unwrap_or(0);
                let upper = small(lot.units.min(want.quantity)).max(done);
                reached += done;
                leaves[*lot_index] += done;
                takes[member_index] += done;
                if !lot.gift {
                    gives[find(&member_at, &lot.owner)?] += done;
                }
                let (tail, head) = (lot_node(*lot_index), node.unwrap_or(to));
                let again = kept.get(&pair).copied().unwrap_or(0).clamp(0, upper - done);
                let role = |kept| Role::Pair { lot: *lot_index as u32, want: want_index as u32, kept };
                if again > 0 {
                    pairs.push((role(true), Arc { tail, head, lower: 0, upper: again, flow: 0 }));
                }
                if upper - again > 0 {
                    pairs.push((
                        role(false),
                        Arc { tail, head, lower: done, upper: upper - again, flow: done },
                    ));
                }
            }
            if let Some(node) = node {
                let upper = small(want.quantity).max(reached);
                pairs.push((
                    Role::Wish { want: want_index as u32 },
                    Arc { tail: node, head: to, lower: 0, upper, flow: reached },
                ));
            }
        }
        let mut arriving: BTreeMap<u32, i32> = BTreeMap::new();
        for (_, arc) in pairs.iter().filter(|(_, a)| a.flow > 0) {
            *arriving.entry(arc.head).or_insert(0) += arc.flow;
        }
        for (lot_index, lot) in input.lots.iter().enumerate() {
            let tail = if lot.gift { 0 } else { giver(find(&member_at, &lot.owner)?) };
            let flow = leaves[lot_index];
            let upper = small(lot.units).max(flow);
            new.push(Role::Supply, Arc { tail, head: lot_node(lot_index), lower: 0, upper, flow });
        }
        for (role, arc) in pairs {
            new.push(role, arc);
        }
        for ((member_index, _), (node, cap)) in &group_at {
            let flow = arriving.get(node).copied().unwrap_or(0);
            let arc =
                Arc { tail: *node, head: taker(*member_index), lower: 0, upper: (*cap).max(flow), flow };
            new.push(Role::Group, arc);
        }
        for (at, member) in input.members.iter().enumerate() {
            let (taken, given) = (takes[at], gives[at]);
            let asked = u32::try_from(asks[at]).unwrap_or(u32::MAX);
            let most = small(member.cap.min(asked)).max(taken);
            for unit in 1..=most {
                let level = member.level(unit.unsigned_abs());
                let flow = i32::from(unit <= taken);
                let arc = Arc { tail: taker(at), head: giver(at), lower: 0, upper: 1, flow };
                new.push(Role::Unit { member: at as u32, level }, arc);
            }
            // Completed hand-overs stay even where they exceed the limits.
            let flow = taken - given;
            let (lower, upper) = ((-small(member.give)).min(flow), small(member.get).max(flow));
            new.push(Role::Balance, Arc { tail: giver(at), head: 0, lower, upper, flow });
        }
        Ok(new)
    }

    /// Sets the flow on every arc from the units of each pair. `arcs_of` gives the arcs of each pair of a lot
    /// and a wish.
    pub(super) fn set_flow(
        &mut self,
        arcs_of: &BTreeMap<(u32, u32), Vec<u32>>,
        units: &BTreeMap<(u32, u32), u32>,
    ) {
        let mut into: BTreeMap<u32, i32> = BTreeMap::new();
        let mut out: BTreeMap<u32, i32> = BTreeMap::new();
        for (pair, arcs) in arcs_of {
            let mut left = small(units.get(pair).copied().unwrap_or(0));
            // Kept units fill up first; units already handed over are the lower bound of the last arc.
            let bound = arcs.last().and_then(|a| self.arcs.get(*a as usize)).map_or(0, |a| a.lower);
            left -= bound;
            for (place, at) in arcs.iter().enumerate() {
                let Some(arc) = self.arcs.get_mut(*at as usize) else { continue };
                let least = if place + 1 == arcs.len() { bound } else { 0 };
                let more = left.min(arc.upper - least);
                arc.flow = least + more;
                left -= more;
                *into.entry(arc.head).or_insert(0) += arc.flow;
                *out.entry(arc.tail).or_insert(0) += arc.flow;
            }
        }
        // The flow continues from wishes to group limits, and from both to takers.
        for (arc, role) in self.arcs.iter_mut().zip(&self.roles) {
            if matches!(role, Role::Wish { .. }) {
                arc.flow = into.get(&arc.tail).copied().unwrap_or(0);
                *into.entry(arc.head).or_insert(0) += arc.flow;
            }
        }
        for (arc, role) in self.arcs.iter_mut().zip(&self.roles) {
            if *role == Role::Group {
                arc.flow = into.get(&arc.tail).copied().unwrap_or(0);
                *into.entry(arc.head).or_insert(0) += arc.flow;
            }
        }
        let mut over: BTreeMap<u32, i32> = BTreeMap::new();
        for (arc, role) in self.arcs.iter_mut().zip(&self.roles) {
            match role {
                Role::Supply => {
                    arc.flow = out.get(&arc.head).copied().unwrap_or(0);
                    *over.entry(arc.tail).or_insert(0) -= arc.flow;
                }
                Role::Unit { .. } => {
                    let taken = into.entry(arc.tail).or_insert(0);
                    arc.flow = i32::from(*taken > 0);
                    *taken -= arc.flow;
                    *over.entry(arc.head).or_insert(0) += arc.flow;
                }
                Role::Balance => arc.flow = over.get(&arc.tail).copied().unwrap_or(0),
                Role::Pair { .. } | Role::Wish { .. } | Role::Group => {}
            }
        }
    }

    fn push(&mut self, role: Role, arc: Arc) {
        self.roles.push(role);
        self.arcs.push(arc);
    }

    fn weigh(&self, weight: impl Fn(&Role) -> i64) -> Vec<(u32, i64)> {
        let weighed = self.roles.iter().enumerate().map(|(at, role)| (at as u32, weight(role)));
        weighed.filter(|(_, weight)| *weight > 0).collect()
    }

    /// Weights the units that an earlier outcome gave to the same pair.
    pub(super) fn kept(&self) -> Vec<(u32, i64)> {
        self.weigh(|role| i64::from(matches!(role, Role::Pair { kept: true, .. })))
    }

    /// Weights the units at one level.
    pub(super) fn at_level(&self, wanted: i32) -> Vec<(u32, i64)> {
        self.weigh(|role| i64::from(matches!(role, Role::Unit { level, .. } if *level == wanted)))
    }

    /// Returns all levels at which a member's unit stands.
    pub(super) fn levels(&self) -> BTreeSet<i32> {
        let level = |role: &Role| if let Role::Unit { level, .. } = role { Some(*level) } else { None };
        self.roles.iter().filter_map(level).collect()
    }

    /// Weights each unit by its member's drawn number.
    pub(super) fn who(&self, input: &Input, draw: &Draw) -> Vec<(u32, i64)> {
        let numbers: Vec<i64> = input.members.iter().map(|m| draw.member(&m.id)).collect();
        self.weigh(|role| {
            let Role::Unit { member, .. } = role else { return 0 };
            numbers[*member as usize]
        })
    }

    /// Weights the units for wishes of one rank.
    pub(super) fn at_rank(&self, input: &Input, rank: u32) -> Vec<(u32, i64)> {
        let of_rank = |want: u32| input.wants[want as usize].rank.min(RANKS) == rank;
        self.weigh(|role| {
            i64::from(match role {
                Role::Wish { want } => of_rank(*want),
                Role::Pair { want, .. } => self.is_alone(*want) && of_rank(*want),
                Role::Supply | Role::Group | Role::Unit { .. } | Role::Balance => false,
            })
        })
    }

    /// Weights each unit by the drawn number of its lot and wish.
    pub(super) fn which(&self, input: &Input, draw: &Draw) -> Vec<(u32, i64)> {
        self.weigh(|role| {
            let Role::Pair { lot, want, .. } = role else { return 0 };
            draw.pair(&input.lots[*lot as usize].id, &input.wants[*want as usize].id)
        })
    }

    /// Returns whether only one lot can meet a wish, so that the wish has no node of its own.
    fn is_alone(&self, want: u32) -> bool {
        self.wishes[want as usize].is_some_and(|place| place.node.is_none())
    }

    /// Returns the node where units for a wish arrive.
    pub(super) fn wish_node(&self, want: u32) -> Option<u32> {
        self.wishes[want as usize].map(|p| p.node.unwrap_or(p.to))
    }

    /// Returns the node of a wish's taker.
    pub(super) fn taker_of(&self, want: u32) -> Option<u32> {
        let to = self.wishes[want as usize]?.to;
        let taker = |member: u32| (1 + self.members) as u32 + member;
        Some(self.groups.iter().find(|(node, ..)| *node == to).map_or(to, |(_, member, _)| taker(*member)))
    }

    /// Returns the node of the group limit that a wish counts toward.
    pub(super) fn group_of(&self, want: u32) -> Option<u32> {
        let to = self.wishes[want as usize]?.to;
        self.groups.iter().map(|(node, ..)| *node).find(|node| *node == to)
    }

    /// Returns the node of a lot.
    pub(super) fn lot_node(&self, lot: u32) -> u32 {
        (1 + 2 * self.members) as u32 + lot
    }

    /// Returns the potentials in the order of the input. A wish without a node gets the potential that makes
    /// the reduced cost of its way on zero; `extra` is the weight on that way.
    pub(super) fn named(&self, potential: &[i64], extra: impl Fn(usize) -> i64) -> Potentials {
        let at = |node: u32| potential[node as usize];
        let row = |from: usize, count: usize| (from..from + count).map(|node| at(node as u32)).collect();
        let of_wish = |(want, place): (usize, &Option<Place>)| {
            place.map(|place| place.node.map_or_else(|| at(place.to) + extra(want), at))
        };
        Potentials {
            commons: at(0),
            givers: row(1, self.members),
            takers: row(1 + self.members, self.members),
            lots: row(1 + 2 * self.members, self.lots),
            wants: self.wishes.iter().enumerate().map(of_wish).collect(),
            groups: self
                .groups
                .iter()
                .map(|(node, member, group)| (*member, group.clone(), at(*node)))
                .collect(),
        }
    }

    /// Returns the potential of each node from potentials in the order of the input.
    pub(super) fn unnamed(&self, from: &Potentials) -> Vec<i64> {
        let mut all = vec![0; self.nodes];
        let mut set = |node: usize, value: i64| {
            if let Some(at) = all.get_mut(node) {
                *at = value;
            }
        };
        set(0, from.commons);
        for (rows, first) in
            [(&from.givers, 1), (&from.takers, 1 + self.members), (&from.lots, 1 + 2 * self.members)]
        {
            for (at, value) in rows.iter().enumerate() {
                set(first + at, *value);
            }
        }
        for (place, value) in self.wishes.iter().zip(&from.wants) {
            if let (Some(Place { node: Some(node), .. }), Some(value)) = (place, value) {
                set(*node as usize, *value);
            }
        }
        for ((node, ..), (.., value)) in self.groups.iter().zip(&from.groups) {
            set(*node as usize, *value);
        }
        all
    }
}

/// Potentials of the network's nodes, in the order of the input.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Potentials {
    /// Potential of the commons.
    pub commons: i64,
    /// Potential of each member as a giver.
    pub givers: Vec<i64>,
    /// Potential of each member as a taker.
    pub takers: Vec<i64>,
    /// Potential of each lot.
    pub lots: Vec<i64>,
    /// Potential of each wish; `None` where no lot can reach it.
    pub wants: Vec<Option<i64>>,
    /// For each group limit: the member's index in the input, the group, the potential.
    pub groups: Vec<(u32, String, i64)>,
}

fn small(units: u32) -> i32 {
    i32::try_from(units).unwrap_or(i32::MAX / 4).min(i32::MAX / 4)
}
