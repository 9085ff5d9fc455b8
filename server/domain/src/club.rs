//! Clubs: people who swap together, those among them who arrange it, and members for whom they act.

use crate::{
    field::{FieldError, Fields},
    ids::{AccountId, ClubId},
    limits,
    place::AreaCode,
    time::Timestamp,
};

crate::offer::words! {
    /// How somebody stands to a club.
    Standing {
        /// Invited, and has not said yes.
        Invited = "invited",
        /// Asked to join, and waits for an organiser.
        Asked = "asked",
        /// A member.
        Member = "member",
        /// A member who arranges it.
        Organiser = "organiser",
    }
}

impl Standing {
    /// Whether they belong to it.
    pub const fn belongs(self) -> bool {
        matches!(self, Self::Member | Self::Organiser)
    }
}

/// A club on file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Club {
    /// Its id.
    pub id: ClubId,
    /// Its name.
    pub name: String,
    /// What it is about.
    pub about: String,
    /// Where, coarsely.
    pub area: Option<AreaCode>,
    /// Whether anybody may ask to join.
    pub takes_requests: bool,
    /// When it was made.
    pub created_at: Timestamp,
    /// When it was closed.
    pub closed_at: Option<Timestamp>,
    /// Counts up with each change.
    pub version: i64,
}

/// How somebody stands to a club.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Membership {
    /// The club.
    pub club: ClubId,
    /// Who.
    pub account: AccountId,
    /// How.
    pub standing: Standing,
    /// Their words on asking, or the organiser's on inviting.
    pub words: String,
    /// Organisers may act for them: how they said so. None where they did not.
    pub consent: Option<String>,
    /// Since when.
    pub since: Timestamp,
}

/// An invitation to a club, by the handle as it was typed: an account may have it, or none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Invitation {
    /// The club.
    pub club: ClubId,
    /// Whom: their handle in lower case.
    pub handle_key: String,
    /// The organiser's words.
    pub words: String,
    /// The organiser.
    pub by: AccountId,
    /// Since when.
    pub since: Timestamp,
}

/// A club before it is checked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ClubDraft {
    /// Its name.
    pub name: String,
    /// What it is about.
    pub about: String,
    /// A code of ISO 3166; may be empty.
    pub area: String,
    /// Whether anybody may ask to join.
    pub takes_requests: bool,
}

/// Checks a club's name, words and place.
///
/// # Errors
/// All wrong fields.
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
