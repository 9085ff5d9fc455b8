//! Swap rounds: who gets what, so that nobody stands without while others take twice, within everybody's limits.
//!
//! Members bring lots and list wishes. One whole-numbered circulation is looked for that is best by a fixed list of
//! objectives, each exactly, without loss to any before it:
//!
//! 1. *fair volume*: the units of whoever stands lowest first (leximin), where members who gave more than they took in
//!    earlier rounds start up to three units lower, and those who took more start higher;
//! 2. *who*, where several have the same right: members' draws from a seed that nobody could choose;
//! 3. *ranks*: as many first wishes as can be, then second ones, and so on;
//! 4. *which*, where nothing else decides: the draws of lots and wishes. It makes the result the only one.
//!
//! What holds: (a) supply, bars, limits and balance are never broken, and nobody gets what they did not list; (b) the
//! volume is leximin; (c) nothing that is possible gives everybody at least as much of at least as good ranks, and one
//! member better; (d) the same input and seed give one result, whatever solves it; (e) where every wish names one lot
//! and no limits of groups are set, nobody gets more units by hiding wishes, asking less, or withholding lots that they
//! swap. What does not hold is as plain: a shorter list can bring better ranks; wishes that name several lots can be
//! played a little; giving less can pay; two accounts of one person get two start lines; two members may prefer to trade
//! with each other.
//!
//! Sources: Andersson, Cseh, Ehlers, Erlanson 2021 (balance and lists of acceptable things); Frank, Murota 2019 (fair
//! integral flows are found in polynomial time); Babaioff, Ezra, Feige 2020 (leximin with priorities); Irving, Kavitha,
//! Mehlhorn, Michail, Paluch 2006 (rank-maximal); Mulmuley, Vazirani, Vazirani 1987 (random weights single out one).
#![expect(
    clippy::cast_possible_truncation,
    reason = "members, lots, wishes and arcs of a round are counted in 32 bits: limits keep them below a million"
)]

mod draw;
mod flow;
mod input;
mod network;
mod reason;
mod solve;

#[cfg(test)]
mod tests;

pub use self::{
    draw::{Draw, commitment, seed},
    flow::{Stopped, Unwatched, Watch},
    input::{BadInput, Bar, Barred, HEAD_START, Input, Lot, Member, RANKS, Share, Want, sha256},
    network::Potentials,
    reason::{Explainer, Reason},
    solve::{Aim, Failed, Outcome, Progress, Step, settle},
};
