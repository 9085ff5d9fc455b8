//! What organisers do with members: let them in, make them organisers, take them out.

use scionary_domain::{
    club::{Membership, Standing},
    field::Fields,
    ids::{AccountId, ClubId},
    limits,
};
use scionary_store::club_store;

use super::{ShownClub, keep_an_organiser, notice, organised};
use crate::{Done, Error, Rule, UseCase, Write, rounds};

/// Says yes or no to someone who asked to join.
pub struct AnswerRequest {
    /// The club's id.
    pub id: ClubId,
    /// Who asked.
    pub account: AccountId,
    /// Yes.
    pub accept: bool,
}

/// Makes a member an organiser, or an organiser a member.
pub struct SetOrganiser {
    /// The club's id.
    pub id: ClubId,
    /// Whom.
    pub account: AccountId,
    /// Organiser.
    pub organiser: bool,
}

/// Takes someone out of a club.
pub struct RemoveMember {
    /// The club's id.
    pub id: ClubId,
    /// Whom.
    pub account: AccountId,
    /// Why: told to them.
    pub reason: String,
}

/// Takes an invitation back.
pub struct Uninvite {
    /// The club's id.
    pub id: ClubId,
    /// The handle that was typed.
    pub handle: String,
}

impl UseCase for Uninvite {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let (club, _) = organised(write, self.id).await?;
        let key = self.handle.trim().to_lowercase();
        if !club_store::uninvite(write.tx, club.id, &key).await? {
            return Err(Error::not_found("invitation", key));
        }
        let id = club.id;
        let out = ShownClub::new(write.tx, club, write.call.actor.account()).await?;
        Ok(Done::new(out, "club.invitation_taken_back", id, serde_json::json!({ "whom": key })))
    }
}

impl UseCase for AnswerRequest {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let now = write.call.now;
        let (club, _) = organised(write, self.id).await?;
        let asked = club_store::membership(write.tx, club.id, self.account)
            .await?
            .filter(|m| m.standing == Standing::Asked)
            .ok_or(Rule::NotAsked)?;
        let words = if self.accept {
            let membership = Membership { standing: Standing::Member, since: now, ..asked };
            club_store::set(write.tx, &membership).await?;
            format!("You are a member of {} now.", club.name)
        } else {
            club_store::remove(write.tx, club.id, self.account).await?;
            format!("{} has not let you in.", club.name)
        };
        let told = notice(self.account, &club, now, words);
        let id = club.id;
        let out = ShownClub::new(write.tx, club, write.call.actor.account()).await?;
        let change = serde_json::json!({ "whom": self.account.to_string(), "accept": self.accept });
        let mut done = Done::new(out, "club.request_answered", id, change);
        done.notices.push(told);
        Ok(done)
    }
}

impl UseCase for SetOrganiser {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let now = write.call.now;
        let (club, _) = organised(write, self.id).await?;
        let known = club_store::membership(write.tx, club.id, self.account)
            .await?
            .filter(|m| m.standing.belongs())
            .ok_or(Rule::NotAMember)?;
        let standing = if self.organiser { Standing::Organiser } else { Standing::Member };
        club_store::set(write.tx, &Membership { standing, ..known }).await?;
        keep_an_organiser(write, &club).await?;
        let words = if self.organiser {
            format!("You arrange {} now, together with its other organisers.", club.name)
        } else {
            format!("You are a member of {}, and no organiser any more.", club.name)
        };
        let told = notice(self.account, &club, now, words);
        let id = club.id;
        let out = ShownClub::new(write.tx, club, write.call.actor.account()).await?;
        let change = serde_json::json!({ "whom": self.account.to_string(), "organiser": self.organiser });
        let mut done = Done::new(out, "club.organiser_set", id, change);
        done.notices.push(told);
        Ok(done)
    }
}

impl UseCase for RemoveMember {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let now = write.call.now;
        let (club, _) = organised(write, self.id).await?;
        let mut fields = Fields::new();
        let reason = fields.text("reason", &self.reason, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
        let reason = fields.finish(reason)?;
        if !club_store::remove(write.tx, club.id, self.account).await? {
            return Err(Rule::NotAMember.into());
        }
        rounds::leave_gathering(write, club.id, self.account).await?;
        keep_an_organiser(write, &club).await?;
        let words = format!("You are not a member of {} any more: {reason}", club.name);
        let told = notice(self.account, &club, now, words);
        let id = club.id;
        let out = ShownClub::new(write.tx, club, write.call.actor.account()).await?;
        let change = serde_json::json!({ "whom": self.account.to_string() });
        let mut done = Done::new(out, "club.member_removed", id, change);
        done.notices.push(told);
        Ok(done)
    }
}
