//! Correcting and withdrawing one's own evidence. What was entered ends; it is never changed or deleted.

use scionary_domain::{
    access,
    evidence::{
        Evidence,
        entry::{self, Draft},
    },
    field::{FieldError, Fields},
    ids::EvidenceId,
    limits,
};
use scionary_store::{Event, Stored, account_store, curation_store, evidence_store};

use super::{crop_of, open_record, pieces};
use crate::{Done, Error, Rule, UseCase, Write, registry};

/// Puts other statements in place of a piece, and of those entered with it on the same descriptors.
pub struct CorrectEvidence {
    /// Which.
    pub id: EvidenceId,
    /// What was observed in truth.
    pub draft: Draft,
    /// Why.
    pub reason: String,
}

/// Takes a piece back, or all that were entered with it.
pub struct WithdrawEvidence {
    /// Which.
    pub id: EvidenceId,
    /// And all that were entered together with it.
    pub whole_report: bool,
    /// Why.
    pub reason: String,
}

pub(super) fn reason(text: &str) -> Result<String, Error> {
    let mut fields = Fields::new();
    let reason = fields.text("reason", text, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
    Ok(fields.finish(reason)?)
}

/// The caller's own current piece, and the current ones entered with it.
async fn own(
    write: &Write<'_>,
    id: EvidenceId,
) -> Result<(access::Granted<access::EditEvidence>, Evidence, Vec<Evidence>), Error> {
    let account = write.call.account()?;
    let missing = || Error::not_found("evidence", id);
    let Stored { evidence, ended } = evidence_store::piece(write.tx, id).await?.ok_or_else(missing)?;
    let observed = evidence.observed.as_ref().ok_or(Rule::CatalogueEvidence)?;
    let granted = access::edit_evidence(account, observed.by.account)?;
    if let Some((_, why, successor)) = ended {
        let next = successor.map(|s| format!("; in its place stands {s}")).unwrap_or_default();
        return Err(Rule::EvidenceEnded(why, next).into());
    }
    let together = evidence_store::of_report(write.tx, account.id, observed.report).await?;
    Ok((granted, evidence, together))
}

fn account_of(write: &Write<'_>) -> Result<scionary_domain::ids::AccountId, Error> {
    write.call.account_id()
}

async fn tell(
    write: &Write<'_>,
    piece: &Evidence,
    action: &str,
    why: &str,
    detail: String,
) -> Result<(), Error> {
    let event = Event {
        seq: 0,
        cultivar: piece.cultivar,
        crop: piece.crop.clone(),
        at: write.call.now,
        by: write.call.actor.id(),
        action: action.into(),
        subject: piece.id.to_string(),
        why: why.into(),
        detail,
        version: None,
    };
    Ok(curation_store::tell(write.tx, &event).await?)
}

impl UseCase for CorrectEvidence {
    type Out = Vec<Evidence>;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Vec<Evidence>>, Error> {
        let now = write.call.now;
        let why = reason(&self.reason)?;
        let (granted, piece, together) = own(write, self.id).await?;
        let registry = write.app.registry();
        let record = piece
            .cultivar
            .and_then(|id| registry.record(id))
            .ok_or_else(|| Error::Internal("a piece without its record".into()))?;
        open_record(record)?;
        let checked = entry::check(&self.draft, crop_of(&registry, record)?, now.date())?;
        if !checked.entries.iter().any(|e| e.descriptor == piece.descriptor) {
            return Err(FieldError::new(
                "observed",
                format!("a statement on {} expected, as that is what is corrected", piece.descriptor),
            )
            .into());
        }
        let observed = piece.observed.as_ref().ok_or(Rule::CatalogueEvidence)?;
        let fresh = pieces(write, observed.by, record, &checked, observed.sowing)?;
        // a piece that says the same again would only shake off what others said of it
        let same = fresh
            .iter()
            .all(|new| together.iter().any(|old| old.descriptor == new.descriptor && old.value == new.value));
        if same {
            return Err(FieldError::new("observed", "something other than what stands there expected").into());
        }
        account_store::lock_account(write.tx, account_of(write)?).await?;
        let entered = evidence_store::entered_since(write.tx, account_of(write)?, now.plus_days(-1)).await?;
        if i64::try_from(entered).unwrap_or(i64::MAX) >= limits::EVIDENCE_DAILY_MAX {
            return Err(Rule::TooMuchEvidence(limits::EVIDENCE_DAILY_MAX).into());
        }
        evidence_store::insert(write.tx, &fresh, now).await?;
        for old in &together {
            let Some(new) = fresh.iter().find(|f| f.descriptor == old.descriptor) else { continue };
            if !evidence_store::end(write.tx, &granted, old.id, "corrected", Some(new.id), now).await? {
                return Err(Rule::EvidenceEnded("corrected".into(), String::new()).into());
            }
            let detail = format!("{}: {} became {}", old.descriptor, old.as_stated, new.as_stated);
            tell(write, old, "evidence corrected", &why, detail).await?;
        }
        let id = record.cultivar.id;
        let change = serde_json::json!({ "corrected": self.id.to_string(), "record": id.to_string() });
        Ok(Done::new(fresh, "evidence.corrected", self.id, change).and_publish(registry::TOPIC, id))
    }
}

impl UseCase for WithdrawEvidence {
    type Out = Vec<EvidenceId>;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Vec<EvidenceId>>, Error> {
        let now = write.call.now;
        let why = reason(&self.reason)?;
        let (granted, piece, together) = own(write, self.id).await?;
        let ending: Vec<&Evidence> =
            together.iter().filter(|e| self.whole_report || e.id == piece.id).collect();
        for old in &ending {
            if !evidence_store::end(write.tx, &granted, old.id, "withdrawn", None, now).await? {
                return Err(Rule::EvidenceEnded("withdrawn".into(), String::new()).into());
            }
            let detail = format!("{}: {}", old.descriptor, old.as_stated);
            tell(write, old, "evidence withdrawn", &why, detail).await?;
        }
        let ids: Vec<EvidenceId> = ending.iter().map(|e| e.id).collect();
        let change =
            serde_json::json!({ "withdrawn": ids.iter().map(ToString::to_string).collect::<Vec<_>>() });
        let mut done = Done::new(ids, "evidence.withdrawn", self.id, change);
        if let Some(record) = piece.cultivar {
            done = done.and_publish(registry::TOPIC, record);
        }
        Ok(done)
    }
}
