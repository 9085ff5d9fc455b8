//! The one place that puts errors on the wire: a code, a sentence for a person, and google.rpc details for a
//! program. Inner causes are logged here, once, and never leave.

use std::{collections::HashMap, time::Duration};

use scionary_app::{Error, Rule};
use scionary_domain::{access::Denied, field::FieldError, ids::RequestId, limits, page::PageTokenError};
use scionary_proto::ERROR_DOMAIN;
use scionary_store::{Ailment, Condition, StoreError};
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt as _};

/// What the gate refuses before a handler sees it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// No such method.
    UnknownMethod,
    /// A session is needed.
    SignInNeeded,
    /// The token is not, or no longer, that of a session.
    SessionOver,
    /// The account is suspended.
    Suspended,
    /// A role is missing.
    StewardNeeded,
    /// No one does this for someone else.
    NotOnBehalf,
    /// A server that runs a swap day does nothing else.
    NotOnTheDay,
    /// An idempotency key is needed, or it has the wrong form.
    KeyNeeded,
    /// Too many calls.
    TooMany(Duration),
    /// The time was up.
    Deadline,
    /// The handler panicked.
    Panicked,
    /// The bytes are no message of the method, or are not one message; why.
    Malformed(String),
    /// A message is larger than the server takes in.
    TooLarge,
    /// Compressed in a way that the server does not read.
    UnknownEncoding,
}

/// How a call fails.
#[derive(Debug)]
pub enum Failure {
    /// Refused before, or beside, the application.
    Refused(Refusal),
    /// By an error of the application.
    App(Error),
    /// The connection broke, as the transport puts it.
    Transport(Box<Status>),
}

impl From<Refusal> for Failure {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

impl<E: Into<Error>> From<E> for Failure {
    fn from(error: E) -> Self {
        Self::App(error.into())
    }
}

/// A failure, on the wire: the one place where it becomes a status.
pub fn failure(failure: Failure, request: RequestId, condition: &Condition) -> Status {
    match failure {
        Failure::Refused(refused) => refusal(&refused, request),
        Failure::App(error) => of_app(error, request, condition),
        Failure::Transport(status) => *status,
    }
}

/// An error of the app, on the wire. Trouble of the database's is noted as its condition, and told by its right name.
pub fn of_app(error: Error, request: RequestId, condition: &Condition) -> Status {
    let error = if let Error::Store(trouble) = error { Error::Store(condition.note(trouble)) } else { error };
    status(&error, request)
}

/// A call that reached a handler without the gate: a mistake of ours.
pub fn around_the_gate() -> Status {
    let none = RequestId::from_uuid(Default::default());
    status(&Error::Internal("a call came around the gate".into()), none)
}

/// The longest message of an error. It travels in a header and once more in the details; outside of ASCII each of its bytes
/// takes three in the header.
const MESSAGE_BYTES_MAX: usize = 1024;
/// All wrong fields of an error together. Details take four bytes for three; all headers of a reply together have to stay
/// below the 16 KiB that clients take in, or they see none of it.
const FIELDS_BYTES_MAX: usize = 5 * 1024;
/// One of them.
const FIELD_BYTES_MAX: usize = 600;

/// A text of so many bytes at most.
fn short(text: &str, most: usize) -> String {
    if text.len() <= most {
        return text.to_string();
    }
    let end = text.floor_char_boundary(most.saturating_sub('…'.len_utf8()));
    format!("{}…", text.get(..end).unwrap_or_default())
}

fn build(
    code: Code,
    reason: &'static str,
    message: impl Into<String>,
    request: RequestId,
    metadata: HashMap<String, String>,
    add: impl FnOnce(&mut ErrorDetails),
) -> Status {
    let message = short(&message.into(), MESSAGE_BYTES_MAX);
    let mut details = ErrorDetails::with_error_info(reason, ERROR_DOMAIN, metadata);
    details.set_request_info(request.to_string(), "");
    add(&mut details);
    Status::with_error_details(code, message, details)
}

/// A refusal of the gate, on the wire.
pub fn refusal(refusal: &Refusal, request: RequestId) -> Status {
    let plain = |code, reason, message: &str| build(code, reason, message, request, HashMap::new(), |_| {});
    match refusal {
        Refusal::UnknownMethod => plain(
            Code::Unimplemented,
            "UNKNOWN_METHOD",
            "this server has no such method; it may be older or newer than the client",
        ),
        Refusal::SignInNeeded => plain(Code::Unauthenticated, "SIGN_IN_NEEDED", "sign in first"),
        Refusal::SessionOver => {
            plain(Code::Unauthenticated, "SESSION_OVER", "this session is over; sign in again")
        }
        Refusal::Suspended => plain(
            Code::PermissionDenied,
            "ACCOUNT_SUSPENDED",
            "this account is suspended; write to a steward of the server",
        ),
        Refusal::StewardNeeded => plain(Code::PermissionDenied, "ROLE_MISSING", "only a steward may do this"),
        Refusal::NotOnBehalf => plain(
            Code::PermissionDenied,
            "NOT_ON_BEHALF",
            "this cannot be done on someone's behalf: only what concerns offers, claims and rounds of the club in which they agreed to it can",
        ),
        Refusal::NotOnTheDay => plain(
            Code::FailedPrecondition,
            "NOT_ON_THE_DAY",
            "this computer runs one swap day and nothing else; do that on the server, once you can reach it",
        ),
        Refusal::KeyNeeded => plain(
            Code::InvalidArgument,
            "IDEMPOTENCY_KEY_NEEDED",
            "this method writes: send the metadata idempotency-key with a fresh random text of 16 to 64 letters, digits, hyphens or underscores, and the same one again when you repeat the call",
        ),
        Refusal::TooMany(wait) => {
            let message = match wait.as_secs().max(1) {
                seconds @ 0..=120 => format!("too many calls; try again in {seconds} s"),
                seconds @ 121..=7200 => format!("too many calls; try again in {} min", seconds.div_ceil(60)),
                seconds => format!("too many calls; try again in {} hours", seconds.div_ceil(3600)),
            };
            build(Code::ResourceExhausted, "TOO_MANY_CALLS", message, request, HashMap::new(), |details| {
                details.set_retry_info(Some(*wait));
            })
        }
        Refusal::Deadline => plain(
            Code::DeadlineExceeded,
            "DEADLINE_EXCEEDED",
            "the time was up; repeat the call with the same idempotency key to learn what became of it",
        ),
        Refusal::Panicked => internal(request),
        Refusal::Malformed(why) => {
            plain(Code::InvalidArgument, "MALFORMED", &format!("this is no request of the method: {why}"))
        }
        Refusal::TooLarge => plain(
            Code::ResourceExhausted,
            "REQUEST_TOO_LARGE",
            "the request is larger than this server takes in; send less at once",
        ),
        Refusal::UnknownEncoding => plain(
            Code::Unimplemented,
            "ENCODING_UNKNOWN",
            "this server reads messages that are not compressed, or compressed with gzip or zstd",
        ),
    }
}

fn internal(request: RequestId) -> Status {
    build(
        Code::Internal,
        "INTERNAL",
        format!("internal error; give the stewards this number: {request}"),
        request,
        HashMap::new(),
        |_| {},
    )
}

fn unavailable(request: RequestId) -> Status {
    let wait = Duration::from_secs(1);
    build(
        Code::Unavailable,
        "DATABASE_UNAVAILABLE",
        "the server's database does not answer; try again in a moment with the same idempotency key",
        request,
        HashMap::new(),
        |details| {
            details.set_retry_info(Some(wait));
        },
    )
}

/// The answer to a call that cannot be finished, as the database does not answer.
pub fn lost(request: RequestId) -> Status {
    in_trouble(Ailment::Away, request)
}

fn in_trouble(ailment: Ailment, request: RequestId) -> Status {
    build(
        Code::Unavailable,
        "DATABASE_UNAVAILABLE",
        format!(
            "the server's database is in trouble: {}. Nothing is taken as done; try again later with the same idempotency key. The person who runs the server learns what to do from scionaryd doctor",
            ailment.what()
        ),
        request,
        HashMap::new(),
        |details| {
            details.set_retry_info(Some(Duration::from_secs(10)));
        },
    )
}

fn fields_wrong(fields: &[FieldError], request: RequestId) -> Status {
    let message = match fields {
        [one] => one.to_string(),
        many => format!(
            "{} fields are wrong: {}",
            many.len(),
            many.iter()
                .take(limits::FIELD_ERRORS_MAX)
                .map(ToString::to_string)
                .collect::<Vec<_>>()
                .join("; ")
        ),
    };
    let mut told = Vec::new();
    let mut bytes = 0;
    for field in fields.iter().take(limits::FIELD_ERRORS_MAX) {
        let (name, expected) =
            (short(&field.field, FIELD_BYTES_MAX), short(&field.expected, FIELD_BYTES_MAX));
        bytes += name.len() + expected.len() + 8;
        if bytes > FIELDS_BYTES_MAX {
            break;
        }
        told.push((name, expected));
    }
    let left = fields.len() - told.len();
    build(Code::InvalidArgument, "FIELDS_WRONG", message, request, HashMap::new(), |details| {
        for (name, expected) in told {
            details.add_bad_request_violation(name, expected);
        }
        if left > 0 {
            let more = format!("{left} more are wrong; you see them once these are right");
            details.add_bad_request_violation("", more);
        }
    })
}

fn rule(rule: &Rule, request: RequestId) -> Status {
    let (code, reason) = match rule {
        Rule::HandleTaken(_) => (Code::AlreadyExists, "HANDLE_TAKEN"),
        Rule::SignUpClosed => (Code::PermissionDenied, "SIGN_UP_CLOSED"),
        Rule::CodeNeeded => (Code::PermissionDenied, "CODE_NEEDED"),
        Rule::CodeNotValid => (Code::PermissionDenied, "CODE_NOT_VALID"),
        Rule::OfferWithdrawn => (Code::FailedPrecondition, "OFFER_WITHDRAWN"),
        Rule::TooManyEntered(_) => (Code::ResourceExhausted, "TOO_MANY_ENTERED"),
        Rule::TooManyOffers(_) => (Code::ResourceExhausted, "TOO_MANY_OFFERS"),
        Rule::TooManyInvitations(_) => (Code::ResourceExhausted, "TOO_MANY_INVITATIONS"),
        Rule::InvitationSpent => (Code::FailedPrecondition, "INVITATION_SPENT"),
        Rule::RoleHeld(_) => (Code::AlreadyExists, "ROLE_HELD"),
        Rule::RoleNotHeld(_) => (Code::FailedPrecondition, "ROLE_NOT_HELD"),
        Rule::LastSteward => (Code::FailedPrecondition, "LAST_STEWARD"),
        Rule::RecordLocked(..) => (Code::FailedPrecondition, "RECORD_LOCKED"),
        Rule::LockedAlready => (Code::FailedPrecondition, "LOCKED_ALREADY"),
        Rule::NotLocked => (Code::FailedPrecondition, "NOT_LOCKED"),
        Rule::CatalogueEvidence => (Code::FailedPrecondition, "CATALOGUE_EVIDENCE"),
        Rule::EvidenceEnded(..) => (Code::FailedPrecondition, "EVIDENCE_ENDED"),
        Rule::NoCheck => (Code::FailedPrecondition, "NOT_CHECKED"),
        Rule::TooMuchEvidence(_) => (Code::ResourceExhausted, "TOO_MUCH_EVIDENCE"),
        Rule::TooManyChecks(_) => (Code::ResourceExhausted, "TOO_MANY_CHECKS"),
        Rule::TooManySowings(_) => (Code::ResourceExhausted, "TOO_MANY_SOWINGS"),
        Rule::OwnOffer => (Code::FailedPrecondition, "OWN_OFFER"),
        Rule::BlocksOneself => (Code::FailedPrecondition, "BLOCKS_ONESELF"),
        Rule::TooManyNumbers(_) => (Code::ResourceExhausted, "TOO_MANY_NUMBERS"),
        Rule::TooManyBlocked(_) => (Code::ResourceExhausted, "TOO_MANY_BLOCKED"),
        Rule::NotBetweenThem => (Code::FailedPrecondition, "NOT_BETWEEN_THEM"),
        Rule::OfferOver => (Code::FailedPrecondition, "OFFER_OVER"),
        Rule::ClaimedAlready => (Code::AlreadyExists, "CLAIMED_ALREADY"),
        Rule::TooManyClaims(_) => (Code::ResourceExhausted, "TOO_MANY_CLAIMS"),
        Rule::OtherSide(_) => (Code::PermissionDenied, "OTHER_SIDE"),
        Rule::ClaimNotWaiting(_) => (Code::FailedPrecondition, "CLAIM_NOT_WAITING"),
        Rule::ClaimNotAccepted(_) => (Code::FailedPrecondition, "CLAIM_NOT_ACCEPTED"),
        Rule::ClaimOver(_) => (Code::FailedPrecondition, "CLAIM_OVER"),
        Rule::HandedOverAlready => (Code::FailedPrecondition, "HANDED_OVER_ALREADY"),
        Rule::NothingLeft => (Code::FailedPrecondition, "NOTHING_LEFT"),
        Rule::PromisedMore(_) => (Code::FailedPrecondition, "PROMISED_MORE"),
        Rule::MovementProhibited(_) => (Code::FailedPrecondition, "MOVEMENT_PROHIBITED"),
        Rule::MovementStricter(_) => (Code::FailedPrecondition, "MOVEMENT_STRICTER"),
        Rule::ReleaseOver => (Code::FailedPrecondition, "RELEASE_OVER"),
        Rule::NotProtected(_) => (Code::FailedPrecondition, "NOT_PROTECTED"),
        Rule::NoMail => (Code::FailedPrecondition, "NO_MAIL"),
        Rule::MailNotSent => (Code::Unavailable, "MAIL_NOT_SENT"),
        Rule::PromisedAlready => (Code::FailedPrecondition, "PROMISED_ALREADY"),
        Rule::TooManyLinks(_) => (Code::ResourceExhausted, "TOO_MANY_LINKS"),
        Rule::TooMuchAbove => (Code::FailedPrecondition, "TOO_MUCH_ABOVE"),
        Rule::TooManyWatches(_) => (Code::ResourceExhausted, "TOO_MANY_WATCHES"),
        Rule::TooManyWants(_) => (Code::ResourceExhausted, "TOO_MANY_WANTS"),
        Rule::WantOver => (Code::FailedPrecondition, "WANT_OVER"),
        Rule::RoundLate(_) => (Code::FailedPrecondition, "ROUND_LATE"),
        Rule::RoundPhase { .. } => (Code::FailedPrecondition, "ROUND_PHASE"),
        Rule::NotYourLot => (Code::PermissionDenied, "NOT_YOUR_LOT"),
        Rule::NotInRound => (Code::FailedPrecondition, "NOT_IN_ROUND"),
        Rule::RoundFull(_) => (Code::ResourceExhausted, "ROUND_FULL"),
        Rule::OfferOfAnotherClub => (Code::FailedPrecondition, "OFFER_OF_ANOTHER_CLUB"),
        Rule::TooManyRoundLots(_) => (Code::ResourceExhausted, "TOO_MANY_ROUND_LOTS"),
        Rule::ListsTooLong(_) => (Code::FailedPrecondition, "LISTS_TOO_LONG"),
        Rule::SealedStale => (Code::FailedPrecondition, "SEALED_STALE"),
        Rule::BroughtBefore => (Code::AlreadyExists, "BROUGHT_BEFORE"),
        Rule::DayTagTaken(_) => (Code::AlreadyExists, "DAY_TAG_TAKEN"),
        Rule::DayNotWritten(_) => (Code::Unavailable, "DAY_NOT_WRITTEN"),
        Rule::DayFileWrong(_) => (Code::InvalidArgument, "DAY_FILE_WRONG"),
        Rule::DayOfAnotherServer => (Code::FailedPrecondition, "DAY_OF_ANOTHER_SERVER"),
        Rule::NoDayStep => (Code::InvalidArgument, "NO_DAY_STEP"),
        Rule::DayNotBegun => (Code::FailedPrecondition, "DAY_NOT_BEGUN"),
        Rule::DayTooEarly(_) => (Code::FailedPrecondition, "DAY_TOO_EARLY"),
        Rule::DayUnderWay => (Code::FailedPrecondition, "DAY_UNDER_WAY"),
        Rule::HandOversPending(_) => (Code::FailedPrecondition, "HAND_OVERS_PENDING"),
        Rule::InRoundAlready => (Code::FailedPrecondition, "IN_ROUND_ALREADY"),
        Rule::FewerCame { .. } => (Code::FailedPrecondition, "FEWER_CAME"),
        Rule::NotHandedOver { .. } => (Code::FailedPrecondition, "NOT_HANDED_OVER"),
        Rule::PromisedBeside { .. } => (Code::FailedPrecondition, "PROMISED_BESIDE"),
        Rule::LotInUse(_) => (Code::FailedPrecondition, "LOT_IN_USE"),
        Rule::EnoughLeftOvers(_) => (Code::ResourceExhausted, "ENOUGH_LEFT_OVERS"),
        Rule::MixedWishes(_) => (Code::FailedPrecondition, "MIXED_WISHES"),
        Rule::TooManyRounds(_) => (Code::ResourceExhausted, "TOO_MANY_ROUNDS"),
        Rule::RoundEmpty => (Code::FailedPrecondition, "ROUND_EMPTY"),
        Rule::RoundChanged => (Code::Aborted, "ROUND_CHANGED"),
        Rule::TooManyRuns(_) => (Code::ResourceExhausted, "TOO_MANY_RUNS"),
        Rule::SettlingStopped => (Code::Cancelled, "SETTLING_STOPPED"),
        Rule::NotAllotted { .. } => (Code::FailedPrecondition, "NOT_ALLOTTED"),
        Rule::BarredInRound(_) => (Code::FailedPrecondition, "BARRED_IN_ROUND"),
        Rule::OfferInRound => (Code::FailedPrecondition, "OFFER_IN_ROUND"),
        Rule::RoundsOpen => (Code::FailedPrecondition, "ROUNDS_OPEN"),
        Rule::TooManyClubs(_) => (Code::ResourceExhausted, "TOO_MANY_CLUBS"),
        Rule::ClubFull(_) => (Code::ResourceExhausted, "CLUB_FULL"),
        Rule::ClubNameTaken(_) => (Code::AlreadyExists, "CLUB_NAME_TAKEN"),
        Rule::MemberAlready(_) => (Code::AlreadyExists, "MEMBER_ALREADY"),
        Rule::NotInvited => (Code::FailedPrecondition, "NOT_INVITED"),
        Rule::NotAsked => (Code::FailedPrecondition, "NOT_ASKED"),
        Rule::NotAMember => (Code::FailedPrecondition, "NOT_A_MEMBER"),
        Rule::ByInvitationOnly(_) => (Code::FailedPrecondition, "BY_INVITATION_ONLY"),
        Rule::LastOrganiser => (Code::FailedPrecondition, "LAST_ORGANISER"),
        Rule::ClubOnly => (Code::PermissionDenied, "CLUB_ONLY"),
        Rule::TooManyLots(_) => (Code::ResourceExhausted, "TOO_MANY_LOTS"),
        Rule::TooManyTests(_) => (Code::ResourceExhausted, "TOO_MANY_TESTS"),
        Rule::LotEnded(_) => (Code::FailedPrecondition, "LOT_ENDED"),
        Rule::AlertReaches(_) => (Code::FailedPrecondition, "ALERT_REACHES"),
        Rule::TooManyAlerts(_) => (Code::ResourceExhausted, "TOO_MANY_ALERTS"),
        Rule::AlertNot(..) => (Code::FailedPrecondition, "ALERT_NOT_SO"),
        Rule::TooManyPlans(_) => (Code::ResourceExhausted, "TOO_MANY_PLANS"),
        Rule::TooManySteps(_) => (Code::ResourceExhausted, "TOO_MANY_STEPS"),
        Rule::TooManyGrafts(_) => (Code::ResourceExhausted, "TOO_MANY_GRAFTS"),
        Rule::NoSteps(_) => (Code::FailedPrecondition, "NO_STEPS"),
        Rule::SowingClosed => (Code::FailedPrecondition, "SOWING_CLOSED"),
        Rule::TooManyProposals(_) => (Code::ResourceExhausted, "TOO_MANY_PROPOSALS"),
        Rule::ProposalClosed(..) => (Code::FailedPrecondition, "PROPOSAL_CLOSED"),
        Rule::NameTaken(_) => (Code::AlreadyExists, "NAME_TAKEN"),
        Rule::TooManyTickets(_) => (Code::ResourceExhausted, "TOO_MANY_TICKETS"),
        Rule::TicketClosed => (Code::FailedPrecondition, "TICKET_CLOSED"),
        Rule::VouchedAlready(_) => (Code::FailedPrecondition, "VOUCHED_FOR_ALREADY"),
        Rule::NotVouched(_) => (Code::FailedPrecondition, "NOT_VOUCHED_FOR"),
        Rule::SuspendedAlready(_) => (Code::FailedPrecondition, "SUSPENDED_ALREADY"),
        Rule::NotSuspended(_) => (Code::FailedPrecondition, "NOT_SUSPENDED"),
    };
    let mut facts = HashMap::new();
    if let Rule::RoundPhase { first: Some(step), .. } = rule {
        facts.insert("first".to_string(), step.word().to_string());
    }
    build(code, reason, rule.to_string(), request, facts, |details| {
        if code == Code::FailedPrecondition {
            details.add_precondition_failure_violation(reason, "", rule.to_string());
        }
        if let Rule::TooManyOffers(limit)
        | Rule::TooManyInvitations(limit)
        | Rule::TooMuchEvidence(limit)
        | Rule::TooManyChecks(limit)
        | Rule::TooManySowings(limit)
        | Rule::TooManyLots(limit)
        | Rule::TooManyWants(limit)
        | Rule::TooManyAlerts(limit)
        | Rule::TooManyPlans(limit)
        | Rule::TooManyClaims(limit)
        | Rule::TooManyGrafts(limit)
        | Rule::TooManyProposals(limit)
        | Rule::TooManyTickets(limit) = rule
        {
            details.add_quota_failure_violation("account", format!("at most {limit}"));
        }
    })
}

/// An error of a use case, on the wire.
pub fn status(error: &Error, request: RequestId) -> Status {
    let text = error.to_string();
    let plain = |code, reason| build(code, reason, text.clone(), request, HashMap::new(), |_| {});
    match error {
        Error::Invalid(fields) => fields_wrong(fields, request),
        Error::NotFound { kind, id, hint } => {
            build(Code::NotFound, "NOT_FOUND", text.clone(), request, HashMap::new(), |details| {
                details.set_resource_info(
                    *kind,
                    short(id, FIELD_BYTES_MAX),
                    "",
                    short(hint, FIELD_BYTES_MAX),
                );
            })
        }
        Error::Denied(denied) => plain(
            Code::PermissionDenied,
            match denied {
                Denied::NotTheGiver => "NOT_THE_GIVER",
                Denied::RoleMissing(_) => "ROLE_MISSING",
                Denied::NotTheHolder => "NOT_THE_HOLDER",
                Denied::NotTheAuthor => "NOT_THE_AUTHOR",
                Denied::OwnWork(_) => "OWN_WORK",
            },
        ),
        Error::SignInNeeded => plain(Code::Unauthenticated, "SIGN_IN_NEEDED"),
        Error::WrongPassword => plain(Code::Unauthenticated, "WRONG_PASSWORD"),
        Error::Suspended => refusal(&Refusal::Suspended, request),
        Error::Rule(broken) => rule(broken, request),
        Error::Stale { seen, current } => {
            let versions = HashMap::from([
                ("seen_version".to_string(), seen.to_string()),
                ("current_version".to_string(), current.to_string()),
            ]);
            build(Code::Aborted, "STALE_VERSION", text.clone(), request, versions, |_| {})
        }
        Error::KeyReused => plain(Code::FailedPrecondition, "IDEMPOTENCY_KEY_REUSED"),
        Error::ReplyNotKept => plain(Code::FailedPrecondition, "REPLY_NOT_KEPT"),
        Error::PageToken(wrong) => {
            let reason = match wrong {
                PageTokenError::Unreadable => "PAGE_TOKEN_UNREADABLE",
                PageTokenError::OtherSearch => "PAGE_TOKEN_MISMATCH",
            };
            build(Code::InvalidArgument, reason, text.clone(), request, HashMap::new(), |details| {
                details.add_bad_request_violation("page_token", wrong.to_string());
            })
        }
        Error::Limited { retry_after_seconds } => {
            let wait = Duration::from_secs(u64::from(*retry_after_seconds));
            build(
                Code::ResourceExhausted,
                "TOO_MUCH_AT_ONCE",
                text.clone(),
                request,
                HashMap::new(),
                |details| {
                    details.set_retry_info(Some(wait));
                },
            )
        }
        Error::Store(inner) => match inner {
            StoreError::Unavailable(_) | StoreError::Collision => {
                tracing::warn!(%request, error = %inner, "the database did not do it");
                unavailable(request)
            }
            StoreError::Sick(ailment, _) => {
                tracing::warn!(%request, error = %inner, "the database did not do it");
                in_trouble(*ailment, request)
            }
            StoreError::Busy => status(&Error::Limited { retry_after_seconds: 1 }, request),
            StoreError::Exists | StoreError::Corrupt { .. } | StoreError::Refused(_) => {
                tracing::error!(%request, error = %inner, "internal error");
                internal(request)
            }
        },
        Error::Internal(inner) => {
            tracing::error!(%request, error = %inner, "internal error");
            internal(request)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Headers of more than 16 KiB never reach a client (h2's usual limit); those of an error stay well below.
    #[test]
    fn errors_stay_below_what_clients_take_in() {
        for text in ["x", "ß", "木", "\u{1f333}"] {
            let long = text.repeat(4000);
            let fields: Vec<FieldError> =
                (0..400).map(|n| FieldError::new(format!("rows[{n}].{long}"), long.clone())).collect();
            let short: Vec<FieldError> =
                (0..400).map(|n| FieldError::new(format!("rows[{n}]"), "a number expected")).collect();
            for error in [
                Error::Invalid(fields),
                Error::Invalid(short),
                Error::NotFound { kind: "cultivar", id: long.clone(), hint: long.clone() },
                Error::Rule(Rule::NameTaken(long.clone())),
            ] {
                let headers = status(&error, RequestId::from_uuid(Default::default())).into_http::<()>();
                let bytes: usize =
                    headers.headers().iter().map(|(n, v)| n.as_str().len() + v.len() + 32).sum();
                assert!(bytes < 15 * 1024, "{bytes} bytes");
            }
        }
        let many: Vec<FieldError> =
            (0..400).map(|n| FieldError::new(format!("rows[{n}]"), "a number")).collect();
        let status = status(&Error::Invalid(many), RequestId::from_uuid(Default::default()));
        let told = status.get_error_details().bad_request().unwrap().field_violations.clone();
        assert_eq!(told.last().unwrap().description, "350 more are wrong; you see them once these are right");
    }

    #[test]
    fn every_reason_that_is_built_is_listed() {
        let source = include_str!("status.rs");
        let (code, _) = source.split_once("#[cfg(test)]").unwrap();
        let quoted: std::collections::BTreeSet<&str> = code
            .split('"')
            .filter(|t| t.len() > 5 && t.chars().all(|c| c.is_ascii_uppercase() || c == '_'))
            .collect();
        assert_eq!(quoted.into_iter().collect::<Vec<_>>(), crate::reasons::REASONS);
    }
}
