//! What members keep for themselves, so that they need not type it again.

use crate::{
    crop::Climate,
    field::{FieldError, Fields},
    limits,
    place::Place,
};

/// A member's profile.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Profile {
    /// Where the member grows.
    pub home: Option<Place>,
    /// How others reach the member; may be empty.
    pub contact: String,
    /// Whether the member reads feet, pounds and Fahrenheit.
    pub imperial: bool,
    /// Key of the crop that the member mostly grows; may be empty.
    pub crop: String,
    /// Winters at home; `None` lets the server guess.
    pub climate: Option<Climate>,
    /// Whether the plants of the member may be counted, by cultivar and country, among those that still keep it.
    pub count_plants: bool,
    /// Number of changes; 0 before the first.
    pub version: i64,
}

/// A profile as it was sent: nothing is checked yet.
#[derive(Clone, Debug, Default)]
pub struct ProfileDraft {
    /// Country or subdivision of home, its grid code and its label; all empty without a home.
    pub home: (String, String, String),
    /// How others reach the member.
    pub contact: String,
    /// Whether the member reads feet, pounds and Fahrenheit.
    pub imperial: bool,
    /// Key of the usual crop.
    pub crop: String,
    /// Winters at home.
    pub climate: Option<Climate>,
    /// Whether the plants of the member may be counted.
    pub count_plants: bool,
}

/// Checks a draft. The version is the caller's to set; the crop is checked against the registry elsewhere.
///
/// # Errors
/// Returns all wrong fields.
pub fn check(draft: &ProfileDraft) -> Result<Profile, Vec<FieldError>> {
    let mut fields = Fields::new();
    let (area, grid, label) = &draft.home;
    let home = if area.is_empty() && grid.is_empty() && label.is_empty() {
        Some(None)
    } else {
        Place::parse(&mut fields, "profile.home", area, grid, label).map(Some)
    };
    let contact = fields.line("profile.contact", &draft.contact, 0, limits::CONTACT_CHARS_MAX);
    let profile = home.zip(contact).map(|(home, contact)| Profile {
        home,
        contact,
        imperial: draft.imperial,
        crop: draft.crop.clone(),
        climate: draft.climate,
        count_plants: draft.count_plants,
        version: 0,
    });
    fields.finish(profile)
}
