//! Inviting.

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
        let size = page::page_size(page_size)?;
        let search = format!("invitations {account}");
        let before = match page::key(&search, token)? {
            None => None,
            Some(key) => Some(read_key(&key).ok_or(page::PageTokenError::Unreadable)?),
        };
        let limit = u64::try_from(size + 1).unwrap_or(u64::MAX);
        let mut rows = account_store::invitations_by(self.store().reader(), account, before, limit).await?;
        let more = rows.len() > size;
        rows.truncate(size);
        let next = rows
            .last()
            .filter(|_| more)
            .map(|last| page::token(&search, &format!("{}:{}", last.created_at.micros(), last.id)));
        Ok(page::Page { rows, next })
    }
}

fn read_key(key: &str) -> Option<(Timestamp, InvitationId)> {
    let (micros, id) = key.split_once(':')?;
    Some((Timestamp::from_micros(micros.parse().ok()?), id.parse().ok()?))
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
    /// Which.
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
