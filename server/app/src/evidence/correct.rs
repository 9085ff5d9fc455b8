//! Correcting and withdrawing one's own evidence. What was entered ends; it is never changed or deleted.

use scionary_domain::{
    access,
    crop::Crop,
    evidence::{
        Evidence, Kind, Method, Observation,
        entry::{self, Checked, Draft, Observed},
    },
    field::{FieldError, Fields},
    ids::EvidenceId,
    limits,
    time::Date,
};
use scionary_store::{Event, Stored, account_store, curation_store, evidence_store};

use super::{crop_of, open_record, pieces};
use crate::{Done, Error, Rule, UseCase, Write, registry};

/// Puts other statements in place of a piece, and of those entered with it on the same descriptors.
pub struct CorrectEvidence {
    /// The evidence's id.
    pub id: EvidenceId,
    /// What was observed in truth.
    pub draft: Draft,
    /// Why.
    pub reason: String,
}

/// Takes a piece back, or all that were entered with it.
pub struct WithdrawEvidence {
    /// The evidence's id.
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
    let mut together = evidence_store::of_report(write.tx, account.id, observed.report).await?;
    // pieces of one instant have no order of their own: the crop's
    if let Some(crop) = write.app.registry().crop(&evidence.crop) {
        together.sort_by_key(|piece| crop.descriptors.iter().position(|d| d.key == piece.descriptor));
    }
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

impl CorrectEvidence {
    /// The correction over what stands there: what it does not mention stays.
    fn over(
        &self,
        piece: &Evidence,
        observed: &Observation,
        together: &[Evidence],
        crop: &Crop,
        today: Date,
    ) -> Result<Checked, Error> {
        let mut draft = self.draft.clone();
        let keep = |to: &mut String, from: &str| {
            if to.trim().is_empty() {
                *to = from.to_string();
            }
        };
        keep(&mut draft.tree, &observed.tree);
        keep(&mut draft.note, &piece.note);
        keep(&mut draft.named_as, &piece.named_as);
        keep(&mut draft.citation, &observed.citation);
        draft.day = draft.day.or(observed.day);
        draft.published |= observed.kind == Kind::Publication;
        if draft.method == Method::NotSaid {
            draft.method = observed.method;
        }
        let no_place =
            draft.grid_code.is_empty() && draft.area_code.is_empty() && draft.place_label.is_empty();
        let as_before = draft.observed.is_empty();
        if as_before {
            // only the day, the tree or the like was wrong: a stand-in that is checked and then replaced
            draft.observed.push(Observed::Sighting {
                descriptor: String::new(),
                first: Some(today),
                last: None,
            });
        }
        let checked = entry::check(&draft, crop, today);
        let mut checked = match checked {
            Ok(checked) => checked,
            Err(wrong) => {
                return Err(wrong
                    .into_iter()
                    .filter(|w| !(as_before && w.field.starts_with("observed")))
                    .collect::<Vec<_>>()
                    .into());
            }
        };
        if as_before {
            checked.entries = together
                .iter()
                .map(|old| entry::Entry {
                    descriptor: old.descriptor.clone(),
                    value: old.value.clone(),
                    kind: old.observed.as_ref().map_or(Kind::Statement, |o| o.kind),
                    as_stated: old.as_stated.clone(),
                })
                .collect();
        }
        if no_place {
            checked.place.clone_from(&observed.place);
            checked.place_text.clone_from(&piece.place);
        }
        Ok(checked)
    }
}

impl UseCase for CorrectEvidence {
    type Out = Vec<EvidenceId>;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Vec<EvidenceId>>, Error> {
        let now = write.call.now;
        let why = reason(&self.reason)?;
        let (granted, piece, together) = own(write, self.id).await?;
        let registry = write.app.registry();
        let record = piece
            .cultivar
            .and_then(|id| registry.record(id))
            .ok_or_else(|| Error::Internal("a piece without its record".into()))?;
        open_record(record)?;
        let observed = piece.observed.as_ref().ok_or(Rule::CatalogueEvidence)?;
        let checked = self.over(&piece, observed, &together, crop_of(&registry, record)?, now.date())?;
        if !checked.entries.iter().any(|e| e.descriptor == piece.descriptor) {
            return Err(FieldError::new(
                "observed",
                format!(
                    "{} expected again, as that is what is corrected; to say something else, withdraw it and enter the other",
                    piece.descriptor
                ),
            )
            .into());
        }
        let fresh = pieces(write, observed.by, record, &checked, observed.sowing)?;
        // a piece that says the same again would only shake off what others said of it
        let says = |piece: &Evidence| {
            let o = piece.observed.as_deref();
            (
                piece.descriptor.clone(),
                piece.value.clone(),
                piece.note.clone(),
                piece.named_as.clone(),
                o.map(|o| (o.day, o.tree.clone(), o.place.clone(), o.method, o.citation.clone())),
            )
        };
        let same = fresh.iter().all(|new| together.iter().any(|old| says(old) == says(new)));
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
            if !evidence_store::end(
                write.tx,
                &granted,
                old.id,
                &format!("corrected: {why}"),
                Some(new.id),
                now,
            )
            .await?
            {
                return Err(Rule::EvidenceEnded("corrected".into(), String::new()).into());
            }
            let detail = format!("{}: {} became {}", old.descriptor, old.as_stated, new.as_stated);
            tell(write, old, "evidence corrected", &why, detail).await?;
        }
        let id = record.cultivar.id;
        let change = serde_json::json!({ "corrected": self.id.to_string(), "record": id.to_string() });
        Ok(Done::new(fresh.iter().map(|p| p.id).collect(), "evidence.corrected", self.id, change)
            .and_publish(registry::TOPIC, id))
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
            if !evidence_store::end(write.tx, &granted, old.id, &format!("withdrawn: {why}"), None, now)
                .await?
            {
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
