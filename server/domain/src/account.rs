//! Accounts: handles, passwords as rules (never as hashes), roles.

use std::fmt;

use crate::{
    ids::{AccountId, InvitationId, SessionId},
    limits,
    names::Folded,
    time::Timestamp,
};

/// A sign-in name: letters, digits, hyphens, underscores; unique without regard to case.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Handle(String);

impl Handle {
    /// Checks a handle.
    ///
    /// # Errors
    /// What was expected, in words.
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
    /// The key under which it is unique.
    pub fn key(&self) -> String {
        self.0.to_ascii_lowercase()
    }
    /// As it was written.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Handle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A password on its way to being hashed. It has no `Debug` and no `Display`.
pub struct Password(String);

impl Password {
    /// Takes a password for checking against a stored hash: bounded in length, not judged.
    pub fn offered(text: &str) -> Self {
        Self(text.chars().take(limits::PASSWORD_CHARS_MAX).collect())
    }

    /// Judges a new password. `own` are words that the person's account already shows.
    ///
    /// # Errors
    /// What was expected, in words.
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

    /// Gives the text to the hasher.
    pub fn expose(&self) -> &str {
        &self.0
    }
}

/// What an account may do, in general.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Role {
    /// Every account.
    Grower,
    /// Rules on proposals about one crop.
    Curator {
        /// The crop's key.
        crop: String,
    },
    /// Arranges a club's swaps.
    Organiser,
    /// Runs the server.
    Steward,
}

impl Role {
    /// The word for it.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Grower => "grower",
            Self::Curator { .. } => "curator",
            Self::Organiser => "organiser",
            Self::Steward => "steward",
        }
    }
    /// The crop it covers; empty for all.
    pub fn scope(&self) -> &str {
        match self {
            Self::Curator { crop } => crop,
            Self::Grower | Self::Organiser | Self::Steward => "",
        }
    }
    /// From its word and scope.
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

/// An account.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// Its id.
    pub id: AccountId,
    /// The sign-in name.
    pub handle: String,
    /// The name that others see.
    pub display_name: String,
    /// Roles beyond that of a grower.
    pub roles: Vec<Role>,
    /// When it was made.
    pub created_at: Timestamp,
    /// Set while it may do nothing.
    pub suspended_at: Option<Timestamp>,
}

impl Account {
    /// Whether it holds a role.
    pub fn is(&self, role: &Role) -> bool {
        *role == Role::Grower || self.roles.contains(role)
    }
}

/// Who is calling, once the gate has looked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Actor {
    /// Nobody has signed in.
    Visitor,
    /// A signed-in account.
    Member {
        /// The account.
        account: Account,
        /// The session that the call came with.
        session: SessionId,
        /// When that session ends.
        session_expires_at: Timestamp,
    },
}

impl Actor {
    /// The account, if signed in.
    pub fn account(&self) -> Option<&Account> {
        match self {
            Self::Visitor => None,
            Self::Member { account, .. } => Some(account),
        }
    }
    /// The account's id, if signed in.
    pub fn id(&self) -> Option<AccountId> {
        self.account().map(|a| a.id)
    }
}

/// How accounts are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SignUpMode {
    /// Anyone may.
    Open,
    /// With a code.
    Invitation,
    /// Nobody may.
    Closed,
}

/// What a code grants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CodeKind {
    /// Membership.
    Invitation,
    /// The first steward's account.
    FirstSteward,
}

/// An invitation, or the first steward's code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Invitation {
    /// Its id.
    pub id: InvitationId,
    /// What it grants.
    pub kind: CodeKind,
    /// Who made it; nobody for the first steward's.
    pub created_by: Option<AccountId>,
    /// The inviter's note.
    pub note: String,
    /// When it was made.
    pub created_at: Timestamp,
    /// When it ends by itself.
    pub expires_at: Timestamp,
    /// When an account was made with it.
    pub used_at: Option<Timestamp>,
    /// When it was taken back.
    pub revoked_at: Option<Timestamp>,
}

/// What became of an invitation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InvitationState {
    /// Can be used.
    Open,
    /// An account was made with it.
    Used,
    /// Taken back.
    Revoked,
    /// Nobody used it in time.
    Expired,
}

impl Invitation {
    /// What has become of it by now.
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
