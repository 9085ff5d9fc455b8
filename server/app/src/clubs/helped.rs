//! Members without computers: an organiser enters them, with their consent, and acts for them; what is entered so is marked.

use scionary_domain::{
    access::Denied,
    account::{Account, Actor, Handle},
    club::{Membership, Standing},
    field::Fields,
    ids::{AccountId, ClubId, SessionId},
    limits,
};
use scionary_store::{NewAccount, account_store, block_store, club_store, observer_store};

use super::{ShownClub, club_held, organised, organises};
use crate::{App, Call, Done, Error, Rule, UseCase, Write, accounts::PasswordHash};

/// Enters someone who has no computer, as a member (organisers). They cannot sign in.
pub struct EnterHelped {
    /// The club's id.
    pub id: ClubId,
    /// Their name.
    pub name: String,
    /// How they agreed that organisers act for them: when, to whom.
    pub consent: String,
    /// A password that no one knows.
    pub unusable: PasswordHash,
}

/// Lets organisers of a club act for oneself, or no longer.
pub struct AllowHelp {
    /// The club's id.
    pub id: ClubId,
    /// Let them.
    pub allow: bool,
}

fn fields(name: &str, consent: &str) -> Result<(String, String), Error> {
    let mut fields = Fields::new();
    let name = fields.line("name", name, 1, limits::DISPLAY_NAME_CHARS_MAX);
    let consent = fields.text("consent", consent, limits::REASON_CHARS_MIN, limits::CLAIM_NOTE_CHARS_MAX);
    Ok(fields.finish(name.zip(consent))?)
}

impl UseCase for EnterHelped {
    type Out = (ShownClub, AccountId);
    async fn run(&self, write: &Write<'_>) -> Result<Done<(ShownClub, AccountId)>, Error> {
        let organiser = write.call.account()?;
        let now = write.call.now;
        let (club, _) = organised(write, self.id).await?;
        let (name, consent) = fields(&self.name, &self.consent)?;
        if club_store::count(write.tx, club.id, Standing::ALL).await? >= limits::CLUB_MEMBERS_MAX {
            return Err(Rule::ClubFull(limits::CLUB_MEMBERS_MAX).into());
        }
        if club_store::count_helped(write.tx, club.id).await? >= limits::CLUB_HELPED_MAX {
            return Err(Rule::ClubFull(limits::CLUB_HELPED_MAX).into());
        }
        let id = AccountId::from_uuid(write.new_uuid()?);
        let plain = id.to_string();
        let tail: String = plain.chars().rev().take(12).collect();
        let handle = Handle::parse(&format!("helped-{tail}")).map_err(Error::Internal)?;
        let new = NewAccount {
            id,
            handle: &handle,
            display_name: &name,
            password_hash: self.unusable.as_str(),
            at: now,
        };
        account_store::insert_account(write.tx, &new).await?;
        // of the organiser's group: what is entered for them is no independent voice
        let group = observer_store::one(write.tx, organiser.id).await?.map_or(organiser.id, |o| o.group);
        observer_store::insert(write.tx, id, group, None, now).await?;
        let membership = Membership {
            club: club.id,
            account: id,
            standing: Standing::Member,
            words: String::new(),
            consent: Some(consent),
            since: now,
        };
        club_store::set(write.tx, &membership).await?;
        let subject = club.id;
        let out = ShownClub::new(write.tx, club, Some(organiser)).await?;
        Ok(Done::new(
            (out, id),
            "club.helped_entered",
            subject,
            serde_json::json!({ "whom": id.to_string() }),
        ))
    }
}

impl UseCase for AllowHelp {
    type Out = ShownClub;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownClub>, Error> {
        let account = write.call.account()?;
        let club = club_held(write, self.id).await?;
        let own = club_store::membership(write.tx, club.id, account.id)
            .await?
            .filter(|m| m.standing.belongs())
            .ok_or(Rule::NotAMember)?;
        let consent = self.allow.then(|| format!("Said so themselves on {}.", write.call.now.date()));
        club_store::set(write.tx, &Membership { consent, ..own }).await?;
        let id = club.id;
        let out = ShownClub::new(write.tx, club, Some(account)).await?;
        Ok(Done::new(out, "club.help_allowed", id, serde_json::json!({ "allow": self.allow })))
    }
}

impl App {
    /// Checks who is to be entered, and makes a password that no one knows.
    ///
    /// # Errors
    /// The server cannot hash.
    pub async fn prepare_helped(
        &self,
        call: &Call,
        id: ClubId,
        name: String,
        consent: String,
    ) -> Result<EnterHelped, Error> {
        // hashing is dear: first, whether it is for anything
        let reader = self.store().reader();
        club_store::one(reader, id).await?.ok_or_else(|| Error::not_found("club", id))?;
        if !organises(reader, id, call.account_id()?).await? {
            return Err(Denied::RoleMissing("an organiser of the club").into());
        }
        fields(&name, &consent)?;
        Ok(EnterHelped { id, name, consent, unusable: self.unusable_password().await? })
    }

    /// The caller as the member for whom they act, and the clubs in whose matters: no one is acted for without their
    /// consent, nor by someone with whom they do not deal.
    ///
    /// # Errors
    /// They do not arrange a club in which that member agreed to it; one of both blocks the other.
    pub async fn on_behalf(&self, actor: &Actor, member: AccountId) -> Result<(Actor, Vec<ClubId>), Error> {
        let account = actor.account().ok_or(Error::SignInNeeded)?;
        let reader = self.store().reader();
        let clubs = club_store::acts_for(reader, account.id, member).await?;
        let may = !clubs.is_empty() && !block_store::between(reader, account.id, member).await?;
        let denied = || Denied::RoleMissing("an organiser of a club in which this member agreed to it");
        let helped: Account =
            account_store::account(reader, member).await?.filter(|_| may).ok_or_else(denied)?;
        if helped.suspended_at.is_some() {
            return Err(Error::Suspended);
        }
        let (session, session_expires_at): (SessionId, _) = match actor {
            Actor::Member { session, session_expires_at, .. } => (*session, *session_expires_at),
            Actor::Visitor => return Err(Error::SignInNeeded),
        };
        // a member's own roles are not acted with
        let account = Account { roles: Vec::new(), ..helped };
        Ok((Actor::Member { account, session, session_expires_at }, clubs))
    }
}
