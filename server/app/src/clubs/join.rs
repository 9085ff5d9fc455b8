//! Joining by invitation or request, and leaving.

use scionary_domain::{
    club::{Membership, Standing},
    field::Fields,
    ids::ClubId,
    limits,
};
use scionary_store::club_store;

use super::{ShownClub, by_handle, club_held, keep_an_organiser, notice, organised};
use crate::{Done, Error, Rule, UseCase, Write, rounds};

/// Invites somebody (organisers).
pub struct InviteToClub {
    /// To which.
    pub id: ClubId,
    /// Whom: their handle.
    pub handle: String,
    /// Words to them.
    pub words: String,
}

/// Says yes or no to an invitation.
pub struct AnswerInvitation {
    /// To which club.
    pub id: ClubId,
    /// Yes.
    pub accept: bool,
}

/// Asks to join.
pub struct AskToJoin {
    /// Which.
    pub id: ClubId,
    /// Words to its organisers.
    pub words: String,
}

/// Leaves a club, or takes a request back.
pub struct LeaveClub {
    /// Which.
    pub id: ClubId,
}

fn words(text: &str) -> Result<String, Error> {
    let mut fields = Fields::new();
    let words = fields.text("words", text, 0, limits::CLAIM_NOTE_CHARS_MAX);
    Ok(fields.finish(words)?)
}

async fn room(write: &Write<'_>, id: ClubId) -> Result<(), Error> {
    if club_store::count(write.tx, id, Standing::ALL).await? >= limits::CLUB_MEMBERS_MAX {
        return Err(Rule::ClubFull(limits::CLUB_MEMBERS_MAX).into());
    }
    Ok(())
}

impl UseCase for InviteToClub {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let (club, _) = organised(write, self.id).await?;
        let words = words(&self.words)?;
        let guest = by_handle(write, &self.handle).await?;
        let known = club_store::membership(write.tx, club.id, guest).await?;
        if known.as_ref().is_some_and(|m| m.standing.belongs()) {
            return Err(Rule::MemberAlready(self.handle.trim().to_string()).into());
        }
        room(write, club.id).await?;
        // one who asked is let in
        let asked = known.is_some_and(|m| m.standing == Standing::Asked);
        let standing = if asked { Standing::Member } else { Standing::Invited };
        let membership =
            Membership { club: club.id, account: guest, standing, words, consent: None, since: now };
        club_store::set(write.tx, &membership).await?;
        let told = if asked {
            format!("You are a member of {} now.", club.name)
        } else {
            format!(
                "{} invites you to {}. Answer: scionary club accept {2}, or: scionary club decline {2}",
                account.display_name, club.name, club.id
            )
        };
        let told = notice(guest, &club, format!("{} {}", account.id, now.date()), told);
        let id = club.id;
        let out = ShownClub::new(write.tx, club, Some(account.id)).await?;
        let mut done = Done::new(out, "club.invited", id, serde_json::json!({ "whom": guest.to_string() }));
        done.notices.push(told);
        Ok(done)
    }
}

impl UseCase for AnswerInvitation {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let account = write.call.account()?;
        let club = club_held(write, self.id).await?;
        let invited = club_store::membership(write.tx, club.id, account.id)
            .await?
            .filter(|m| m.standing == Standing::Invited)
            .ok_or(Rule::NotInvited)?;
        if self.accept {
            let membership = Membership { standing: Standing::Member, since: write.call.now, ..invited };
            club_store::set(write.tx, &membership).await?;
        } else {
            club_store::remove(write.tx, club.id, account.id).await?;
        }
        let id = club.id;
        let out = ShownClub::new(write.tx, club, Some(account.id)).await?;
        Ok(Done::new(out, "club.invitation_answered", id, serde_json::json!({ "accept": self.accept })))
    }
}

impl UseCase for AskToJoin {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let club = club_held(write, self.id).await?;
        let words = words(&self.words)?;
        let known = club_store::membership(write.tx, club.id, account.id).await?;
        let standing = match known.map(|m| m.standing) {
            Some(Standing::Member | Standing::Organiser) => {
                return Err(Rule::MemberAlready(account.handle.clone()).into());
            }
            Some(Standing::Invited) => Standing::Member,
            Some(Standing::Asked) | None => Standing::Asked,
        };
        if standing == Standing::Asked && !club.takes_requests {
            return Err(Rule::ByInvitationOnly(club.name).into());
        }
        room(write, club.id).await?;
        let membership =
            Membership { club: club.id, account: account.id, standing, words, consent: None, since: now };
        club_store::set(write.tx, &membership).await?;
        let organisers = club_store::members(
            write.tx,
            club.id,
            &[Standing::Organiser],
            None,
            limits::CLUB_ORGANISERS_TOLD,
        )
        .await?;
        let notices = organisers.iter().map(|o| {
            let words = format!(
                "{} asks to join {}. See: scionary club members {} --waiting",
                account.display_name, club.name, club.id
            );
            notice(o.account, &club, format!("{} {}", account.id, now.date()), words)
        });
        let notices: Vec<_> = if standing == Standing::Asked { notices.collect() } else { Vec::new() };
        let id = club.id;
        let out = ShownClub::new(write.tx, club, Some(account.id)).await?;
        let mut done = Done::new(out, "club.asked_to_join", id, serde_json::json!({}));
        done.notices = notices;
        Ok(done)
    }
}

impl UseCase for LeaveClub {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let account = write.call.account()?;
        let club = club_held(write, self.id).await?;
        let known = club_store::membership(write.tx, club.id, account.id).await?;
        if !club_store::remove(write.tx, club.id, account.id).await? {
            return Err(Rule::NotAMember.into());
        }
        rounds::leave_gathering(write, club.id, account.id).await?;
        if known.is_some_and(|m| m.standing == Standing::Organiser) {
            keep_an_organiser(write, &club).await?;
        }
        let id = club.id;
        let out = ShownClub::new(write.tx, club, Some(account.id)).await?;
        Ok(Done::new(out, "club.left", id, serde_json::json!({})))
    }
}
