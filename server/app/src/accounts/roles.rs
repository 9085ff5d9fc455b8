//! Giving and taking roles.

use scionary_domain::{
    access,
    account::{Account, Role},
    field::FieldError,
    ids::RoleGrantId,
};
use scionary_store::{account_store, record_store};

use crate::{Done, Error, Rule, UseCase, Write};

/// Give or take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RoleChange {
    /// Give.
    Grant,
    /// Take.
    Revoke,
}

/// Gives or takes a role.
pub struct ChangeRole {
    /// Whose.
    pub handle: String,
    /// Which.
    pub role: Role,
    /// Give or take.
    pub change: RoleChange,
}

impl UseCase for ChangeRole {
    type Out = Account;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Account>, Error> {
        let granted = access::change_roles(write.call.account()?)?;
        match &self.role {
            Role::Grower => {
                return Err(FieldError::new(
                    "role",
                    "curator, organiser or steward expected; every account is a grower",
                )
                .into());
            }
            Role::Curator { crop } => {
                let registry = write.app.registry();
                if registry.crop(crop).is_none() {
                    return Err(FieldError::new("crop", registry.crop_expected(crop)).into());
                }
            }
            Role::Organiser | Role::Steward => {}
        }
        let now = write.call.now;
        // one row that every change of roles writes: changes of roles wait for each other on PostgreSQL too
        record_store::set_setting(write.tx, "roles.changed_at", &now.to_string(), now).await?;
        let missing = || Error::not_found("account", &self.handle);
        let key = self.handle.trim().to_ascii_lowercase();
        let (account, _) = account_store::account_to_sign_in(write.tx, &key).await?.ok_or_else(missing)?;
        match self.change {
            RoleChange::Grant => {
                let id = RoleGrantId::from_uuid(write.new_uuid()?);
                account_store::grant_role(write.tx, &granted, id, account.id, &self.role, now)
                    .await
                    .map_err(|e| e.if_exists(Error::from(Rule::RoleHeld(account.handle.clone()))))?;
            }
            RoleChange::Revoke => {
                if !account_store::revoke_role(write.tx, &granted, account.id, &self.role, now).await? {
                    return Err(Rule::RoleNotHeld(account.handle).into());
                }
                // counted after the change: two who resign at once cannot both pass
                if self.role == Role::Steward && account_store::holders(write.tx, &Role::Steward).await? == 0
                {
                    return Err(Rule::LastSteward.into());
                }
            }
        }
        let account = account_store::account(write.tx, account.id).await?.ok_or_else(missing)?;
        let (subject, action) = (
            account.id,
            match self.change {
                RoleChange::Grant => "role.granted",
                RoleChange::Revoke => "role.revoked",
            },
        );
        let change = serde_json::json!({ "role": self.role.word(), "scope": self.role.scope() });
        Ok(Done::new(account, action, subject, change))
    }
}
