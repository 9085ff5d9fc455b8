//! What helps after a call was refused, by the server's reason.

use crate::{Act, Deed};

/// Why a call was refused, as far as it decides what helps.
#[derive(Clone, Copy, Debug, Default)]
pub struct Refusal<'a> {
    /// The server's reason, such as `NOT_IN_ROUND`.
    pub reason: &'a str,
    /// The kind of thing that was not found; empty where nothing was looked for.
    pub missing: &'a str,
    /// What brings a round to the stage that the call needs, as the server names it; may be empty.
    pub first: &'a str,
}

/// Returns what the reader can do next, and how the sentence about it begins; none where nothing is known to help.
pub fn next(refusal: Refusal<'_>) -> Option<(&'static str, Act)> {
    let (say, deed) = match (refusal.reason, refusal.missing, refusal.first) {
        ("NO_MAIL", ..) => ("See your inbox", Deed::InboxList),
        ("NOT_IN_ROUND", ..) => ("Take part", Deed::RoundJoin),
        ("SEALED_STALE", ..) | ("ROUND_PHASE", _, "reopen") => ("Open it again", Deed::RoundReopen),
        ("ROUND_PHASE", _, "seal") => ("Seal it", Deed::RoundSeal),
        ("ROUND_PHASE", _, "settle") | (_, "settling of this round", _) => ("Settle it", Deed::RoundSettle),
        ("ROUND_PHASE", _, "begin") => ("Begin the day", Deed::RoundBegin),
        ("TOO_MANY_RUNS", ..) => ("Take what is left over", Deed::RoundTake),
        ("OFFER_IN_ROUND", ..) => ("Withdraw it from the round", Deed::RoundTakeBack),
        ("CLUB_ONLY" | "NOT_INVITED", ..) => ("Ask to join", Deed::ClubJoin),
        (_, "offer of yours", _) => ("See your offers", Deed::OfferList),
        (_, "lot", _) => ("See your lots", Deed::LotList),
        _ => return None,
    };
    Some((say, deed.bare()))
}
