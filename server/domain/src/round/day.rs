//! The log of a round: what organisers noted, and when.

use super::Brought;
use crate::{
    ids::{AccountId, RoundId, RoundLotId},
    time::Timestamp,
};

crate::offer::words! {
    /// What an event of a round notes.
    EventKind {
        /// The round was sealed; the words are the hash of what was sealed.
        Sealed = "sealed",
        /// A sealed round was opened again.
        Reopened = "reopened",
        /// The round was settled; the units change hands, and the words are the hash of the input.
        Settled = "settled",
        /// The day began.
        Began = "began",
        /// A lot arrived.
        Arrived = "arrived",
        /// A lot that had been checked in is not there after all.
        NotArrived = "not_arrived",
        /// Fewer packs of a lot came than were promised.
        Counted = "counted",
        /// A member did not come.
        Absent = "absent",
        /// A member came after all.
        Came = "came",
        /// Packs changed hands; the member took them.
        HandedOver = "handed_over",
        /// A hand-over was ticked by mistake and is taken back.
        TakenBack = "taken_back",
        /// The giver or the member said no to what was promised.
        Refused = "refused",
        /// A member took packs that were left over.
        LeftOver = "left_over",
        /// A member joined on the day.
        Joined = "joined",
        /// A lot was brought on the day.
        Brought = "brought",
        /// The round was closed.
        Closed = "closed",
        /// The round was taken along, to be run away from the server; the words are the file's id.
        TakenAlong = "taken_along",
        /// Steps of such a day were brought home; the words are the file's id.
        BroughtHome = "brought_home",
    }
}

/// One event of a round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// Id of the round.
    pub round: RoundId,
    /// Number of the event in its round, from 1; 0 before it is stored.
    pub number: u32,
    /// What happened.
    pub kind: EventKind,
    /// The lot, if one is concerned.
    pub lot: Option<RoundLotId>,
    /// The member, if one is concerned.
    pub member: Option<AccountId>,
    /// Packs, or 0.
    pub units: u32,
    /// More about it, or empty.
    pub words: String,
    /// Organiser who noted it, or the member.
    pub by: AccountId,
    /// Time of the note.
    pub at: Timestamp,
}

impl Brought {
    /// Returns the packs of a lot that can change hands: those that came, or all that were promised.
    pub fn there(&self) -> u32 {
        self.came.map_or(self.units, |came| came.min(self.units))
    }
}
