//! What a reader can do next. A view names the action; each client says how to do it there.

macro_rules! acts {
    ($($(#[$doc:meta])* $name:ident [$($about:literal),*],)*) => {
        /// What an action does. The brackets list the values it needs, in this order.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Deed {
            $($(#[$doc])* $name,)*
        }
        impl Deed {
            /// All actions.
            pub const ALL: &[Self] = &[$(Self::$name),*];
            /// Returns the names of the values that the action needs.
            pub fn about(self) -> &'static [&'static str] {
                match self {
                    $(Self::$name => &[$($about),*],)*
                }
            }
        }
    };
}

acts! {
    /// Make an invitation to the server.
    AccountInvite [],
    /// Sign in.
    AccountSignIn ["handle"],
    /// Sign up with an invitation's code.
    AccountSignUp ["handle", "code"],
    /// See what the client is connected to.
    ServerStatus [],
    /// See the help.
    Help [],
    /// Say where the server is.
    Connect ["address"],
    /// Look up a cultivar's seed.
    LookUp ["name"],
    /// See the rules on file for a cultivar, as it was heard.
    MovementCheckName ["name"],
    /// See the reader's rounds.
    RoundList [],
    /// Say where the reader grows.
    MeHome [],
    /// See what may help a cultivar to set fruit.
    Partners ["cultivar"],
    /// Let the reader's plants be counted.
    MeCountPlants [],
    /// See everything about a cultivar's seed.
    LookUpMore ["name"],
    /// See each way to a tree in full.
    RoutesMore ["cultivar"],
    /// See every step of a draft of a plan in full.
    PlanDraftAll ["cultivar", "way"],
    /// See which ways lead to a tree.
    RoutesCompare ["cultivar"],
    /// See the cultivars whose seed mostly comes true.
    CultivarListMostlyTrue [],
    /// See a crop's profile.
    CropShow ["crop"],
    /// Show all of a crop.
    CropShowMore ["crop"],
    /// Post an offer.
    OfferPost [],
    /// Post an offer that only the members of a club see.
    OfferPostInClub ["club"],
    /// Post an offer for a member whom the reader helps.
    OfferPostFor ["account"],
    /// Post an offer taken from a lot.
    OfferPostFromLot ["lot"],
    /// See the reader's own offers.
    OfferList [],
    /// Search the open offers.
    OfferSearch ["name"],
    /// See an offer.
    OfferShow ["offer"],
    /// Change an offer.
    OfferChange ["offer"],
    /// Withdraw an offer.
    OfferWithdraw ["offer"],
    /// Ask for part of an offer.
    ClaimAsk ["offer"],
    /// See closed claims too.
    ClaimListAll [],
    /// See a claim and how to reach the other side.
    ClaimShow ["claim"],
    /// Promise what the taker asked for.
    ClaimAccept ["claim"],
    /// Decline what the taker asked for.
    ClaimDecline ["claim"],
    /// Withdraw the reader's claim.
    ClaimWithdraw ["claim"],
    /// Confirm a hand-over.
    ClaimHandedOver ["claim"],
    /// Enter evidence.
    EvidenceAdd ["cultivar"],
    /// Enter when a cultivar is ripe.
    EvidenceAddSeason ["cultivar"],
    /// Enter what came up from a sowing.
    EvidenceAddFromSowing ["cultivar", "sowing"],
    /// See how the reader's evidence counts.
    EvidenceRecord [],
    /// Correct evidence.
    EvidenceCorrect ["evidence"],
    /// Withdraw evidence.
    EvidenceWithdraw ["evidence"],
    /// Enter a sowing.
    SowingAdd ["cultivar"],
    /// Keep a plan.
    PlanKeep ["cultivar", "way"],
    /// See a plan.
    PlanShow ["plan"],
    /// See every step of a plan.
    PlanShowAll ["plan"],
    /// Tick a step off.
    PlanDone ["plan", "step"],
    /// Write a plan as a calendar file.
    PlanCalendar ["plan"],
    /// Start a plan again at a step.
    PlanAgain ["plan", "step"],
    /// Enter grafts.
    GraftLog ["cultivar"],
    /// Report how many grafts took.
    GraftReport ["graft"],
    /// Say what the reader looks for.
    WantAdd [],
    /// Look for a cultivar.
    WantAddCultivar ["cultivar"],
    /// See the reader's notices.
    InboxList [],
    /// See read notices too.
    InboxListAll [],
    /// Mark notices as read.
    InboxRead [],
    /// Get notices by mail.
    InboxMail ["address"],
    /// Confirm a mail address.
    InboxConfirmMail ["code"],
    /// Close a complaint.
    ReportClose ["ticket"],
    /// See a proposal.
    ProposalShow ["proposal"],
    /// Accept a proposal.
    ProposalAccept ["proposal"],
    /// Refuse a proposal.
    ProposalRefuse ["proposal"],
    /// Put movement rules in force.
    MovementPublish ["release"],
    /// See the rules on file for a movement.
    MovementCheck ["cultivar"],
    /// Create a club.
    ClubCreate ["name"],
    /// Find a club.
    ClubFind [],
    /// See a club.
    ClubShow ["club"],
    /// See the open requests to join a club.
    ClubMembersWaiting ["club"],
    /// Invite a member to a club.
    ClubInvite ["club", "handle"],
    /// Accept an invitation to a club.
    ClubAccept ["club"],
    /// Decline an invitation to a club.
    ClubDecline ["club"],
    /// Ask to join a club.
    ClubJoin ["club"],
    /// See closed rounds too.
    RoundListAll [],
    /// See a round.
    RoundShow ["round"],
    /// Take part in a round.
    RoundJoin ["round"],
    /// See the lots of a round.
    RoundLots ["round"],
    /// See what is left over.
    RoundLotsLeft ["round"],
    /// Bring packs of an offer.
    RoundBring ["round", "offer"],
    /// Withdraw a lot from a round.
    RoundTakeBack ["round", "lot"],
    /// Take packs that are left over.
    RoundTake ["round", "lot"],
    /// List the reader's wishes.
    RoundWish ["round"],
    /// See the reader's part in a round.
    RoundMine ["round"],
    /// Preview the result of settling.
    RoundDryRun ["round"],
    /// Seal a round.
    RoundSeal ["round"],
    /// Open a sealed round again.
    RoundReopen ["round"],
    /// Settle a round.
    RoundSettle ["round"],
    /// See who takes what.
    RoundShares ["round"],
    /// Print the sheets for the day.
    RoundSheets ["round"],
    /// Save the file with which anyone can check the settlement.
    RoundAudit ["round"],
    /// Begin the day.
    RoundBegin ["round"],
    /// Begin the day of a round before its date.
    RoundBeginEarly ["round"],
    /// Close a round while promises are not handed over.
    RoundClosePending ["round"],
    /// Check in lots that have arrived.
    RoundCheckIn ["round", "lot"],
    /// Mark who is absent.
    RoundAbsent ["round", "member"],
    /// Tick off a hand-over.
    RoundHandOver ["round"],
    /// Close a round.
    RoundClose ["round"],
    /// Enter a lot.
    LotAdd ["kind"],
    /// See the reader's lots.
    LotList [],
    /// See what a lot descends from.
    LotTrace ["lot"],
    /// Raise an alert about a lot.
    AlertRaise ["lot"],
    /// See an alert.
    AlertShow ["alert"],
    /// See what an alert reaches.
    AlertRecall ["alert"],
    /// Confirm an alert.
    AlertConfirm ["alert"],
    /// Dismiss an alert.
    AlertDismiss ["alert"],
    /// Withdraw an alert.
    AlertWithdraw ["alert"],
}

/// An action on something: what it does, and the known values that it needs. The reader fills in the others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Act {
    /// What it does.
    pub deed: Deed,
    /// The known values, in the order of [`Deed::about`]: a prefix of that list.
    pub on: Vec<String>,
}

impl Deed {
    /// Returns the action without any value.
    pub fn bare(self) -> Act {
        Act { deed: self, on: Vec::new() }
    }
    /// Returns the action with one value.
    pub fn on(self, thing: &str) -> Act {
        Act { deed: self, on: vec![thing.to_string()] }
    }
    /// Returns the action with two values: a thing and its part.
    pub fn on_part(self, thing: &str, part: &str) -> Act {
        Act { deed: self, on: vec![thing.to_string(), part.to_string()] }
    }
}
