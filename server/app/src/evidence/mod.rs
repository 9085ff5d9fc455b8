//! Growers' evidence: entering, correcting, withdrawing, checking, importing; sowings; how evidence held up.

mod add;
mod check;
mod correct;
mod import;
mod read;
mod sowing;
mod weigh;

pub use add::AddEvidence;
pub use check::{CheckEvidence, WithdrawCheck};
pub use correct::{CorrectEvidence, WithdrawEvidence};
pub use import::{ImportMode, ImportRow, ImportState, Imported, RowError};
pub use read::{GrowerRecord, ShownEvidence};
pub use sowing::{CloseSowing, RecordSowing, ShownSowing};

use std::collections::HashSet;

use scionary_domain::{
    crop::Crop,
    evidence::{Evidence, Observation, Observer, entry::Checked},
    ids::{EvidenceId, ReportId, SowingId},
    time::Timestamp,
};
use scionary_store::{GROWER, TwinKey};

use crate::{Error, Rule, Write, registry::Record};

/// A record that takes evidence and proposals.
fn open_record(record: &Record) -> Result<(), Error> {
    match &record.cultivar.locked {
        Some(why) => Err(Rule::RecordLocked(record.cultivar.full_name(), why.clone()).into()),
        None => Ok(()),
    }
}

/// The crop of a record.
fn crop_of<'a>(registry: &'a crate::registry::Registry, record: &Record) -> Result<&'a Crop, Error> {
    registry
        .crop(&record.cultivar.crop)
        .ok_or_else(|| Error::Internal(format!("no crop {}", record.cultivar.crop)))
}

/// Pieces of a checked draft.
fn pieces(
    write: &Write<'_>,
    by: Observer,
    record: &Record,
    checked: &Checked,
    sowing: Option<SowingId>,
) -> Result<Vec<Evidence>, Error> {
    let report = ReportId::from_uuid(write.new_uuid()?);
    pieces_with(
        || Ok(EvidenceId::from_uuid(write.new_uuid()?)),
        report,
        by,
        record,
        checked,
        sowing,
        write.call.now,
    )
}

fn pieces_with(
    mut fresh: impl FnMut() -> Result<EvidenceId, Error>,
    report: ReportId,
    by: Observer,
    record: &Record,
    checked: &Checked,
    sowing: Option<SowingId>,
    now: Timestamp,
) -> Result<Vec<Evidence>, Error> {
    checked
        .entries
        .iter()
        .map(|entry| {
            Ok(Evidence {
                id: fresh()?,
                crop: record.cultivar.crop.clone(),
                cultivar: Some(record.cultivar.id),
                subject: String::new(),
                named_as: checked.named_as.clone(),
                descriptor: entry.descriptor.clone(),
                value: entry.value.clone(),
                place: checked.place_text.clone(),
                source: GROWER.into(),
                as_stated: entry.as_stated.clone(),
                note: checked.note.clone(),
                observed: Some(Box::new(Observation {
                    by,
                    kind: entry.kind,
                    report,
                    sowing,
                    day: checked.day,
                    place: checked.place.clone(),
                    tree: checked.tree.clone(),
                    method: checked.method,
                    citation: checked.citation.clone(),
                    at: now,
                    checks: Vec::new(),
                })),
            })
        })
        .collect()
}

/// The keys of pieces, where none stands twice among them.
fn twin_keys(pieces: &[Evidence]) -> Result<HashSet<TwinKey>, Error> {
    pieces.iter().map(|p| TwinKey::of(p).map_err(Error::from)).collect()
}
