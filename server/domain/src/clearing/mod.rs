//! Swap rounds: decides who gets what, evenly and within every member's limits.
//!
//! Members bring lots and list wishes. The solver finds one integral circulation that is best by a fixed list
//! of objectives. It meets each objective exactly, without loss to an earlier one:
//!
//! 1. *fair volume*: units go first to the members at the lowest level (leximin). Members who gave more than
//!    they took in earlier rounds start up to three units lower; those who took more start higher.
//! 2. *who*: where several members have the same right, the draw decides, from a seed that no one could
//!    choose.
//! 3. *ranks*: as many first wishes as possible, then second ones, and so on.
//! 4. *which*: where nothing else decides, the draws of lots and wishes. They make the result unique.
//!
//! These guarantees hold: (a) Supply, bars, limits and balance are never broken, and no member gets what they
//! did not list. (b) The volume is leximin. (c) No feasible outcome gives every member at least as many units
//! of at least as good ranks, and one member better. (d) The same input and seed give one result, whatever
//! the solver. (e) Where every wish names one lot and no group limits are set, no member gets more units by
//! hiding wishes, asking for less, or withholding lots that they swap.
//!
//! These do not hold: a shorter list can bring better ranks; wishes that name several lots can be gamed a
//! little; giving less can pay; two accounts of one person get two starting levels; two members may prefer to
//! trade with each other.
//!
//! Sources: Andersson, Cseh, Ehlers, Erlanson 2021 (balance and lists of acceptable things); Frank, Murota
//! 2019 (fair integral flows in polynomial time); Babaioff, Ezra, Feige 2020 (leximin with priorities);
//! Irving, Kavitha, Mehlhorn, Michail, Paluch 2006 (rank-maximal); Mulmuley, Vazirani, Vazirani 1987 (random
//! weights single out one solution).
#![expect(
    clippy::cast_possible_truncation,
    reason = "members, lots, wishes and arcs of a round are counted in 32 bits: limits keep them below a million"
)]

mod draw;
mod explain;
mod flow;
mod input;
mod network;
mod reason;
mod solve;

#[cfg(test)]
mod forced;
#[cfg(test)]
mod tests;

pub use self::{
    draw::{DRAW_BITS, Draw, commitment, seed},
    explain::Explainer,
    flow::{Stopped, Unwatched, Watch},
    input::{BadInput, Bar, Barred, HEAD_START, Input, Lot, Member, RANKS, Share, Want, sha256},
    network::Potentials,
    reason::{Change, Limit, Reason},
    solve::{Aim, Failed, Outcome, Progress, Step, Tie, settle, settle_drawing},
};
