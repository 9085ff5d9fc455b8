//! Raising an alert on a lot that one holds.

use scionary_domain::{
    ids::AlertId,
    limits,
    lineage::{Alert, AlertDraft, AlertState, check_alert},
};
use scionary_store::{account_store, alert_store};

use super::{ShownAlert, TOPIC};
use crate::{Done, Error, Rule, UseCase, Write, lots};

/// Raises an alert.
pub struct RaiseAlert {
    /// On which lot: a code or an id.
    pub lot: String,
    /// What is the matter.
    pub draft: AlertDraft,
}

impl UseCase for RaiseAlert {
    type Out = ShownAlert;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownAlert>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let (lot, _) = lots::own(write, "lot", &self.lot).await?;
        let checked = check_alert(&self.draft, now.date())?;
        account_store::lock_account(write.tx, account.id).await?;
        let open = alert_store::count_open(write.tx, account.id).await?;
        if i64::try_from(open).unwrap_or(i64::MAX) >= limits::ALERTS_OPEN_MAX {
            return Err(Rule::TooManyAlerts(limits::ALERTS_OPEN_MAX).into());
        }
        let alert = Alert {
            id: AlertId::from_uuid(write.new_uuid()?),
            lot: lot.id,
            crop: lot.crop,
            kind: checked.kind,
            part: checked.part,
            raised_by: account.id,
            words: checked.words,
            pest: checked.pest,
            carriers: checked.carriers,
            since: checked.since,
            seen_on: checked.seen_on,
            trace_back: checked.trace_back,
            state: AlertState::Raised,
            ruling: String::new(),
            lifted_why: String::new(),
            version: 1,
            created_at: now,
        };
        alert_store::insert(write.tx, &alert).await?;
        let starts = lots::starts_of(write.tx, &alert).await?;
        alert_store::set_starts(write.tx, alert.id, &starts).await?;
        let id = alert.id;
        let change = serde_json::json!({ "lot": alert.lot.to_string(), "kind": alert.kind.word() });
        let out = ShownAlert::new(write.tx, write.call, alert).await?;
        Ok(Done::new(out, "alert.raised", id, change).and_publish(TOPIC, id))
    }
}
