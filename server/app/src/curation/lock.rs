//! Locking a record: no evidence and no proposals until it is unlocked.

use scionary_domain::{access, field::FieldError, ids::CultivarId};
use scionary_store::{Event, curation_store};

use crate::{Done, Error, Rule, UseCase, Write, registry};

/// Locks or unlocks a record.
pub struct LockRecord {
    /// The record: its id or its exact name.
    pub cultivar: String,
    /// The crop, where a name is given.
    pub crop: String,
    /// Lock it, or unlock it.
    pub lock: bool,
    /// Why.
    pub reason: String,
}

impl UseCase for LockRecord {
    type Out = CultivarId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<CultivarId>, Error> {
        let account = write.call.account()?;
        let registry = write.app.registry();
        let record = registry.resolve("cultivar", &self.cultivar, &self.crop)?;
        let granted = access::lock_record(account, &record.cultivar.crop)?;
        let mut fields = scionary_domain::field::Fields::new();
        let reason = fields.text(
            "reason",
            &self.reason,
            scionary_domain::limits::REASON_CHARS_MIN,
            scionary_domain::limits::REASON_CHARS_MAX,
        );
        let reason = fields.finish(reason).map_err(|wrong: Vec<FieldError>| Error::Invalid(wrong))?;
        let id = record.cultivar.id;
        if !curation_store::set_locked(write.tx, &granted, id, self.lock.then_some(reason.as_str())).await? {
            return Err(if self.lock { Rule::LockedAlready } else { Rule::NotLocked }.into());
        }
        let action = if self.lock { "locked" } else { "unlocked" };
        let event = Event {
            seq: 0,
            cultivar: Some(id),
            crop: record.cultivar.crop.clone(),
            at: write.call.now,
            by: Some(account.id),
            action: action.into(),
            subject: id.to_string(),
            why: reason,
            detail: String::new(),
            version: None,
        };
        curation_store::tell(write.tx, &event).await?;
        let done = Done::new(
            id,
            if self.lock { "record.locked" } else { "record.unlocked" },
            id,
            serde_json::json!({}),
        );
        Ok(done.and_publish(registry::TOPIC, id))
    }
}
