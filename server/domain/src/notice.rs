//! Notices: messages to a member that no one asked for.

use crate::{ids::AccountId, time::Timestamp};

crate::offer::words! {
    /// What a notice is about.
    Kind {
        /// Something on offer fits a want.
        WantMet = "want_met",
        /// Someone asks for part of an offer.
        ClaimAsked = "claim_asked",
        /// A claim is promised.
        ClaimAccepted = "claim_accepted",
        /// A claim came to nothing: declined, taken back, lapsed.
        ClaimEnded = "claim_ended",
        /// The other side says that it changed hands.
        ClaimHandedOver = "claim_handed_over",
        /// Rules on moving it have become stricter.
        ClaimStricter = "claim_stricter",
        /// An alert reaches what someone holds.
        Alert = "alert",
        /// Something of a club: an invitation, a request, an answer.
        Club = "club",
        /// A club invites the member.
        ClubInvited = "club_invited",
        /// A member asks to join a club that the reader organises.
        ClubAsked = "club_asked",
        /// Something of a swap round.
        Round = "round",
        /// A swap round was settled, with something for the member.
        RoundSettled = "round_settled",
    }
}

/// A notice to be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewNotice {
    /// To whom.
    pub to: AccountId,
    /// About what.
    pub kind: Kind,
    /// The id of what it is about.
    pub subject: String,
    /// Beside kind and subject, what makes it another one: the same notice is sent once.
    pub once: String,
    /// In words.
    pub words: String,
}

/// A notice in someone's inbox.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Its number: later ones are higher.
    pub seq: i64,
    /// About what.
    pub kind: Kind,
    /// The id of what it is about.
    pub subject: String,
    /// In words.
    pub words: String,
    /// When.
    pub at: Timestamp,
    /// When it was read.
    pub read_at: Option<Timestamp>,
}
