//! Accounts: handles, roles, invitations, and the rules for passwords (never their hashes).

use std::fmt;

use crate::{
    ids::{AccountId, InvitationId, SessionId},
    limits,
    names::Folded,
    time::Timestamp,
};

/// A sign-in name: ASCII letters, digits, hyphens and underscores, beginning with a letter; unique ignoring
/// case.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Handle(String);

impl Handle {
    /// Parses a handle, ignoring space around it.
    ///
    /// # Errors
    /// Returns a message that says what a handle looks like when `text` is not one.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let length = text.chars().count();
        let good = (limits::HANDLE_CHARS_MIN..=limits::HANDLE_CHARS_MAX).contains(&length)
            && text.starts_with(|c: char| c.is_ascii_alphabetic())
            && text.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_');
        if good {
            Ok(Self(text.to_string()))
        } else {
            Err(format!(
                "{} to {} letters, digits, hyphens or underscores, beginning with a letter, expected",
                limits::HANDLE_CHARS_MIN,
                limits::HANDLE_CHARS_MAX
            ))
        }
    }
    /// Returns the lower-case form, under which the handle is unique.
    pub fn key(&self) -> String {
        self.0.to_ascii_lowercase()
    }
    /// Returns the handle as the person wrote it.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Handle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A password before hashing. It has no `Debug` and no `Display`, so that no log can show it.
pub struct Password(String);

impl Password {
    /// Takes a password to compare with a stored hash. It cuts the text to the length limit and judges
    /// nothing.
    pub fn offered(text: &str) -> Self {
        Self(text.chars().take(limits::PASSWORD_CHARS_MAX).collect())
    }

    /// Judges a new password. `own` holds words that the person's account already shows, such as their name.
    ///
    /// # Errors
    /// Returns a message for the person when the password has the wrong length, is their own name or is easy
    /// to guess.
    pub fn new(text: &str, own: &[&str]) -> Result<Self, String> {
        let length = text.chars().count();
        if !(limits::PASSWORD_CHARS_MIN..=limits::PASSWORD_CHARS_MAX).contains(&length) {
            return Err(format!(
                "{} to {} characters expected, {length} found",
                limits::PASSWORD_CHARS_MIN,
                limits::PASSWORD_CHARS_MAX
            ));
        }
        let shortened: Vec<String> =
            own.iter().map(|w| w.chars().take(limits::DISPLAY_NAME_CHARS_MAX).collect()).collect();
        let own: Vec<&str> = shortened.iter().map(String::as_str).collect();
        let words: Vec<String> = own.iter().map(|w| Folded::new(w).joined).filter(|w| w.len() > 2).collect();
        if words.iter().any(|w| Folded::new(text).joined == *w) {
            return Err("a password other than your own name expected".into());
        }
        let inputs: Vec<&str> = own.iter().copied().chain(["scionary"]).collect();
        let judged: String = text.chars().take(limits::PASSWORD_JUDGED_CHARS).collect();
        let estimate = zxcvbn::zxcvbn(&judged, &inputs);
        if estimate.score() < zxcvbn::Score::Three {
            let why =
                estimate.feedback().and_then(|f| f.warning()).map(|w| format!(" ({w})")).unwrap_or_default();
            return Err(format!("that one is guessed too easily{why}; take four or five unrelated words"));
        }
        Ok(Self(text.to_string()))
    }

    /// Returns the plain text, for the hasher only.
    pub fn expose(&self) -> &str {
        &self.0
    }
}

/// What an account may do anywhere on the server.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Role {
    /// The role that every account has.
    Grower,
    /// Decides proposals about one crop.
    Curator {
        /// Key of the crop.
        crop: String,
    },
    /// Arranges a club's swaps.
    Organiser,
    /// Runs the server.
    Steward,
}

impl Role {
    /// Returns the word that stores and messages use for the role.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Grower => "grower",
            Self::Curator { .. } => "curator",
            Self::Organiser => "organiser",
            Self::Steward => "steward",
        }
    }
    /// Returns the key of the crop that the role covers; empty when it covers everything.
    pub fn scope(&self) -> &str {
        match self {
            Self::Curator { crop } => crop,
            Self::Grower | Self::Organiser | Self::Steward => "",
        }
    }
    /// Reads a role from its word and scope, or returns `None` for an unknown word.
    pub fn from_parts(word: &str, scope: &str) -> Option<Self> {
        Some(match word {
            "grower" => Self::Grower,
            "curator" => Self::Curator { crop: scope.to_string() },
            "organiser" => Self::Organiser,
            "steward" => Self::Steward,
            _ => return None,
        })
    }
}

/// A person's account on the server.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// Unique id of the account.
    pub id: AccountId,
    /// The sign-in name.
    pub handle: String,
    /// The name that others see.
    pub display_name: String,
    /// Roles beyond that of a grower.
    pub roles: Vec<Role>,
    /// When the account was made.
    pub created_at: Timestamp,
    /// When a steward suspended the account; a suspended account may do nothing.
    pub suspended_at: Option<Timestamp>,
}

impl Account {
    /// Returns whether the account holds a role. Every account is a grower.
    pub fn is(&self, role: &Role) -> bool {
        *role == Role::Grower || self.roles.contains(role)
    }
}

/// The caller of a request, after authentication.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Actor {
    /// The caller has not signed in.
    Visitor,
    /// A signed-in account.
    Member {
        /// The account.
        account: Account,
        /// The session that the request carries.
        session: SessionId,
        /// When that session ends.
        session_expires_at: Timestamp,
    },
}

impl Actor {
    /// Returns the account, if the caller has signed in.
    pub fn account(&self) -> Option<&Account> {
        match self {
            Self::Visitor => None,
            Self::Member { account, .. } => Some(account),
        }
    }
    /// Returns the account's id, if the caller has signed in.
    pub fn id(&self) -> Option<AccountId> {
        self.account().map(|a| a.id)
    }
}

/// Who can make an account on this server.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SignUpMode {
    /// Everyone can sign up.
    Open,
    /// Signing up takes an invitation code.
    Invitation,
    /// New accounts are not accepted.
    Closed,
}

/// What a code lets its user sign up as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CodeKind {
    /// An ordinary account.
    Invitation,
    /// The first steward's account.
    FirstSteward,
}

/// An invitation, or the first steward's code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Invitation {
    /// Unique id of the invitation.
    pub id: InvitationId,
    /// What the code lets its user sign up as.
    pub kind: CodeKind,
    /// The inviter; `None` for the first steward's code, which the server makes.
    pub created_by: Option<AccountId>,
    /// The inviter's note.
    pub note: String,
    /// When the invitation was made.
    pub created_at: Timestamp,
    /// When the invitation expires.
    pub expires_at: Timestamp,
    /// When someone made an account with it.
    pub used_at: Option<Timestamp>,
    /// When it was withdrawn.
    pub revoked_at: Option<Timestamp>,
}

/// State of an invitation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InvitationState {
    /// It can still be used.
    Open,
    /// An account was made with it.
    Used,
    /// The inviter or a steward withdrew it.
    Revoked,
    /// It expired unused.
    Expired,
}

impl Invitation {
    /// Returns the state at `now`. Use comes before withdrawal, and withdrawal before expiry.
    pub fn state(&self, now: Timestamp) -> InvitationState {
        if self.used_at.is_some() {
            InvitationState::Used
        } else if self.revoked_at.is_some() {
            InvitationState::Revoked
        } else if self.expires_at <= now {
            InvitationState::Expired
        } else {
            InvitationState::Open
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn handles() {
        assert_eq!(Handle::parse(" Rosa-7 ").unwrap().key(), "rosa-7");
        for bad in ["ab", "7rosa", "ro sa", "røsa", "a2345678901234567890123456789012x"] {
            assert!(Handle::parse(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn passwords() {
        assert!(Password::new("short", &[]).is_err());
        assert!(Password::new("password1234", &[]).is_err());
        assert!(Password::new("Rosa-Miller", &["Rosa Miller", "rosa"]).is_err());
        assert!(Password::new("brittle kettle orbit plank", &["rosa"]).is_ok());
    }
}
