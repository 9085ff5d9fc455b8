//! Joining by invitation or request, and leaving.

use scionary_domain::{
    account::Handle,
    club::{Invitation, Membership, Standing},
    field::{FieldError, Fields},
    ids::ClubId,
    limits,
    notice::{Kind, NewNotice},
};
use scionary_store::{account_store, block_store, club_store};

use super::{ShownClub, club_held, invited, keep_an_organiser, notice, organised};
use crate::{Done, Error, Rule, UseCase, Write, rounds};

/// Invites someone (organisers).
pub struct InviteToClub {
    /// The club's id.
    pub id: ClubId,
    /// Whom: their handle.
    pub handle: String,
    /// Words to them.
    pub words: String,
}

/// Says yes or no to an invitation.
pub struct AnswerInvitation {
    /// The club's id.
    pub id: ClubId,
    /// Yes.
    pub accept: bool,
}

/// Asks to join.
pub struct AskToJoin {
    /// The club's id.
    pub id: ClubId,
    /// Words to its organisers.
    pub words: String,
}

/// Leaves a club, or takes a request back.
pub struct LeaveClub {
    /// The club's id.
    pub id: ClubId,
}

fn words(text: &str) -> Result<String, Error> {
    let mut fields = Fields::new();
    let words = fields.text("words", text, 0, limits::CLAIM_NOTE_CHARS_MAX);
    Ok(fields.finish(words)?)
}

async fn room(write: &Write<'_>, id: ClubId) -> Result<(), Error> {
    let invited = u64::try_from(club_store::invitations(write.tx, id).await?.len()).unwrap_or(u64::MAX);
    let all = club_store::count(write.tx, id, Standing::ALL).await?.saturating_add(invited);
    if all >= limits::CLUB_MEMBERS_MAX {
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
        let handle = Handle::parse(&self.handle).map_err(|expected| FieldError::new("handle", expected))?;
        let guest = account_store::account_to_sign_in(write.tx, &handle.key()).await?.map(|(a, _)| a.id);
        let known = match guest {
            Some(guest) => club_store::membership(write.tx, club.id, guest).await?,
            None => None,
        };
        if known.as_ref().is_some_and(|m| m.standing.belongs()) {
            return Err(Rule::MemberAlready(handle.as_str().to_string()).into());
        }
        room(write, club.id).await?;
        let mut told = None;
        match known.filter(|m| m.standing == Standing::Asked) {
            // one who asked is let in
            Some(asked) => {
                let member = Membership { standing: Standing::Member, words, since: now, ..asked };
                club_store::set(write.tx, &member).await?;
                told = Some((member.account, format!("You are a member of {} now.", club.name)));
            }
            // kept and answered alike whether there is such an account or not, and whether it deals with the caller:
            // an invitation shows nothing of who is here
            None => {
                let invitation =
                    Invitation { club: club.id, handle_key: handle.key(), words, by: account.id, since: now };
                club_store::invite(write.tx, &invitation).await?;
                if let Some(guest) = guest
                    && !block_store::between(write.tx, account.id, guest).await?
                {
                    let words = format!("{} invites you to {}.", account.display_name, club.name);
                    told = Some((guest, words));
                }
            }
        }
        let told = told.map(|(to, words)| NewNotice {
            kind: Kind::ClubInvited,
            ..notice(to, &club, format!("{} {}", account.id, now.date()), words)
        });
        let id = club.id;
        let out = ShownClub::new(write.tx, club, Some(account)).await?;
        let mut done = Done::new(out, "club.invited", id, serde_json::json!({ "whom": handle.as_str() }));
        done.notices.extend(told);
        Ok(done)
    }
}

impl UseCase for AnswerInvitation {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let account = write.call.account()?;
        let club = club_held(write, self.id).await?;
        let invited = invited(write.tx, club.id, account).await?.ok_or(Rule::NotInvited)?;
        club_store::uninvite(write.tx, club.id, &account.handle.to_ascii_lowercase()).await?;
        let known = club_store::membership(write.tx, club.id, account.id).await?;
        if self.accept && !known.is_some_and(|m| m.standing.belongs()) {
            let membership = Membership { standing: Standing::Member, since: write.call.now, ..invited };
            club_store::set(write.tx, &membership).await?;
        }
        let id = club.id;
        let out = ShownClub::new(write.tx, club, Some(account)).await?;
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
            // one who is invited belongs to it by asking
            Some(Standing::Invited | Standing::Asked) | None => {
                match invited(write.tx, club.id, account).await? {
                    Some(_) => Standing::Member,
                    None => Standing::Asked,
                }
            }
        };
        if standing == Standing::Asked && !club.takes_requests {
            return Err(Rule::ByInvitationOnly(club.name).into());
        }
        club_store::uninvite(write.tx, club.id, &account.handle.to_ascii_lowercase()).await?;
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
            let words = format!("{} asks to join {}.", account.display_name, club.name);
            NewNotice {
                kind: Kind::ClubAsked,
                ..notice(o.account, &club, format!("{} {}", account.id, now.date()), words)
            }
        });
        let notices: Vec<_> = if standing == Standing::Asked { notices.collect() } else { Vec::new() };
        let id = club.id;
        let out = ShownClub::new(write.tx, club, Some(account)).await?;
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
        let out = ShownClub::new(write.tx, club, Some(account)).await?;
        Ok(Done::new(out, "club.left", id, serde_json::json!({})))
    }
}
