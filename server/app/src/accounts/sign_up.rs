//! Making an account.

use scionary_domain::{
    access::Granted,
    account::{Account, CodeKind, Handle, Invitation, InvitationState, Role, SignUpMode},
    field::Fields,
    ids::{AccountId, InvitationId, RoleGrantId},
    limits,
};
use scionary_store::{NewAccount, account_store, observer_store};

use crate::{App, Done, Error, Rule, UseCase, Write, ports::new_uuid, secrets};

/// A checked request for an account, its password hashed.
pub struct SignUp {
    handle: Handle,
    display_name: String,
    password_hash: String,
    code: Option<String>,
}

impl App {
    /// Checks a request for an account and hashes its password.
    ///
    /// # Errors
    /// All wrong fields; a server that takes no one.
    pub async fn prepare_sign_up(
        &self,
        handle: &str,
        display_name: &str,
        password: &str,
        code: &str,
    ) -> Result<SignUp, Error> {
        let code = (!code.trim().is_empty()).then(|| code.to_string());
        if code.is_none() {
            match self.policy().sign_up {
                SignUpMode::Open => {}
                SignUpMode::Invitation => return Err(Rule::CodeNeeded.into()),
                SignUpMode::Closed => return Err(Rule::SignUpClosed.into()),
            }
        }
        let mut fields = Fields::new();
        let shown = if display_name.trim().is_empty() { handle } else { display_name };
        let parsed = fields.take("handle", Handle::parse(handle));
        let named = fields.line("display_name", shown, 1, limits::DISPLAY_NAME_CHARS_MAX);
        let own = vec![handle.to_string(), shown.to_string()];
        let judged = self.passwords().judge(password.to_string(), own).await?;
        let judged = fields.take("password", judged);
        let (handle, display_name, password) =
            fields.finish(parsed.zip(named).zip(judged).map(|((h, d), p)| (h, d, p)))?;
        let password_hash = self.passwords().hash(password).await?;
        Ok(SignUp { handle, display_name, password_hash, code })
    }

    /// Makes a one-time code for the first steward: for the server's own command line.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn first_steward_code(&self) -> Result<String, Error> {
        struct Make {
            code: String,
        }
        impl UseCase for Make {
            type Out = ();
            async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
                let now = write.call.now;
                let code = Invitation {
                    id: InvitationId::from_uuid(write.new_uuid()?),
                    kind: CodeKind::FirstSteward,
                    created_by: None,
                    note: "first steward".into(),
                    created_at: now,
                    expires_at: now.plus_days(1),
                    used_at: None,
                    revoked_at: None,
                };
                let granted = Granted::system("asked for on the server's own command line");
                account_store::insert_invitation(write.tx, &granted, &code, secrets::hash_code(&self.code))
                    .await?;
                Ok(Done::new((), "steward_code.made", code.id, serde_json::json!({})))
            }
        }
        let code = secrets::new_code(self.entropy())?;
        let call = self.system_call()?;
        self.write(&call, Make { code: code.clone() }, crate::KeepReply::Secret, |()| Vec::new()).await?;
        Ok(code)
    }
}

impl UseCase for SignUp {
    type Out = Account;

    async fn run(&self, write: &Write<'_>) -> Result<Done<Account>, Error> {
        let now = write.call.now;
        let code = match &self.code {
            Some(code) => Some(
                account_store::invitation_of(write.tx, &secrets::hash_code(code))
                    .await?
                    .filter(|found| found.state(now) == InvitationState::Open)
                    .ok_or(Rule::CodeNotValid)?,
            ),
            None => None,
        };
        let is_steward = code.as_ref().is_some_and(|c| c.kind == CodeKind::FirstSteward);
        if write.app.policy().sign_up == SignUpMode::Closed && !is_steward {
            return Err(Rule::SignUpClosed.into());
        }
        let id = AccountId::from_uuid(write.new_uuid()?);
        let new = NewAccount {
            id,
            handle: &self.handle,
            display_name: &self.display_name,
            password_hash: &self.password_hash,
            at: now,
        };
        account_store::insert_account(write.tx, &new)
            .await
            .map_err(|e| e.if_exists(Error::from(Rule::HandleTaken(self.handle.to_string()))))?;
        let mut roles = Vec::new();
        if let Some(code) = &code {
            if !account_store::use_invitation(write.tx, code.id, id, now).await? {
                return Err(Rule::CodeNotValid.into());
            }
            if is_steward {
                let granted = Granted::system("the first steward's code was made on the server");
                let grant = RoleGrantId::from_uuid(new_uuid(write.app.entropy(), now)?);
                account_store::grant_role(write.tx, &granted, grant, id, &Role::Steward, now).await?;
                roles.push(Role::Steward);
            }
        }
        let (group, vouched_by) = introduced_by(write, code.as_ref(), id, is_steward).await?;
        observer_store::insert(write.tx, id, group, vouched_by, now).await?;
        let account = Account {
            id,
            handle: self.handle.to_string(),
            display_name: self.display_name.clone(),
            roles,
            created_at: now,
            suspended_at: None,
        };
        let change = serde_json::json!({ "code": code.map(|c| c.id.to_string()), "steward": is_steward });
        Ok(Done::new(account, "account.made", id, change))
    }
}

/// The group of a new account, and who vouches for it. An organiser's or steward's guest stands alone; another
/// member's guest belongs to that member's group, and is vouched for if the member is. Who came without an
/// invitation waits until someone vouches.
async fn introduced_by(
    write: &Write<'_>,
    code: Option<&Invitation>,
    id: AccountId,
    is_steward: bool,
) -> Result<(AccountId, Option<AccountId>), Error> {
    if is_steward {
        return Ok((id, Some(id)));
    }
    let Some(inviter) = code.and_then(|c| c.created_by) else { return Ok((id, None)) };
    let host = account_store::account(write.tx, inviter).await?;
    if host.as_ref().is_some_and(|h| h.suspended_at.is_some()) {
        return Err(Rule::CodeNotValid.into());
    }
    if host.is_some_and(|h| h.is(&Role::Organiser) || h.is(&Role::Steward)) {
        return Ok((id, Some(inviter)));
    }
    Ok(match observer_store::one(write.tx, inviter).await? {
        Some(host) => (host.group, host.counts().then_some(inviter)),
        None => (id, None),
    })
}
