//! Circulations on a network, optimised for one objective after another, each within the optima of all
//! earlier ones.
//!
//! An objective is a set of weights on arcs; its value is the sum of weight times flow. `improve` uses the
//! scaling of Edmonds and Karp. It reads the weights bit by bit from the top. At each bit only arcs with a
//! reduced cost of -1 are out of order. It fills them and routes the excess at nodes back along cheapest
//! paths. Reduced costs are small whole numbers, so many paths cost the same; Dinic's blocking flows handle
//! them together.
//!
//! After each objective, an arc can only change within a cycle of arcs with reduced cost zero (complementary
//! slackness). All other arcs are closed: those with another reduced cost, and those between two strongly
//! connected components of the rest. Each later objective so works on a smaller network. The potentials are
//! kept: with them a reader can check each objective without solving it.
//! each objective without solving it.
#![expect(
    clippy::indexing_slicing,
    reason = "every index is a node or an arc that this module numbered itself; a look that may fail, millions of times over, would only hide a mistake"
)]

use std::{cmp::Reverse, collections::BinaryHeap};

/// Observes the work and can stop it.
pub trait Watch {
    /// Returns `false` to stop the work. The solver calls it often.
    fn go_on(&mut self) -> bool;
}

/// A [`Watch`] that never stops the work.
#[derive(Clone, Copy, Debug)]
pub struct Unwatched;

impl Watch for Unwatched {
    fn go_on(&mut self) -> bool {
        true
    }
}

/// A [`Watch`] stopped the work before its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("stopped before the end")]
pub struct Stopped;

/// An arc with its bounds and its flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Arc {
    /// Node that the arc leaves.
    pub(super) tail: u32,
    /// Node that the arc enters.
    pub(super) head: u32,
    /// Lower bound of the flow.
    pub(super) lower: i32,
    /// Upper bound of the flow.
    pub(super) upper: i32,
    /// Current flow, in units.
    pub(super) flow: i32,
}

/// One arc, seen from one of its ends.
#[derive(Clone, Copy, Debug, Default)]
struct Half {
    /// Node at the other end.
    to: u32,
    /// Index of the same arc seen from the other end.
    mate: u32,
    /// Units that can still be sent to the other end.
    room: i32,
    /// Units that can still be sent from the other end to this one.
    back: i32,
    /// Cost of one unit sent to the other end.
    cost: i64,
}

const FAR: u32 = u32::MAX;

/// The open arcs, grouped by the nodes that they touch.
#[derive(Debug, Default)]
struct Open {
    /// Index of the first half of each node, plus one past the last.
    first: Vec<u32>,
    halves: Vec<Half>,
    /// For each open arc: its number, and the index of its half at its tail.
    arcs: Vec<(u32, u32)>,
}

/// A circulation, and the arcs that can still change.
#[derive(Debug)]
pub(super) struct Circulation {
    arcs: Vec<Arc>,
    nodes: usize,
    /// Numbers of the arcs that can still change.
    open: Vec<u32>,
    /// Strongly connected component of each node. No residual arc goes from a lower number to a higher one.
    part: Vec<u32>,
}

impl Circulation {
    /// Takes arcs whose flow is a circulation within their bounds.
    pub(super) fn new(nodes: usize, arcs: Vec<Arc>) -> Self {
        let open =
            (0..arcs.len() as u32).filter(|a| arcs[*a as usize].lower < arcs[*a as usize].upper).collect();
        let mut new = Self { arcs, nodes, open, part: vec![0; nodes] };
        let graph = new.graph(&[]);
        new.close(&graph, &vec![0; nodes]);
        new
    }

    /// Moves one unit around a cycle of arcs that can still change: another circulation with equal objectives. Returns false if
    /// there is none.
    pub(super) fn turn(&mut self) -> bool {
        let mut out: Vec<Vec<(u32, u32, i32)>> = vec![Vec::new(); self.nodes];
        for at in &self.open {
            let arc = self.arcs[*at as usize];
            if arc.flow < arc.upper {
                out[arc.tail as usize].push((arc.head, *at, 1));
            }
            if arc.flow > arc.lower {
                out[arc.head as usize].push((arc.tail, *at, -1));
            }
        }
        for start in self.open.clone() {
            let arc = self.arcs[start as usize];
            for (from, to, sign) in [(arc.head, arc.tail, 1), (arc.tail, arc.head, -1)] {
                let room = if sign > 0 { arc.upper - arc.flow } else { arc.flow - arc.lower };
                if room <= 0 {
                    continue;
                }
                let mut back: Vec<Option<(u32, u32, i32)>> = vec![None; self.nodes];
                let mut queue = vec![from];
                while let Some(node) = queue.pop() {
                    for (next, at, way) in &out[node as usize] {
                        if *at != start && *next != from && back[*next as usize].is_none() {
                            back[*next as usize] = Some((node, *at, *way));
                            queue.push(*next);
                        }
                    }
                }
                if back[to as usize].is_none() {
                    continue;
                }
                self.arcs[start as usize].flow += sign;
                let mut node = to;
                while let Some((before, at, way)) = back[node as usize] {
                    self.arcs[at as usize].flow += way;
                    node = before;
                }
                return true;
            }
        }
        false
    }

    /// Returns the arcs with their current flow.
    pub(super) fn arcs(&self) -> &[Arc] {
        &self.arcs
    }

    /// Returns potentials that prove, without any weights, which arcs can no longer change.
    pub(super) fn settled(&self) -> Vec<i64> {
        self.part.iter().map(|part| i64::from(*part)).collect()
    }

    /// Returns whether the flow is final: the open arcs form a forest.
    pub(super) fn is_settled(&self) -> bool {
        let mut root: Vec<u32> = (0..self.nodes as u32).collect();
        fn find(root: &mut [u32], mut node: u32) -> u32 {
            while root[node as usize] != node {
                root[node as usize] = root[root[node as usize] as usize];
                node = root[node as usize];
            }
            node
        }
        self.open.iter().all(|arc| {
            let arc = self.arcs[*arc as usize];
            let (a, b) = (find(&mut root, arc.tail), find(&mut root, arc.head));
            root[a as usize] = b;
            a != b
        })
    }

    /// Maximises the sum of weight times flow within the optima of all earlier objectives, and closes the
    /// arcs that can no longer change. Weights are zero or more, and zero on arcs without an entry. Returns
    /// the potential of each node. An arc from `u` to `v` of weight `w` has the reduced cost `potential(u) -
    /// potential(v) - w`; where it is positive the arc is at its lower bound, where it is negative at its
    /// upper.
    ///
    /// # Errors
    /// Returns [`Stopped`] when the watch stops the work; the flow is then useless.
    pub(super) fn improve(
        &mut self,
        weights: &[(u32, i64)],
        watch: &mut dyn Watch,
    ) -> Result<Vec<i64>, Stopped> {
        if !watch.go_on() {
            return Err(Stopped);
        }
        let mut graph = self.graph(weights);
        let weighed: Vec<(u32, i64)> = graph
            .arcs
            .iter()
            .filter_map(|(_, half)| {
                let weight = -graph.halves[*half as usize].cost;
                (weight > 0).then_some((*half, weight))
            })
            .collect();
        let mut search = Search::new(self.nodes);
        let bits = weighed.iter().map(|(_, w)| 64 - w.leading_zeros()).max().unwrap_or(0);
        for bit in (0..bits).rev() {
            if !watch.go_on() {
                return Err(Stopped);
            }
            search.potential.iter_mut().for_each(|p| *p *= 2);
            for (half, weight) in &weighed {
                graph.price(*half, -(weight >> bit));
            }
            for (half, _) in &weighed {
                let at = graph.halves[*half as usize];
                let tail = graph.halves[at.mate as usize].to;
                if at.room > 0 && at.cost + search.potential[tail as usize] < search.potential[at.to as usize]
                {
                    let room = at.room;
                    graph.send(*half, room);
                    search.excess[tail as usize] -= room;
                    search.excess[at.to as usize] += room;
                }
            }
            search.route(&mut graph, watch)?;
        }
        for (arc, half) in &graph.arcs {
            let arc = &mut self.arcs[*arc as usize];
            arc.flow = arc.upper - graph.halves[*half as usize].room;
        }
        let mut potential = search.potential;
        let apart = self.apart(&potential, weights.iter().map(|(_, w)| *w).max().unwrap_or(0));
        self.close(&graph, &potential);
        for (p, apart) in potential.iter_mut().zip(apart) {
            *p += apart;
        }
        Ok(potential)
    }

    /// Returns an offset for each node's potential. It is the same within a component, and it gives every arc
    /// between two components a nonzero reduced cost of the right sign.
    fn apart(&self, potential: &[i64], weight: i64) -> Vec<i64> {
        let parts = self.part.iter().map(|p| *p as usize + 1).max().unwrap_or(0);
        let mut range = vec![(i64::MAX, i64::MIN); parts];
        for (p, part) in potential.iter().zip(&self.part) {
            let (low, high) = &mut range[*part as usize];
            (*low, *high) = ((*low).min(*p), (*high).max(*p));
        }
        let mut top = 0;
        let added: Vec<i64> = range
            .iter()
            .map(|(low, high)| {
                let add = top + weight + 1 - low;
                top = add + high;
                add
            })
            .collect();
        self.part.iter().map(|part| added[*part as usize]).collect()
    }

    fn graph(&self, weights: &[(u32, i64)]) -> Open {
        let mut first = vec![0_u32; self.nodes + 1];
        for arc in &self.open {
            let arc = &self.arcs[*arc as usize];
            first[arc.tail as usize + 1] += 1;
            first[arc.head as usize + 1] += 1;
        }
        for node in 0..self.nodes {
            first[node + 1] += first[node];
        }
        let mut next = first.clone();
        let mut halves = vec![Half::default(); 2 * self.open.len()];
        let mut arcs = Vec::with_capacity(self.open.len());
        for number in &self.open {
            let arc = &self.arcs[*number as usize];
            let at_tail = next[arc.tail as usize];
            next[arc.tail as usize] += 1;
            let at_head = next[arc.head as usize];
            next[arc.head as usize] += 1;
            let (room, back) = (arc.upper - arc.flow, arc.flow - arc.lower);
            halves[at_tail as usize] = Half { to: arc.head, mate: at_head, room, back, cost: 0 };
            halves[at_head as usize] = Half { to: arc.tail, mate: at_tail, room: back, back: room, cost: 0 };
            arcs.push((*number, at_tail));
        }
        let mut open = Open { first, halves, arcs };
        for (arc, weight) in weights {
            if let Ok(at) = open.arcs.binary_search_by_key(arc, |(number, _)| *number) {
                let half = open.arcs[at].1;
                open.price(half, -weight);
            }
        }
        open
    }

    /// Closes the arcs with nonzero reduced cost, and the arcs between strongly connected components of the
    /// rest (Tarjan's algorithm, without recursion).
    fn close(&mut self, graph: &Open, potential: &[i64]) {
        let free = |half: &Half, from: usize| half.cost + potential[from] == potential[half.to as usize];
        let mut seen = vec![FAR; self.nodes];
        let mut low = vec![FAR; self.nodes];
        let mut part = vec![FAR; self.nodes];
        let mut at: Vec<u32> = graph.first.clone();
        let (mut count, mut parts) = (0_u32, 0_u32);
        let (mut path, mut stack) = (Vec::<u32>::new(), Vec::<u32>::new());
        for start in 0..self.nodes as u32 {
            if seen[start as usize] != FAR {
                continue;
            }
            path.push(start);
            stack.push(start);
            seen[start as usize] = count;
            low[start as usize] = count;
            count += 1;
            while let Some(node) = path.last().copied() {
                let node_at = node as usize;
                if at[node_at] < graph.first[node_at + 1] {
                    let half = graph.halves[at[node_at] as usize];
                    at[node_at] += 1;
                    if half.room == 0 || !free(&half, node_at) {
                        continue;
                    }
                    let to = half.to as usize;
                    if seen[to] == FAR {
                        seen[to] = count;
                        low[to] = count;
                        count += 1;
                        path.push(half.to);
                        stack.push(half.to);
                    } else if part[to] == FAR {
                        low[node_at] = low[node_at].min(seen[to]);
                    }
                    continue;
                }
                path.pop();
                if let Some(parent) = path.last() {
                    low[*parent as usize] = low[*parent as usize].min(low[node_at]);
                }
                if low[node_at] == seen[node_at] {
                    while let Some(member) = stack.pop() {
                        part[member as usize] = parts;
                        if member == node {
                            break;
                        }
                    }
                    parts += 1;
                }
            }
        }
        self.open = graph
            .arcs
            .iter()
            .filter(|(number, half)| {
                let arc = &self.arcs[*number as usize];
                let (tail, head) = (arc.tail as usize, arc.head as usize);
                part[tail] == part[head] && free(&graph.halves[*half as usize], tail)
            })
            .map(|(number, _)| *number)
            .collect();
        self.part = part;
    }
}

impl Open {
    fn price(&mut self, half: u32, cost: i64) {
        self.halves[half as usize].cost = cost;
        let mate = self.halves[half as usize].mate;
        self.halves[mate as usize].cost = -cost;
    }

    fn send(&mut self, half: u32, units: i32) {
        let here = &mut self.halves[half as usize];
        here.room -= units;
        here.back += units;
        let mate = here.mate;
        let there = &mut self.halves[mate as usize];
        there.room += units;
        there.back -= units;
    }

    fn of(&self, node: u32) -> std::ops::Range<usize> {
        self.first[node as usize] as usize..self.first[node as usize + 1] as usize
    }
}

/// Excess at nodes, and the search for paths that remove it.
struct Search {
    potential: Vec<i64>,
    /// Excess (positive) or deficit (negative) at each node, in units.
    excess: Vec<i32>,
    /// Number of arcs with reduced cost zero from a node to the nearest node with a deficit; `FAR` without a
    /// path.
    hops: Vec<u32>,
    /// Next half of each node to try.
    at: Vec<u32>,
    queue: Vec<u32>,
    heap: BinaryHeap<Reverse<(i64, u32)>>,
    distance: Vec<i64>,
}

impl Search {
    fn new(nodes: usize) -> Self {
        Self {
            potential: vec![0; nodes],
            excess: vec![0; nodes],
            hops: vec![FAR; nodes],
            at: vec![0; nodes],
            queue: Vec::new(),
            heap: BinaryHeap::new(),
            distance: vec![i64::MAX; nodes],
        }
    }

    /// Routes all excess to nodes with a deficit, along cheapest paths.
    fn route(&mut self, graph: &mut Open, watch: &mut dyn Watch) -> Result<(), Stopped> {
        let mut over: Vec<u32> =
            (0..self.excess.len() as u32).filter(|n| self.excess[*n as usize] > 0).collect();
        let mut under: Vec<u32> =
            (0..self.excess.len() as u32).filter(|n| self.excess[*n as usize] < 0).collect();
        while !over.is_empty() {
            if !watch.go_on() {
                return Err(Stopped);
            }
            if self.layers(graph, &under) {
                for node in &over {
                    self.block(graph, *node);
                }
                over.retain(|n| self.excess[*n as usize] > 0);
                under.retain(|n| self.excess[*n as usize] < 0);
            } else {
                self.raise(graph);
            }
        }
        Ok(())
    }

    /// Numbers the nodes by hops to a deficit. Returns whether a node with excess has a path.
    fn layers(&mut self, graph: &Open, under: &[u32]) -> bool {
        self.hops.fill(FAR);
        self.queue.clear();
        for node in under {
            self.hops[*node as usize] = 0;
            self.at[*node as usize] = graph.first[*node as usize];
            self.queue.push(*node);
        }
        let mut found = false;
        let mut next = 0;
        while next < self.queue.len() {
            let node = self.queue[next];
            next += 1;
            let hops = self.hops[node as usize] + 1;
            let here = self.potential[node as usize];
            for half in &graph.halves[graph.of(node)] {
                let from = half.to as usize;
                if half.back > 0 && self.hops[from] == FAR && self.potential[from] == here + half.cost {
                    self.hops[from] = hops;
                    self.at[from] = graph.first[from];
                    found |= self.excess[from] > 0;
                    self.queue.push(half.to);
                }
            }
        }
        found
    }

    /// Sends as much from a node as its layers allow (blocking flow).
    fn block(&mut self, graph: &mut Open, start: u32) {
        if self.hops[start as usize] == FAR {
            return;
        }
        let mut path: Vec<u32> = Vec::new();
        let mut node = start;
        while self.excess[start as usize] > 0 {
            if self.hops[node as usize] == 0 {
                if self.excess[node as usize] < 0 {
                    let mut units = self.excess[start as usize].min(-self.excess[node as usize]);
                    for half in &path {
                        units = units.min(graph.halves[*half as usize].room);
                    }
                    for half in &path {
                        graph.send(*half, units);
                    }
                    self.excess[start as usize] -= units;
                    self.excess[node as usize] += units;
                    // Continues from the tail of the first arc that is now full.
                    let keep = path
                        .iter()
                        .position(|half| graph.halves[*half as usize].room == 0)
                        .unwrap_or(path.len());
                    path.truncate(keep);
                    node = path.last().map_or(start, |half| graph.halves[*half as usize].to);
                    continue;
                }
            } else if let Some(half) = self.step(graph, node) {
                path.push(half);
                node = graph.halves[half as usize].to;
                continue;
            }
            self.hops[node as usize] = FAR;
            if path.pop().is_none() {
                return;
            }
            node = path.last().map_or(start, |half| graph.halves[*half as usize].to);
        }
    }

    fn step(&mut self, graph: &Open, node: u32) -> Option<u32> {
        let below = self.hops[node as usize] - 1;
        let here = self.potential[node as usize];
        let end = graph.first[node as usize + 1];
        let mut at = self.at[node as usize];
        while at < end {
            let half = &graph.halves[at as usize];
            let to = half.to as usize;
            if half.room > 0 && self.hops[to] == below && here + half.cost == self.potential[to] {
                self.at[node as usize] = at;
                return Some(at);
            }
            at += 1;
        }
        self.at[node as usize] = at;
        None
    }

    /// Raises potentials until one more node with excess has a path of reduced cost zero. Runs Dijkstra from
    /// all nodes that already have one.
    fn raise(&mut self, graph: &Open) {
        self.heap.clear();
        let mut settled = std::mem::take(&mut self.queue);
        for node in &settled {
            self.distance[*node as usize] = 0;
        }
        let mut next = 0;
        let mut reached = 0;
        loop {
            while next < settled.len() {
                let node = settled[next];
                next += 1;
                let here = self.potential[node as usize];
                let distance = self.distance[node as usize];
                for half in &graph.halves[graph.of(node)] {
                    let from = half.to as usize;
                    if half.back > 0 && self.distance[from] > distance {
                        let further = distance + self.potential[from] - here - half.cost;
                        if further < self.distance[from] {
                            self.distance[from] = further;
                            self.heap.push(Reverse((further, half.to)));
                        }
                    }
                }
            }
            let Some(Reverse((distance, node))) = self.heap.pop() else { break };
            if self.distance[node as usize] < distance || self.hops[node as usize] != FAR {
                continue;
            }
            if self.excess[node as usize] > 0 {
                reached = distance;
                self.distance[node as usize] = i64::MAX;
                break;
            }
            self.hops[node as usize] = 0;
            settled.push(node);
        }
        for node in &settled {
            self.potential[*node as usize] += reached - self.distance[*node as usize];
            self.distance[*node as usize] = i64::MAX;
        }
        for Reverse((_, node)) in self.heap.drain() {
            self.distance[node as usize] = i64::MAX;
        }
        self.queue = settled;
    }
}
