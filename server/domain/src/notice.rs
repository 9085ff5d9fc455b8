//! Notices: messages that the server sends to a member's inbox.

use crate::{ids::AccountId, time::Timestamp};

crate::offer::words! {
    /// Event that a notice reports.
    Kind {
        /// An offer fits a want of the reader.
        WantMet = "want_met",
        /// A taker asks for part of the reader's offer.
        ClaimAsked = "claim_asked",
        /// The giver accepts the reader's claim.
        ClaimAccepted = "claim_accepted",
        /// A claim ends without a hand-over: declined, withdrawn or lapsed.
        ClaimEnded = "claim_ended",
        /// The other side confirms the hand-over.
        ClaimHandedOver = "claim_handed_over",
        /// Movement rules for a claim have become stricter.
        ClaimStricter = "claim_stricter",
        /// An alert reaches a lot that the reader holds.
        Alert = "alert",
        /// A change in a club, such as an answer to a request.
        Club = "club",
        /// A club invites the reader.
        ClubInvited = "club_invited",
        /// A member asks to join a club that the reader organises.
        ClubAsked = "club_asked",
        /// A change in a swap round.
        Round = "round",
        /// A swap round was settled, and the reader gives or receives something.
        RoundSettled = "round_settled",
    }
}

/// A notice to write.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewNotice {
    /// The recipient.
    pub to: AccountId,
    /// The event.
    pub kind: Kind,
    /// Id of the offer, claim, lot, club or round concerned.
    pub subject: String,
    /// Deduplication key next to kind and subject: the same notice is sent once.
    pub once: String,
    /// Text for the reader.
    pub words: String,
}

/// A notice in a member's inbox.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Sequence number; later notices have higher numbers.
    pub seq: i64,
    /// The event.
    pub kind: Kind,
    /// Id of the offer, claim, lot, club or round concerned.
    pub subject: String,
    /// Text for the reader.
    pub words: String,
    /// When the notice was written.
    pub at: Timestamp,
    /// When the recipient read it; `None` while unread.
    pub read_at: Option<Timestamp>,
}
