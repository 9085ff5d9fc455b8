//! Making a club, and changing what it says of itself.

use scionary_domain::{
    club::{Club, ClubDraft, Membership, Standing, check},
    ids::ClubId,
    limits,
    names::Folded,
};
use scionary_store::{account_store, club_store};

use super::{ShownClub, organised, store};
use crate::{Done, Error, Overlay, Rule, UseCase, Write, as_seen};

/// Makes a club; its maker arranges it.
pub struct CreateClub {
    /// What it says of itself.
    pub draft: ClubDraft,
}

/// Changes what a club says of itself (organisers).
pub struct ChangeClub {
    /// The club's id.
    pub id: ClubId,
    /// The version that the caller saw; none to change whatever is there.
    pub version: Option<i64>,
    /// Makes what the club says of itself from what is on file.
    pub change: Overlay<Club, ClubDraft>,
}

impl UseCase for CreateClub {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let (name, about, area) = check(&self.draft)?;
        account_store::lock_account(write.tx, account.id).await?;
        let own = club_store::of(write.tx, account.id).await?;
        if own.iter().filter(|m| m.standing == Standing::Organiser).count() >= limits::CLUBS_ORGANISED_MAX {
            return Err(Rule::TooManyClubs(limits::CLUBS_ORGANISED_MAX).into());
        }
        let club = Club {
            id: ClubId::from_uuid(write.new_uuid()?),
            name,
            about,
            area,
            takes_requests: self.draft.takes_requests,
            created_at: now,
            closed_at: None,
            version: 1,
        };
        club_store::insert(write.tx, &club, &Folded::new(&club.name).key())
            .await
            .map_err(|e| e.if_exists(Error::from(Rule::ClubNameTaken(club.name.clone()))))?;
        let membership = Membership {
            club: club.id,
            account: account.id,
            standing: Standing::Organiser,
            words: String::new(),
            consent: None,
            since: now,
        };
        club_store::set(write.tx, &membership).await?;
        let id = club.id;
        let out = ShownClub::new(write.tx, club, Some(account)).await?;
        Ok(Done::new(out, "club.made", id, serde_json::json!({})))
    }
}

impl UseCase for ChangeClub {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let (mut club, granted) = organised(write, self.id).await?;
        as_seen(self.version, club.version)?;
        let draft = (self.change)(&club)?;
        let (name, about, area) = check(&draft)?;
        (club.name, club.about, club.area) = (name, about, area);
        club.takes_requests = draft.takes_requests;
        store(write, &granted, &mut club).await?;
        let id = club.id;
        let out = ShownClub::new(write.tx, club, write.call.actor.account()).await?;
        Ok(Done::new(out, "club.changed", id, serde_json::json!({})))
    }
}
