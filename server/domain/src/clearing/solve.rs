//! Optimises the objectives of a round in order, and collects the outcome.

use serde::{Deserialize, Serialize};

use super::{
    draw::{DRAW_BITS, Draw},
    flow::{Arc, Circulation, Stopped, Watch},
    input::{BadInput, Input, RANKS, Share},
    network::{Network, Potentials, Role},
};

/// One objective to maximise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "aim", content = "of")]
pub enum Aim {
    /// Units that stay as in the earlier outcome.
    Kept,
    /// Units at this level; levels are filled from the lowest up.
    Level(i32),
    /// Which member gets the next unit where several have the same right, by the members' draws.
    Who,
    /// Units for wishes of this rank.
    Rank(u32),
    /// Which lot goes to which wish where nothing else decides, by the draws of pairs.
    Which,
    /// No objective: proves that no other outcome is possible.
    Settled,
}

/// An objective and the proof that its value is the largest possible.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// The objective itself.
    #[serde(flatten)]
    pub aim: Aim,
    /// Largest possible value of the objective.
    pub value: i64,
    /// Potentials that prove the value (see `flow`).
    pub potentials: Potentials,
}

/// Proof that a draw left a tie, so that another draw was needed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tie {
    /// Units of each lot for each wish, in one outcome of that draw.
    pub shares: Vec<Share>,
    /// The objectives in their order, with their proofs.
    pub steps: Vec<Step>,
    /// Units of each lot for each wish, in another outcome with the same value of every objective.
    pub other: Vec<Share>,
}

/// Outcome of a round.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outcome {
    /// Seed of the draws.
    pub seed: String,
    /// Number of redraws, each made because the draw before left a tie.
    pub redraw: u32,
    /// For each redraw the proof of the tie before it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub ties: Vec<Tie>,
    /// Units of each lot for each wish, sorted.
    pub shares: Vec<Share>,
    /// The objectives in their order, with their proofs.
    pub steps: Vec<Step>,
}

/// Why there is no outcome.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Failed {
    /// The input is wrong.
    #[error(transparent)]
    Input(#[from] BadInput),
    /// The watch stopped the work.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// Sixteen draws in a row left a tie, which has never happened.
    #[error("the draw leaves something open, again and again: open the round and seal it again")]
    Open,
}

/// Progress of the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Objectives completed.
    pub done: u32,
    /// Objectives in total.
    pub of: u32,
}

const REDRAWS: u32 = 16;

/// Returns the objectives of an input in order, without the final [`Aim::Settled`].
pub(super) fn aims(input: &Input, network: &Network) -> Vec<Aim> {
    let mut aims = Vec::new();
    if !input.kept.is_empty() {
        aims.push(Aim::Kept);
    }
    let levels = network.levels();
    let first = |level: &i32| input.fair_levels.is_none_or(|most| *level <= most);
    aims.extend(levels.iter().filter(|l| first(l)).map(|l| Aim::Level(*l)));
    let ranks =
        (1..=RANKS).filter(|rank| input.wants.iter().any(|w| w.rank.min(RANKS) == *rank)).map(Aim::Rank);
    if input.fair_levels.is_some() {
        aims.extend(ranks);
        aims.extend(levels.iter().filter(|l| !first(l)).map(|l| Aim::Level(*l)));
        aims.push(Aim::Who);
    } else {
        aims.push(Aim::Who);
        aims.extend(ranks);
    }
    aims.push(Aim::Which);
    aims
}

impl Aim {
    /// Returns the arcs that count for the objective, each with its weight.
    pub(super) fn weights(self, network: &Network, input: &Input, draw: &Draw) -> Vec<(u32, i64)> {
        match self {
            Self::Kept => network.kept(),
            Self::Level(level) => network.at_level(level),
            Self::Who => network.who(input, draw),
            Self::Rank(rank) => network.at_rank(input, rank),
            Self::Which => network.which(input, draw),
            Self::Settled => Vec::new(),
        }
    }
}

/// Settles a round exactly; the result is the same on every machine. It calls `tell` before each objective,
/// and asks `watch` often whether to continue.
///
/// # Errors
/// Returns [`Failed`] when the input is wrong, the watch stops the work, or every draw leaves a tie.
pub fn settle(
    input: &Input,
    seed: &str,
    watch: &mut dyn Watch,
    tell: &mut dyn FnMut(Progress),
) -> Result<Outcome, Failed> {
    settle_drawing(input, seed, DRAW_BITS, watch, tell)
}

/// Settles a round with draws of fewer bits than [`settle`], which tie often: for tests of redraws and their proofs.
///
/// # Errors
/// Returns [`Failed`] as [`settle`] does.
pub fn settle_drawing(
    input: &Input,
    seed: &str,
    bits: u32,
    watch: &mut dyn Watch,
    tell: &mut dyn FnMut(Progress),
) -> Result<Outcome, Failed> {
    input.check()?;
    let mut ties = Vec::new();
    for redraw in 0..REDRAWS {
        let draw = Draw::of_bits(seed, redraw, bits);
        let network = Network::new(input)?;
        let aims = aims(input, &network);
        let mut circulation = Circulation::new(network.nodes, network.arcs.clone());
        let mut steps = Vec::with_capacity(aims.len() + 1);
        let of = aims.len() as u32;
        for (done, aim) in aims.into_iter().enumerate() {
            tell(Progress { done: done as u32, of });
            let weights = aim.weights(&network, input, &draw);
            let potential = circulation.improve(&weights, watch)?;
            let value = value(circulation.arcs(), &weights);
            let extra = |want: usize| match aim {
                Aim::Rank(rank) => {
                    i64::from(input.wants.get(want).is_some_and(|w| w.rank.min(RANKS) == rank))
                }
                Aim::Kept | Aim::Level(_) | Aim::Who | Aim::Which | Aim::Settled => 0,
            };
            steps.push(Step { aim, value, potentials: network.named(&potential, extra) });
        }
        if !circulation.is_settled() {
            let one = shares(input, &network, circulation.arcs());
            if !circulation.turn() {
                return Err(Failed::Open);
            }
            ties.push(Tie { shares: one, steps, other: shares(input, &network, circulation.arcs()) });
            continue;
        }
        let potentials = network.named(&circulation.settled(), |_| 0);
        steps.push(Step { aim: Aim::Settled, value: 0, potentials });
        tell(Progress { done: of, of });
        let shares = shares(input, &network, circulation.arcs());
        return Ok(Outcome { seed: seed.to_string(), redraw, ties, shares, steps });
    }
    Err(Failed::Open)
}

fn value(arcs: &[Arc], weights: &[(u32, i64)]) -> i64 {
    weights.iter().filter_map(|(arc, w)| Some(w * i64::from(arcs.get(*arc as usize)?.flow))).sum()
}

fn shares(input: &Input, network: &Network, arcs: &[Arc]) -> Vec<Share> {
    let mut shares: Vec<Share> = Vec::new();
    let mut before = None;
    for (role, arc) in network.roles.iter().zip(arcs).filter(|(_, arc)| arc.flow > 0) {
        let Role::Pair { lot, want, .. } = role else { continue };
        let units = arc.flow.unsigned_abs();
        // A pair's kept and new units are two adjacent arcs.
        if before == Some((lot, want)) {
            if let Some(last) = shares.last_mut() {
                last.units += units;
            }
            continue;
        }
        before = Some((lot, want));
        if let Some((lot, want)) = input.lots.get(*lot as usize).zip(input.wants.get(*want as usize)) {
            shares.push(Share { lot: lot.id.clone(), want: want.id.clone(), units });
        }
    }
    shares.sort();
    shares
}
