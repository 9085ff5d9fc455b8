//! Clubs: people who swap together, their organisers, and the members whom organisers may act for.

use crate::{
    field::{FieldError, Fields},
    ids::{AccountId, ClubId},
    limits,
    place::AreaCode,
    time::Timestamp,
};

crate::offer::words! {
    /// How an account relates to a club.
    Standing {
        /// An organiser invited the account; it has not accepted.
        Invited = "invited",
        /// The account asked to join and waits for an organiser's answer.
        Asked = "asked",
        /// An ordinary member.
        Member = "member",
        /// A member who arranges the club.
        Organiser = "organiser",
    }
}

impl Standing {
    /// Returns whether the account is a member, organisers included.
    pub const fn belongs(self) -> bool {
        matches!(self, Self::Member | Self::Organiser)
    }
}

/// A stored club.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Club {
    /// Unique id of the club.
    pub id: ClubId,
    /// Display name of the club.
    pub name: String,
    /// The club's description of itself.
    pub about: String,
    /// Area of the club, coarse; `None` if not given.
    pub area: Option<AreaCode>,
    /// Whether every account may ask to join.
    pub takes_requests: bool,
    /// When the club was founded.
    pub created_at: Timestamp,
    /// When the club was closed; `None` while it is active.
    pub closed_at: Option<Timestamp>,
    /// Increases by one with each change, for optimistic locking.
    pub version: i64,
}

/// An account's relation to one club.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Membership {
    /// The club.
    pub club: ClubId,
    /// The account.
    pub account: AccountId,
    /// How the account relates to the club.
    pub standing: Standing,
    /// The account's message on asking to join, or the organiser's on inviting.
    pub words: String,
    /// Consent that lets organisers act for the member: how they gave it. `None` without consent.
    pub consent: Option<String>,
    /// When the current standing began.
    pub since: Timestamp,
}

/// An invitation to a club, stored by the handle as typed, so that it does not reveal whether an account has
/// it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Invitation {
    /// The club.
    pub club: ClubId,
    /// The invited handle, in lower case.
    pub handle_key: String,
    /// The organiser's message.
    pub words: String,
    /// The organiser who invited.
    pub by: AccountId,
    /// When the invitation was made.
    pub since: Timestamp,
}

/// An unchecked club, as a person entered it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ClubDraft {
    /// Display name.
    pub name: String,
    /// The club's description of itself.
    pub about: String,
    /// Area: an ISO 3166 code; may be empty.
    pub area: String,
    /// Whether every account may ask to join.
    pub takes_requests: bool,
}

/// Checks a club's name, description and area, and returns them in that order.
///
/// # Errors
/// Returns every wrong field.
pub fn check(draft: &ClubDraft) -> Result<(String, String, Option<AreaCode>), Vec<FieldError>> {
    let mut fields = Fields::new();
    let name = fields.line("club.name", &draft.name, limits::REASON_CHARS_MIN, limits::CLUB_NAME_CHARS_MAX);
    let about = fields.text("club.about", &draft.about, 0, limits::CLUB_ABOUT_CHARS_MAX);
    let area = if draft.area.trim().is_empty() {
        None
    } else {
        fields.take("club.area_code", AreaCode::parse(&draft.area))
    };
    let whole = name.zip(about).map(|(name, about)| (name, about, area));
    fields.finish(whole)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields() {
        let good = ClubDraft { name: "Larkwater growers".into(), area: "XB-NS".into(), ..Default::default() };
        assert_eq!(check(&good).unwrap().0, "Larkwater growers");
        let bad = ClubDraft { name: "x".into(), area: "here".into(), ..good };
        let wrong: Vec<String> = check(&bad).unwrap_err().into_iter().map(|f| f.field).collect();
        assert_eq!(wrong, ["club.name", "club.area_code"]);
        assert!(Standing::Organiser.belongs() && !Standing::Invited.belongs());
    }
}
