//! How a command fails: a sentence, the next step, and an exit code.

use scionary_show::refusal::{self, Refusal};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::commands;

/// A failed command.
#[derive(Debug)]
pub struct Failure {
    /// What went wrong, for a person.
    pub message: String,
    /// The server's reason, such as `OFFER_WITHDRAWN`, or the client's own in lower case.
    pub reason: String,
    /// Wrong fields: the path of each, and what to give instead.
    pub fields: Vec<(String, String)>,
    /// What the user can do next.
    pub next: Option<String>,
    /// The server's id of the request.
    pub request: Option<String>,
    code: u8,
}

/// Exit codes; `scionary --help` lists them.
mod exit {
    pub(super) const REFUSED: u8 = 1;
    pub(super) const USAGE: u8 = 2;
    pub(super) const NOT_ALLOWED: u8 = 3;
    pub(super) const NOT_FOUND: u8 = 4;
    pub(super) const UNREACHABLE: u8 = 5;
    pub(super) const BUG: u8 = 70;
}

impl Failure {
    fn new(code: u8, reason: &str, message: impl Into<String>) -> Self {
        Self {
            message: message.into(),
            reason: reason.into(),
            fields: Vec::new(),
            next: None,
            request: None,
            code,
        }
    }
    /// Returns a failure for a command that was typed wrongly.
    pub fn usage(message: impl Into<String>) -> Self {
        Self::new(exit::USAGE, "usage", message)
    }
    /// Returns a failure for a server that cannot be reached.
    pub fn unreachable(message: impl Into<String>) -> Self {
        Self::new(exit::UNREACHABLE, "unreachable", message)
    }
    /// Returns a failure for something that was not found.
    pub fn not_found(message: impl Into<String>) -> Self {
        Self::new(exit::NOT_FOUND, "not_found", message)
    }
    /// Returns a failure for a command that needs a session.
    pub fn signed_out() -> Self {
        Self::new(exit::NOT_ALLOWED, "signed_out", "you are not signed in")
            .then("sign in with: scionary account sign-in HANDLE")
    }
    /// Returns a failure for a defect of this program, or of the machine.
    pub fn bug(message: impl Into<String>) -> Self {
        Self::new(exit::BUG, "bug", message)
    }
    /// Adds what the user can do next.
    pub fn then(mut self, next: impl Into<String>) -> Self {
        self.next = Some(next.into());
        self
    }
    /// Returns the failure with what it is about in front of its message.
    pub(crate) fn about(mut self, what: &str) -> Self {
        self.message = format!("{what}: {}", self.message);
        self
    }
    /// Returns whether something was not found.
    pub(crate) fn is_not_found(&self) -> bool {
        self.code == exit::NOT_FOUND
    }
    /// Returns the exit code of the process.
    pub fn exit_code(&self) -> u8 {
        self.code
    }
    /// Converts a server's status. `server` is its address, for the hint when it is unreachable.
    pub fn from_status(status: &Status, server: &str) -> Self {
        let details = status.get_error_details();
        let reason = details.error_info().map(|i| i.reason.clone()).unwrap_or_default();
        let (code, next) = match status.code() {
            Code::InvalidArgument | Code::OutOfRange => (exit::USAGE, None),
            Code::Unauthenticated => (
                exit::NOT_ALLOWED,
                (reason != "WRONG_PASSWORD")
                    .then(|| "sign in with: scionary account sign-in HANDLE".to_string()),
            ),
            Code::PermissionDenied => (exit::NOT_ALLOWED, None),
            Code::NotFound => (exit::NOT_FOUND, None),
            Code::Unavailable | Code::DeadlineExceeded | Code::Cancelled => (
                exit::UNREACHABLE,
                Some(format!("is {server} the right server and is it running? See: scionary status")),
            ),
            Code::Aborted if reason == "STALE_VERSION" => {
                (exit::REFUSED, Some("show it again, then repeat the change".to_string()))
            }
            Code::Aborted | Code::AlreadyExists | Code::FailedPrecondition | Code::ResourceExhausted => {
                (exit::REFUSED, None)
            }
            Code::Unimplemented => (
                exit::BUG,
                Some("client and server are of different versions; see: scionary status".to_string()),
            ),
            Code::Ok | Code::Unknown | Code::Internal | Code::DataLoss => (exit::BUG, None),
        };
        let fields: Vec<(String, String)> = details
            .bad_request()
            .map(|b| b.field_violations.iter().map(|v| (v.field.clone(), v.description.clone())).collect())
            .unwrap_or_default();
        let message = match (fields.as_slice(), status.code()) {
            ([_, _, ..], _) => format!("{} things are wrong:", fields.len()),
            ([(field, expected)], _)
                if field == "observed" || field.starts_with("observed[") && !field.contains('.') =>
            {
                expected.clone()
            }
            // Name the field as people type it.
            ([(field, expected)], _) => format!("{}: {expected}", crate::output::plain_field(field)),
            (_, Code::Cancelled) if reason.is_empty() => "the server did not answer in time".into(),
            _ => status.message().to_string(),
        };
        let known = details.error_info().and_then(|i| i.metadata.get("first"));
        let refusal = Refusal {
            reason: &reason,
            missing: details.resource_info().map(|r| r.resource_type.as_str()).unwrap_or_default(),
            first: known.map(String::as_str).unwrap_or_default(),
        };
        let helps = refusal::next(refusal).map(|(say, act)| format!("{say}: {}", commands::command(&act)));
        let next = next.or(helps);
        Self {
            message,
            reason: if reason.is_empty() { format!("{:?}", status.code()) } else { reason },
            fields,
            next,
            request: details.request_info().map(|r| r.request_id.clone()),
            code,
        }
    }
}
