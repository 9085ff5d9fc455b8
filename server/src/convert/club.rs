//! Clubs on the wire.

use scionary_app::{
    App, Error,
    clubs::{ChangeClub, ShownClub, ShownMember},
};
use scionary_domain::club::{Club, ClubDraft, Standing};
use scionary_proto::v1;

use super::{count, seen, timestamp};
use crate::mask::Change;

/// What a club says of itself.
pub fn draft(draft: Option<v1::ClubDraft>) -> ClubDraft {
    let v1::ClubDraft { name, about, area_code, takes_requests } = draft.unwrap_or_default();
    ClubDraft { name, about, area: area_code, takes_requests }
}

/// What a club says of itself.
fn stated(club: &Club) -> v1::ClubDraft {
    v1::ClubDraft {
        name: club.name.clone(),
        about: club.about.clone(),
        area_code: club.area.as_ref().map(|a| a.as_str().to_string()).unwrap_or_default(),
        takes_requests: club.takes_requests,
    }
}

/// A request to change a club.
///
/// # Errors
/// Values that cannot be read.
pub fn change(request: v1::UpdateClubRequest) -> Result<ChangeClub, Error> {
    let v1::UpdateClubRequest { club_id, club, version, update_mask } = request;
    let id = App::id(&club_id)?;
    let mask = Change::read("club", club, update_mask)?;
    let change = move |club: &Club| {
        Ok(draft(Some(mask.over(&stated(club)).map_err(|e| Error::Internal(e.to_string()))?)))
    };
    Ok(ChangeClub { id, version: seen(version), change: Box::new(change) })
}

fn standing(standing: Standing) -> v1::ClubStanding {
    match standing {
        Standing::Invited => v1::ClubStanding::Invited,
        Standing::Asked => v1::ClubStanding::Asked,
        Standing::Member => v1::ClubStanding::Member,
        Standing::Organiser => v1::ClubStanding::Organiser,
    }
}

/// A club.
pub fn club(shown: &ShownClub) -> v1::Club {
    let ShownClub { club, members, waiting, own } = shown;
    let small = |n: u64| count(usize::try_from(n).unwrap_or(usize::MAX));
    v1::Club {
        club_id: club.id.to_string(),
        says: Some(stated(club)),
        members: small(*members),
        waiting: waiting.map(small).unwrap_or_default(),
        own_standing: own.as_ref().map_or(v1::ClubStanding::Unspecified, |m| standing(m.standing)).into(),
        may_be_helped: own.as_ref().is_some_and(|m| m.consent.is_some()),
        created_at: Some(timestamp(club.created_at)),
        version: club.version,
    }
}

/// Someone of a club.
pub fn member(shown: &ShownMember) -> v1::ClubMember {
    let ShownMember { account, standing: stands, words, consent, since, name, handle } = shown;
    v1::ClubMember {
        account_id: account.map(|account| account.to_string()).unwrap_or_default(),
        name: name.clone(),
        handle: handle.clone(),
        standing: standing(*stands).into(),
        words: words.clone(),
        consent: consent.clone().unwrap_or_default(),
        since: Some(timestamp(*since)),
    }
}
