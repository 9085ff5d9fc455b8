//! Inviting.

use std::{fmt, str::FromStr};

use scionary_domain::{
    access,
    account::{CodeKind, Invitation},
    field::Fields,
    ids::InvitationId,
    limits, page,
    time::Timestamp,
};
use scionary_store::account_store;

use crate::{App, Call, Done, Error, Rule, UseCase, Write, secrets};

/// Makes an invitation.
pub struct CreateInvitation {
    note: String,
    code: String,
}

/// An invitation and its code.
#[derive(Clone)]
pub struct Invited {
    /// The invitation.
    pub invitation: Invitation,
    /// The code; it is not kept.
    pub code: String,
}

impl App {
    /// Checks a request for an invitation.
    ///
    /// # Errors
    /// A note that is too long.
    pub fn prepare_invitation(&self, note: &str) -> Result<CreateInvitation, Error> {
        let mut fields = Fields::new();
        let note = fields.line("note", note, 0, limits::INVITATION_NOTE_CHARS_MAX);
        Ok(CreateInvitation { note: fields.finish(note)?, code: secrets::new_code(self.entropy())? })
    }

    /// A page of the caller's invitations, newest first.
    ///
    /// # Errors
    /// A page token that does not fit.
    pub async fn invitations(
        &self,
        call: &Call,
        page_size: i32,
        token: &str,
    ) -> Result<page::Page<Invitation>, Error> {
        let account = call.account_id()?;
        let asked = page::Asked::<Key>::read(page_size, token, format!("invitations {account}"))?;
        let before = asked.after.map(|Key(at, id)| (at, id));
        let rows =
            account_store::invitations_by(self.store().reader(), account, before, asked.limit()).await?;
        Ok(asked.cut(rows, |last| Key(last.created_at, last.id)))
    }
}

/// What names an invitation in a list by age.
#[derive(Clone, Copy)]
struct Key(Timestamp, InvitationId);

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.0.micros(), self.1)
    }
}
impl FromStr for Key {
    type Err = page::PageTokenError;
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let parse = || {
            let (at, id) = text.split_once(':')?;
            Some(Self(Timestamp::from_micros(at.parse().ok()?), id.parse().ok()?))
        };
        parse().ok_or(page::PageTokenError::Unreadable)
    }
}

impl UseCase for CreateInvitation {
    type Out = Invited;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Invited>, Error> {
        let account = write.call.account()?;
        let policy = write.app.policy();
        let granted = access::invite(account, policy.members_may_invite)?;
        let now = write.call.now;
        account_store::lock_account(write.tx, account.id).await?;
        let open = account_store::open_invitations(write.tx, account.id, now).await?;
        if i64::try_from(open).unwrap_or(i64::MAX) >= limits::INVITATIONS_OPEN_MAX {
            return Err(Rule::TooManyInvitations(limits::INVITATIONS_OPEN_MAX).into());
        }
        let invitation = Invitation {
            id: InvitationId::from_uuid(write.new_uuid()?),
            kind: CodeKind::Invitation,
            created_by: Some(account.id),
            note: self.note.clone(),
            created_at: now,
            expires_at: now.plus_days(policy.invitation_days),
            used_at: None,
            revoked_at: None,
        };
        account_store::insert_invitation(write.tx, &granted, &invitation, secrets::hash_code(&self.code))
            .await?;
        let subject = invitation.id;
        let out = Invited { invitation, code: self.code.clone() };
        Ok(Done::new(out, "invitation.made", subject, serde_json::json!({})))
    }
}

/// Takes an invitation back.
pub struct RevokeInvitation {
    /// The invitation's id.
    pub id: InvitationId,
}

impl UseCase for RevokeInvitation {
    type Out = Invitation;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Invitation>, Error> {
        let account = write.call.account()?;
        let missing = || Error::not_found("invitation", self.id);
        let found = account_store::invitation(write.tx, self.id).await?.ok_or_else(missing)?;
        let granted = access::revoke_invitation(account, found.created_by).ok_or_else(missing)?;
        if !account_store::revoke_invitation(write.tx, granted, self.id, write.call.now).await? {
            return Err(Rule::InvitationSpent.into());
        }
        let out = Invitation { revoked_at: Some(write.call.now), ..found };
        Ok(Done::new(out, "invitation.revoked", self.id, serde_json::json!({})))
    }
}
