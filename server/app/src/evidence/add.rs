//! Entering evidence.

use scionary_domain::{
    evidence::entry::{self, Draft, Observed},
    field::FieldError,
    ids::{CultivarId, EvidenceId, SowingId},
    limits,
    sown::Sowing,
};
use scionary_store::{TwinKey, account_store, evidence_store, observer_store, sowing_store};

use super::{crop_of, open_record, pieces};
use crate::{Done, Error, Rule, UseCase, Write, registry};

/// Enters what a grower observed.
pub struct AddEvidence {
    /// The record: its id or its exact name.
    pub cultivar: String,
    /// The crop, where a name is given.
    pub crop: String,
    /// The sowing that it is the tally of; may be empty.
    pub sowing: String,
    /// What was observed.
    pub draft: Draft,
}

/// The caller's own open sowing of this record.
async fn own_sowing(
    write: &Write<'_>,
    text: &str,
    record: &registry::Record,
) -> Result<Option<Sowing>, Error> {
    if text.is_empty() {
        return Ok(None);
    }
    let id: SowingId = crate::App::id(text)?;
    let sowing = sowing_store::one(write.tx, id)
        .await?
        .filter(|s| write.call.actor.id() == Some(s.grower))
        .ok_or_else(|| Error::not_found("sowing", id))?;
    if !record.ids().any(|id: CultivarId| id == sowing.cultivar) {
        return Err(FieldError::new("sowing_id", "a sowing of this cultivar expected").into());
    }
    if sowing.closed.is_some() {
        return Err(Rule::SowingClosed.into());
    }
    Ok(Some(sowing))
}

/// A draft as the tally of a sowing: its tree and its number of seeds need not be said again.
fn as_tally(draft: &Draft, sowing: &Sowing) -> Result<Draft, Error> {
    let mut draft = draft.clone();
    if draft.tree.trim().is_empty() {
        draft.tree.clone_from(&sowing.tree);
    }
    for (at, observed) in draft.observed.iter_mut().enumerate() {
        if let Observed::Sowing(tally) = observed {
            let sown = *tally.sown.get_or_insert(sowing.seeds);
            if sown > sowing.seeds {
                return Err(FieldError::new(
                    format!("observed[{at}].sowing.sown"),
                    format!("at most the {} seeds of this sowing expected, {sown} found", sowing.seeds),
                )
                .into());
            }
        }
    }
    Ok(draft)
}

impl UseCase for AddEvidence {
    type Out = Vec<EvidenceId>;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Vec<EvidenceId>>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let registry = write.app.registry();
        let record = registry.resolve("cultivar", &self.cultivar, &self.crop)?;
        open_record(record)?;
        let sowing = own_sowing(write, &self.sowing, record).await?;
        let draft = match &sowing {
            Some(sowing) => as_tally(&self.draft, sowing)?,
            None => self.draft.clone(),
        };
        let checked = entry::check(&draft, crop_of(&registry, record)?, now.date())?;
        // what is counted for an account is counted by one call at a time
        account_store::lock_account(write.tx, account.id).await?;
        let entered = evidence_store::entered_since(write.tx, account.id, now.plus_days(-1)).await?;
        if i64::try_from(entered).unwrap_or(i64::MAX) >= limits::EVIDENCE_DAILY_MAX {
            return Err(Rule::TooMuchEvidence(limits::EVIDENCE_DAILY_MAX).into());
        }
        let by = observer_store::one(write.tx, account.id)
            .await?
            .unwrap_or_else(|| scionary_domain::evidence::Observer::new(account.id));
        let pieces = pieces(write, by, record, &checked, sowing.map(|s| s.id))?;
        let ids: Vec<CultivarId> = record.ids().collect();
        let twins = evidence_store::twins(write.tx, account.id, &ids).await?;
        // one number that is the same is chance; all of them are a slip
        let keys = pieces.iter().map(TwinKey::of).collect::<Result<Vec<_>, _>>()?;
        if let Some(twin) = keys.first().and_then(|k| twins.get(k))
            && keys.iter().all(|k| twins.contains_key(k))
        {
            return Err(FieldError::new(
                "observed",
                format!(
                    "you entered the same already ({twin}): correct that one, or say what differs, such as the day or the tree"
                ),
            )
            .into());
        }
        evidence_store::insert(write.tx, &pieces, now).await?;
        let id = record.cultivar.id;
        let change = serde_json::json!({
            "record": id.to_string(),
            "pieces": pieces.iter().map(|p| p.id.to_string()).collect::<Vec<_>>(),
        });
        Ok(Done::new(pieces.iter().map(|p| p.id).collect(), "evidence.added", id, change)
            .and_publish(registry::TOPIC, id))
    }
}
