//! What helps after a refused call, by the server's reason.

use crate::{Act, Deed};

/// The parts of a refusal that decide what helps.
#[derive(Clone, Copy, Debug, Default)]
pub struct Refusal<'a> {
    /// The server's reason, such as `NOT_IN_ROUND`.
    pub reason: &'a str,
    /// The kind of thing that was not found; empty for any other refusal.
    pub missing: &'a str,
    /// The step that brings a round to the stage the call needs, as the server names it; can be empty.
    pub first: &'a str,
}

/// Returns the beginning of the sentence and the action that helps, or `None` if nothing is known to help.
pub fn next(refusal: Refusal<'_>) -> Option<(&'static str, Act)> {
    let (say, deed) = match (refusal.reason, refusal.missing, refusal.first) {
        ("NO_MAIL", ..) => ("See your inbox", Deed::InboxList),
        ("NOT_IN_ROUND", ..) => ("Take part", Deed::RoundJoin),
        ("SEALED_STALE", ..) | ("ROUND_PHASE", _, "reopen") => ("Open it again", Deed::RoundReopen),
        ("ROUND_PHASE", _, "seal") => ("Seal it", Deed::RoundSeal),
        ("ROUND_PHASE", _, "settle") | (_, "settling of this round", _) => ("Settle it", Deed::RoundSettle),
        ("ROUND_PHASE", _, "begin") => ("Begin the day", Deed::RoundBegin),
        ("DAY_TOO_EARLY", ..) => ("Begin it all the same", Deed::RoundBeginEarly),
        ("HAND_OVERS_PENDING", ..) => ("Close it all the same", Deed::RoundClosePending),
        ("FEWER_CAME", ..) => ("Settle it again", Deed::RoundSettle),
        ("TOO_MANY_RUNS", ..) => ("Take what is left over", Deed::RoundTake),
        ("OFFER_IN_ROUND", ..) => ("Withdraw it from the round", Deed::RoundTakeBack),
        ("CLUB_ONLY" | "NOT_INVITED", ..) => ("Ask to join", Deed::ClubJoin),
        (_, "offer of yours", _) => ("See your offers", Deed::OfferList),
        (_, "lot", _) => ("See your lots", Deed::LotList),
        _ => return None,
    };
    Some((say, deed.bare()))
}
