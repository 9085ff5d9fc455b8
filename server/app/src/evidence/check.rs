//! Checks: another grower bears a piece out, or doubts it, with a reason.

use scionary_domain::{
    access,
    evidence::{Check, Evidence, Observer, Verdict},
    ids::{CheckId, EvidenceId},
    limits,
};
use scionary_store::{account_store, evidence_store, observer_store};

use super::{correct::reason, open_record};
use crate::{Done, Error, Rule, UseCase, Write, registry};

/// Checks a piece; an earlier check of the same grower on it is replaced.
pub struct CheckEvidence {
    /// The evidence's id.
    pub id: EvidenceId,
    /// The verdict.
    pub verdict: Verdict,
    /// Why.
    pub reason: String,
}

/// Takes one's check back.
pub struct WithdrawCheck {
    /// Of which piece.
    pub id: EvidenceId,
}

/// A current piece of a grower.
async fn current(write: &Write<'_>, id: EvidenceId) -> Result<Evidence, Error> {
    let stored =
        evidence_store::piece(write.tx, id).await?.ok_or_else(|| Error::not_found("evidence", id))?;
    if let Some((_, why, successor)) = stored.ended {
        let next = successor.map(|s| format!("; in its place stands {s}")).unwrap_or_default();
        return Err(Rule::EvidenceEnded(why, next).into());
    }
    Ok(stored.evidence)
}

impl UseCase for CheckEvidence {
    type Out = EvidenceId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<EvidenceId>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let why = reason(&self.reason)?;
        let piece = current(write, self.id).await?;
        let author = piece.observed.as_ref().ok_or(Rule::CatalogueEvidence)?.by.account;
        let granted = access::check_evidence(account, author)?;
        let registry = write.app.registry();
        if let Some(record) = piece.cultivar.and_then(|id| registry.record(id)) {
            open_record(record)?;
        }
        account_store::lock_account(write.tx, account.id).await?;
        let made = evidence_store::checked_since(write.tx, account.id, now.plus_days(-1)).await?;
        if i64::try_from(made).unwrap_or(i64::MAX) >= limits::CHECKS_DAILY_MAX {
            return Err(Rule::TooManyChecks(limits::CHECKS_DAILY_MAX).into());
        }
        let by =
            observer_store::one(write.tx, account.id).await?.unwrap_or_else(|| Observer::new(account.id));
        let check = Check {
            id: CheckId::from_uuid(write.new_uuid()?),
            by,
            verdict: self.verdict,
            reason: why,
            at: now,
        };
        evidence_store::put_check(write.tx, &granted, self.id, &check)
            .await
            .map_err(|e| e.if_exists(Error::Store(scionary_store::StoreError::Collision)))?;
        let change = serde_json::json!({ "verdict": self.verdict });
        let record = piece.cultivar;
        let mut done = Done::new(self.id, "evidence.checked", self.id, change);
        if let Some(record) = record {
            done = done.and_publish(registry::TOPIC, record);
        }
        Ok(done)
    }
}

impl UseCase for WithdrawCheck {
    type Out = EvidenceId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<EvidenceId>, Error> {
        let account = write.call.account()?;
        let piece = current(write, self.id).await?;
        if !evidence_store::end_check(write.tx, self.id, account.id, write.call.now).await? {
            return Err(Rule::NoCheck.into());
        }
        let record = piece.cultivar;
        let mut done = Done::new(self.id, "evidence.check_withdrawn", self.id, serde_json::json!({}));
        if let Some(record) = record {
            done = done.and_publish(registry::TOPIC, record);
        }
        Ok(done)
    }
}
