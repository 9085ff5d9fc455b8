//! How a use case fails. Facts only; the server's `status` module puts them on the wire.

use scionary_domain::{
    access::Denied,
    field::FieldError,
    ids::{Id, IdError},
    limits,
    page::{self, PageTokenError},
};
use scionary_store::StoreError;

use crate::ports::EntropyError;

/// What brings a round to the stage that a call needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RoundStep {
    /// Seal it.
    Seal,
    /// Open it again.
    Reopen,
    /// Settle it.
    Settle,
    /// Begin its day.
    Begin,
}

impl RoundStep {
    /// Returns the step as one word, for programs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Seal => "seal",
            Self::Reopen => "reopen",
            Self::Settle => "settle",
            Self::Begin => "begin",
        }
    }
    fn words(self) -> &'static str {
        match self {
            Self::Seal => "; seal it first",
            Self::Reopen => "; open it again first",
            Self::Settle => "; settle it first",
            Self::Begin => "; begin the day first",
        }
    }
}

/// A rule that stands in the way.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Rule {
    /// Someone has the handle.
    #[error("the handle {0} is taken; choose another")]
    HandleTaken(String),
    /// No one may sign up.
    #[error("this server takes no new accounts; ask its stewards")]
    SignUpClosed,
    /// A code is needed.
    #[error("this server takes new accounts by invitation: ask a member for a code")]
    CodeNeeded,
    /// The code is not known, used, taken back or over.
    #[error("this code cannot be used: it may be mistyped, used, taken back or over; ask for a new one")]
    CodeNotValid,
    /// The offer was taken back.
    #[error("this offer was withdrawn and cannot be changed; post a new one")]
    OfferWithdrawn,
    /// Too many cultivars entered.
    #[error("at most {0} cultivars a day can be entered as you call them; ask a curator to add the others")]
    TooManyEntered(u64),
    /// Too many open offers.
    #[error("{0} offers are open already; withdraw some first")]
    TooManyOffers(i64),
    /// Too many open invitations.
    #[error("{0} invitations are open already; take some back first")]
    TooManyInvitations(i64),
    /// The invitation was used or taken back.
    #[error("this invitation was used, taken back or is over; nothing to take back")]
    InvitationSpent,
    /// The account holds the role.
    #[error("{0} holds this role already")]
    RoleHeld(String),
    /// The account does not hold the role.
    #[error("{0} does not hold this role")]
    RoleNotHeld(String),
    /// The last steward.
    #[error("this is the last steward; make another one first")]
    LastSteward,
    /// The record takes nothing for now.
    #[error("{0} is locked for now: {1}; ask a curator of the crop")]
    RecordLocked(String, String),
    /// The record is locked.
    #[error("this record is locked already")]
    LockedAlready,
    /// The record is not locked.
    #[error("this record is not locked")]
    NotLocked,
    /// A row of a catalogue.
    #[error(
        "this is a row of a catalogue, which its keeper changes; enter evidence of your own, or report it"
    )]
    CatalogueEvidence,
    /// The piece has ended.
    #[error("this piece of evidence was {0}{1}")]
    EvidenceEnded(String, String),
    /// The caller has not checked it.
    #[error("you have not checked this piece of evidence; nothing to take back")]
    NoCheck,
    /// Too much evidence in a day.
    #[error("{0} pieces of evidence were entered within a day; go on tomorrow, or import a file")]
    TooMuchEvidence(i64),
    /// Too many checks in a day.
    #[error("{0} pieces were checked within a day; go on tomorrow")]
    TooManyChecks(i64),
    /// Too many open sowings.
    #[error("{0} sowings are open already; close some first")]
    TooManySowings(i64),
    /// The caller's own offer.
    #[error("this is your own offer; you cannot claim from yourself")]
    OwnOffer,
    /// The caller themselves.
    #[error("you cannot block yourself")]
    BlocksOneself,
    /// Too many blocked.
    #[error("{0} people are blocked already; unblock some first")]
    TooManyBlocked(usize),
    /// Too many numbers.
    #[error("{0} items have a number already; use ids from now on")]
    TooManyNumbers(i64),
    /// One of both sides blocks the other.
    #[error("you and the giver of this offer do not deal with each other here; look for another offer")]
    NotBetweenThem,
    /// The offer is over.
    #[error("this offer is over: it was taken back, or its last day is past; look for another one")]
    OfferOver,
    /// There is an open claim already.
    #[error("you have an open claim on this offer already; take it back first, to ask for another quantity")]
    ClaimedAlready,
    /// Too many open claims.
    #[error("{0} of your claims are open already; take some back, or confirm what changed hands")]
    TooManyClaims(i64),
    /// The claim is another side's to change.
    #[error("only the {} of this claim may do this", if *.0 { "giver" } else { "taker" })]
    OtherSide(bool),
    /// The claim does not wait.
    #[error("this claim is {0} already, so there is nothing to accept")]
    ClaimNotWaiting(String),
    /// The claim is not promised.
    #[error("this claim is {0}; only what was accepted changes hands")]
    ClaimNotAccepted(String),
    /// The claim is over.
    #[error("this claim is {0} already")]
    ClaimOver(String),
    /// A side said that it changed hands.
    #[error("a side says that it changed hands already; note what was missed instead")]
    HandedOverAlready,
    /// Not so much is left.
    #[error("not so much of it is left to promise; decline this claim, or offer more")]
    NothingLeft,
    /// More is promised than the new quantity.
    #[error("{0} of it are promised or given already; offer at least so many, or take promises back first")]
    PromisedMore(i32),
    /// A rule on file prohibits the movement.
    #[error("{0}. Ask the authority before anything else; a claim of it cannot be made here")]
    MovementProhibited(String),
    /// Rules on the movement are stricter than when it was asked for.
    #[error(
        "rules on this movement are stricter than when it was asked for: {0}; the taker has to ask again"
    )]
    MovementStricter(String),
    /// The release is published or taken back.
    #[error("this release was published or taken back already")]
    ReleaseOver,
    /// No one said that it is protected.
    #[error("no protection of {0} is on file")]
    NotProtected(String),
    /// The server sends no mail.
    #[error("this server sends no mail; watch your inbox instead")]
    NoMail,
    /// The mail server did not take it.
    #[error("the mail could not be sent just now; try again in a while")]
    MailNotSent,
    /// Something of the offer is promised.
    #[error(
        "some of it is promised or given already, so what it is, of which lot and for whom stays as it is; post another offer"
    )]
    PromisedAlready,
    /// Too many links of a lot.
    #[error("{0} lots that it came from or was touched by are noted of this one already")]
    TooManyLinks(usize),
    /// More lots above than are looked through.
    #[error(
        "this lot descends from more than is looked through for alerts ({generations} generations or {lots} lots); ask the person who gave it to you",
        generations = limits::LINEAGE_GENERATIONS_MAX,
        lots = limits::LINEAGE_ABOVE_MAX
    )]
    TooMuchAbove,
    /// Too many watches.
    #[error("{0} watches of your inbox are open already; close some")]
    TooManyWatches(usize),
    /// Too many wants.
    #[error("{0} of your wants are open already; take some back first")]
    TooManyWants(i64),
    /// The want is over.
    #[error("this want was taken back already")]
    WantOver,
    /// Too many clubs.
    #[error("you arrange {0} clubs already; close one first, or let someone else arrange it")]
    TooManyClubs(usize),
    /// The club is full.
    #[error("{0} people stand to this club already")]
    ClubFull(u64),
    /// Another club bears the name.
    #[error("another club is called {0}; choose another name")]
    ClubNameTaken(String),
    /// They are a member.
    #[error("{0} is a member already")]
    MemberAlready(String),
    /// No one invited them.
    #[error("you have no open invitation to this club; ask to join it instead")]
    NotInvited,
    /// They have not asked.
    #[error("they have not asked to join, or were answered already")]
    NotAsked,
    /// No member.
    #[error("that is no member of this club")]
    NotAMember,
    /// No requests are taken.
    #[error("{0} takes members by invitation only: ask one of its organisers")]
    ByInvitationOnly(String),
    /// The last organiser.
    #[error("a club needs an organiser: make another member one first, or close the club")]
    LastOrganiser,
    /// Not one of the club's members.
    #[error("this is for members of the club alone; ask to join it first")]
    ClubOnly,
    /// Too many lots.
    #[error("{0} lots of yours are on file already; end some first")]
    TooManyLots(i64),
    /// Too many tests of a lot.
    #[error("{0} tests of this lot are on file already")]
    TooManyTests(u64),
    /// Nothing is left of the lot.
    #[error("nothing is left of {0}; it stays on file for what descends from it")]
    LotEnded(String),
    /// A confirmed alert reaches it.
    #[error(
        "a confirmed alert reaches this lot: where it begins, it {0}. It is not offered until the alert is lifted"
    )]
    AlertReaches(String),
    /// Too many open alerts.
    #[error("{0} of your alerts are open already; take some back, or wait until they are looked into")]
    TooManyAlerts(i64),
    /// The alert is not at the stage that this needs.
    #[error("this is for an alert that is {0}; this one is {1}")]
    AlertNot(&'static str, String),
    /// The last day for lots and wishes is over.
    #[error("lots and wishes were taken until {0}; ask an organiser of the club")]
    RoundLate(scionary_domain::time::Date),
    /// The round is not where this needs it to be.
    #[error("this is for a round that is {wanted}; this one is {found}{}", first.map(RoundStep::words).unwrap_or_default())]
    RoundPhase {
        /// What brings it there; may be empty.
        first: Option<RoundStep>,
        /// Where it has to be.
        wanted: String,
        /// Where it is.
        found: String,
    },
    /// Someone else's lot.
    #[error("only the one who brings a lot takes it back")]
    NotYourLot,
    /// The caller takes no part.
    #[error("you take no part in this round yet; join it first")]
    NotInRound,
    /// Too many people.
    #[error("{0} people take part already; that is as many as one round holds")]
    RoundFull(u64),
    /// The offer is for another club alone.
    #[error("this offer is for another club alone; post one that members of this club see")]
    OfferOfAnotherClub,
    /// Too many lots.
    #[error("{0} lots of yours are in this round already, or it holds no more; take some back first")]
    TooManyRoundLots(u64),
    /// Too many open rounds.
    #[error("{0} rounds of this club are open already; close or call off one first")]
    TooManyRounds(u64),
    /// Nothing to settle.
    #[error("there is nothing to settle: no one brings anything yet, or no one wishes for anything")]
    RoundEmpty,
    /// Something changed.
    #[error("something of the round was changed meanwhile; look at it, and try again")]
    RoundChanged,
    /// Lines of wishes that a limit of one cultivar cannot count.
    #[error(
        "lines of wishes that name several cultivars: {0}. A limit for one cultivar cannot count them; leave the limit out, or have each cultivar put on a line of its own"
    )]
    MixedWishes(usize),
    /// Lists that new limits do not fit.
    #[error(
        "lists that ask for more than these limits allow: {0}. Leave the limits as they are, or ask members to change their lists first"
    )]
    ListsTooLong(usize),
    /// What was sealed can no longer be done.
    #[error(
        "since it was sealed something has come up that bars a part of it (an alert, a rule, members who block each other); open it again, then seal it again"
    )]
    SealedStale,
    /// A step of a day was taken before.
    #[error("this step was brought home before")]
    BroughtBefore,
    /// A label's code is in use.
    #[error("a lot here has the code {0} already; write this hand-over up again, and put a new label on it")]
    DayTagTaken(scionary_domain::lineage::LotCode),
    /// The file of the day cannot be written.
    #[error(
        "nothing was noted, as the file of the day cannot be written ({0}); make room, or start again from a copy of it on another disk"
    )]
    DayNotWritten(String),
    /// It is no file of a day, or was changed.
    #[error("{0}")]
    DayFileWrong(String),
    /// The file is not of this server.
    #[error("another server wrote this file; connect to the server from which the round was taken along")]
    DayOfAnotherServer,
    /// A step that no swap day has.
    #[error("this is no step of a swap day")]
    NoDayStep,
    /// The day has not begun.
    #[error("this came of a swap round whose day has not begun; confirm it on the day")]
    DayNotBegun,
    /// More of what is left over than one takes.
    #[error("you have taken {0} packs of what was left over; leave some for others")]
    EnoughLeftOvers(u32),
    /// Before the day.
    #[error("the day of this round is {0}: begin it earlier only if everyone is there")]
    DayTooEarly(scionary_domain::time::Date),
    /// The day cannot be taken back.
    #[error("something has changed hands in this round already, so its day has begun")]
    DayUnderWay,
    /// Promises are open.
    #[error("{} promised and not handed over; close the round only if they will change hands later", if *.0 == 1 { "one swap is".into() } else { format!("{} swaps are", .0) })]
    HandOversPending(usize),
    /// They take part already.
    #[error("this is in the round already; on the day nothing that stands is changed")]
    InRoundAlready,
    /// Fewer packs came.
    #[error("only {came} of lot {lot} came; settle the round again, and hand over what it says then")]
    FewerCame {
        /// The lot's number.
        lot: u32,
        /// Packs that came.
        came: u32,
    },
    /// Nothing of the lot was handed over to them.
    #[error("nothing of lot {lot} is ticked as handed over to member {member}")]
    NotHandedOver {
        /// The lot's number.
        lot: u32,
        /// The member's number.
        member: u32,
    },
    /// Two promises of one lot to one member.
    #[error(
        "more of lot {lot} is promised to member {member}; hand that over first, then take the tick back"
    )]
    PromisedBeside {
        /// The lot's number.
        lot: u32,
        /// The member's number.
        member: u32,
    },
    /// Something came of a lot.
    #[error("lot {0} came of this hand-over and has been handed on since; end it by hand instead")]
    LotInUse(String),
    /// Settled too often.
    #[error("this round was settled {0} times already; hand over by hand what is left")]
    TooManyRuns(u32),
    /// Someone stopped it.
    #[error("settling was stopped; the round is as it was")]
    SettlingStopped,
    /// Nothing of the lot is allotted to them.
    #[error("nothing of lot {lot} is allotted to member {member} that was not handed over already")]
    NotAllotted {
        /// The lot's number.
        lot: u32,
        /// The member's number.
        member: u32,
    },
    /// It cannot go to them.
    #[error("this cannot go to you: {0}")]
    BarredInRound(&'static str),
    /// Part of the offer is in a round.
    #[error("a part of this offer is in a swap round that is open; withdraw it there first")]
    OfferInRound,
    /// The club has open rounds.
    #[error("rounds of the club are open; close them or call them off first")]
    RoundsOpen,
    /// Too many plans.
    #[error("{0} plans are on file already; drop some first")]
    TooManyPlans(i64),
    /// Too many steps.
    #[error("the plan has {0} steps already; take some of your own away first")]
    TooManySteps(usize),
    /// The grafting log is full.
    #[error("{0} entries are in the grafting log already; remove some first")]
    TooManyGrafts(i64),
    /// The crop has no steps for the way.
    #[error(
        "no steps are on file for this way to a tree of {0}; the person who runs the server can add them to its profile"
    )]
    NoSteps(String),
    /// The sowing is closed.
    #[error("this sowing is closed already")]
    SowingClosed,
    /// Too many open proposals.
    #[error("{0} of your proposals are open already; wait for rulings, or take some back")]
    TooManyProposals(i64),
    /// The proposal is not open any more.
    #[error("this proposal is {0} already{1}")]
    ProposalClosed(&'static str, String),
    /// Another record bears the name.
    #[error("{0} is the name of another record of this crop; give a qualifier to keep them apart")]
    NameTaken(String),
    /// Too many open complaints.
    #[error("{0} of your complaints are open already; wait until some are closed")]
    TooManyTickets(i64),
    /// The complaint is closed.
    #[error("this complaint is closed already")]
    TicketClosed,
    /// Someone vouched.
    #[error("someone has vouched for {0} already")]
    VouchedAlready(String),
    /// No one vouched.
    #[error("no one has vouched for {0}")]
    NotVouched(String),
    /// The account is suspended.
    #[error("{0} is suspended already")]
    SuspendedAlready(String),
    /// The account is not suspended.
    #[error("{0} is not suspended")]
    NotSuspended(String),
}

/// How a use case fails.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Fields of the request are wrong: all of them.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Invalid(Vec<FieldError>),
    /// There is no such thing, or it is none of the caller's business.
    #[error("no {kind} {id}{}", if hint.is_empty() { String::new() } else { format!("; {hint}") })]
    NotFound {
        /// What was looked for.
        kind: &'static str,
        /// Its id or name.
        id: String,
        /// What to do next; may be empty.
        hint: String,
    },
    /// The caller may not.
    #[error("{0}")]
    Denied(#[from] Denied),
    /// No one has signed in.
    #[error("sign in first")]
    SignInNeeded,
    /// Handle and password do not belong together.
    #[error("handle or password is wrong")]
    WrongPassword,
    /// The account is suspended.
    #[error("this account is suspended; write to a steward of the server")]
    Suspended,
    /// A rule stands in the way.
    #[error("{0}")]
    Rule(#[from] Rule),
    /// Someone changed it in between.
    #[error(
        "it was changed in between: you have version {seen}, it is at version {current}; look at it again"
    )]
    Stale {
        /// The version that the caller had.
        seen: i64,
        /// The version it is at.
        current: i64,
    },
    /// The key was used with another request.
    #[error("this idempotency key was used with another request; take a fresh one")]
    KeyReused,
    /// It was done, but its reply held a secret and was not kept.
    #[error("this was done before, and its reply cannot be shown again: it held a secret")]
    ReplyNotKept,
    /// A page token that does not fit.
    #[error("{0}")]
    PageToken(#[from] PageTokenError),
    /// Too much at once.
    #[error("too much at once; try again in {retry_after_seconds} s")]
    Limited {
        /// When to try again.
        retry_after_seconds: u32,
    },
    /// The database, or the randomness.
    #[error("{0}")]
    Store(StoreError),
    /// A bug, or a machine that fails.
    #[error("{0}")]
    Internal(String),
}

impl From<StoreError> for Error {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}
impl From<EntropyError> for Error {
    fn from(error: EntropyError) -> Self {
        Self::Internal(error.to_string())
    }
}
impl From<page::Wrong> for Error {
    fn from(wrong: page::Wrong) -> Self {
        match wrong {
            page::Wrong::Size(error) => error.into(),
            page::Wrong::Token(error) => error.into(),
        }
    }
}
impl From<FieldError> for Error {
    fn from(error: FieldError) -> Self {
        Self::Invalid(vec![error])
    }
}
impl From<Vec<FieldError>> for Error {
    fn from(errors: Vec<FieldError>) -> Self {
        Self::Invalid(errors)
    }
}

impl Error {
    /// No such thing, with nothing more to say.
    pub fn not_found(kind: &'static str, id: impl ToString) -> Self {
        Self::NotFound { kind, id: id.to_string(), hint: String::new() }
    }
}

impl crate::App {
    /// Reads an id from the field that usually holds one.
    ///
    /// # Errors
    /// The field is wrong: what it should hold.
    pub fn id<T: Id>(text: &str) -> Result<T, Error> {
        Self::id_in(T::FIELD, text)
    }
    /// Reads an id from a field.
    ///
    /// # Errors
    /// The field is wrong: what it should hold.
    pub fn id_in<T: Id>(field: &str, text: &str) -> Result<T, Error> {
        text.parse().map_err(|e: IdError| FieldError::new(field, e.to_string()).into())
    }
}

/// Refuses a change made from another version than the current one.
pub(crate) fn as_seen(seen: Option<i64>, current: i64) -> Result<(), Error> {
    match seen {
        Some(seen) if seen != current => Err(Error::Stale { seen, current }),
        Some(_) | None => Ok(()),
    }
}

/// Makes the new state of something from what is on file: the fields that a change names laid over the others.
pub type Overlay<F, T> = Box<dyn Fn(&F) -> Result<T, Error> + Send + Sync>;
