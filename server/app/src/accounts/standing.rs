//! Vouching for people, suspending and restoring them.

use scionary_domain::{
    access,
    account::{Account, Role},
    field::Fields,
    limits,
};
use scionary_store::{account_store, evidence_store, observer_store, record_store};

use crate::{Done, Error, Rule, UseCase, Write, door, registry};

/// What to do with an account.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StandingChange {
    /// Say that it is a person one knows.
    Vouch,
    /// Take that back.
    Unvouch,
    /// It may do nothing for now.
    Suspend,
    /// It may again.
    Restore,
}

/// Changes how an account stands.
pub struct ChangeStanding {
    /// Whose.
    pub handle: String,
    /// What.
    pub change: StandingChange,
    /// Why.
    pub reason: String,
}

impl UseCase for ChangeStanding {
    type Out = Account;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Account>, Error> {
        let caller = write.call.account()?;
        let now = write.call.now;
        let mut fields = Fields::new();
        let least = match self.change {
            StandingChange::Suspend | StandingChange::Restore => limits::REASON_CHARS_MIN,
            StandingChange::Vouch | StandingChange::Unvouch => 0,
        };
        let reason = fields.text("reason", &self.reason, least, limits::REASON_CHARS_MAX);
        let missing = || Error::not_found("account", &self.handle);
        let key = self.handle.trim().to_ascii_lowercase();
        let found = account_store::account_to_sign_in(write.tx, &key).await?.map(|(account, _)| account);
        // who may not do it at all does not learn which handles there are
        let whose = found.as_ref().map_or_else(uuid::Uuid::nil, |a| a.id.uuid());
        let whose = scionary_domain::ids::AccountId::from_uuid(whose);
        let action = match self.change {
            StandingChange::Vouch => {
                let granted = access::vouch(caller, whose)?;
                let account = found.as_ref().ok_or_else(missing)?;
                if !observer_store::vouch(write.tx, &granted, account.id, now).await? {
                    return Err(Rule::VouchedAlready(account.handle.clone()).into());
                }
                "account.vouched_for"
            }
            StandingChange::Unvouch => {
                let granted = access::vouch(caller, whose)?;
                let account = found.as_ref().ok_or_else(missing)?;
                if !observer_store::unvouch(write.tx, &granted, account.id).await? {
                    return Err(Rule::NotVouched(account.handle.clone()).into());
                }
                "account.vouching_withdrawn"
            }
            StandingChange::Suspend | StandingChange::Restore => {
                let granted = access::suspend_account(caller, whose)?;
                let account = found.as_ref().ok_or_else(missing)?;
                let suspend = self.change == StandingChange::Suspend;
                let at = suspend.then_some(now);
                if !observer_store::set_suspended(write.tx, &granted, account.id, at).await? {
                    return Err(if suspend {
                        Rule::SuspendedAlready(account.handle.clone())
                    } else {
                        Rule::NotSuspended(account.handle.clone())
                    }
                    .into());
                }
                if suspend {
                    // for good: who is restored signs in again
                    account_store::end_sessions(write.tx, account.id, None, None, now).await?;
                    // counted after the change, and changes of stewards wait for each other on PostgreSQL too
                    record_store::set_setting(write.tx, "roles.changed_at", &now.to_string(), now).await?;
                    if account.is(&Role::Steward)
                        && account_store::holders(write.tx, &Role::Steward).await? == 0
                    {
                        return Err(Rule::LastSteward.into());
                    }
                    "account.suspended"
                } else {
                    "account.restored"
                }
            }
        };
        let reason = fields.finish(reason)?;
        let account = found.ok_or_else(missing)?;
        let records = evidence_store::records_of(write.tx, account.id).await?;
        let account = account_store::account(write.tx, account.id).await?.ok_or_else(missing)?;
        let id = account.id;
        let mut done = Done::new(account, action, id, serde_json::json!({ "reason": reason }));
        if self.change == StandingChange::Suspend {
            // watches of theirs look whether they may go on
            done = done.and_publish(door::NOTICE_TOPIC, id);
        }
        // their evidence and checks count otherwise from now on
        for record in records {
            done = done.and_publish(registry::TOPIC, record);
        }
        Ok(done)
    }
}
