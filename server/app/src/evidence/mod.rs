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
pub use import::{ImportMode, ImportPlace, ImportRow, ImportState, Imported, RowError};
pub use read::{GrowerRecord, ListedEvidence, ShownEvidence};
pub use sowing::{CloseSowing, RecordSowing, ShownSowing};
pub(crate) use weigh::Agreements;

use std::collections::HashSet;

use scionary_domain::{
    crop::Crop,
    evidence::{Evidence, Observation, Observer, entry::Checked, voice::citation_key},
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

/// What all pieces of one draft have in common.
struct Together<'a> {
    by: Observer,
    record: &'a Record,
    checked: &'a Checked,
    report: ReportId,
    sowing: Option<SowingId>,
    source: String,
    at: Timestamp,
}

impl Together<'_> {
    /// The pieces, each under a fresh id.
    fn pieces(&self, mut fresh: impl FnMut() -> Result<uuid::Uuid, Error>) -> Result<Vec<Evidence>, Error> {
        let Self { by, record, checked, report, sowing, source, at } = self;
        checked
            .entries
            .iter()
            .map(|entry| {
                Ok(Evidence {
                    id: EvidenceId::from_uuid(fresh()?),
                    crop: record.cultivar.crop.clone(),
                    cultivar: Some(record.cultivar.id),
                    subject: String::new(),
                    named_as: checked.named_as.clone(),
                    descriptor: entry.descriptor.clone(),
                    value: entry.value.clone(),
                    place: checked.place_text.clone(),
                    source: source.clone(),
                    as_stated: entry.as_stated.clone(),
                    note: checked.note.clone(),
                    observed: Some(Box::new(Observation {
                        by: *by,
                        kind: entry.kind,
                        report: *report,
                        sowing: *sowing,
                        day: checked.day,
                        place: checked.place.clone(),
                        tree: checked.tree.clone(),
                        method: checked.method,
                        citation: checked.citation.clone(),
                        at: *at,
                        checks: Vec::new(),
                    })),
                })
            })
            .collect()
    }
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
    let source = write.app.registry().source_cited(&checked.citation);
    Together { by, record, checked, report, sowing, source, at: write.call.now }.pieces(|| write.new_uuid())
}

impl crate::registry::Registry {
    /// The source on file that a citation names, by its key, its words or its DOI; that of growers if none does.
    fn source_cited(&self, citation: &str) -> String {
        if citation.is_empty() {
            return GROWER.into();
        }
        let wanted = citation_key(citation);
        self.sources()
            .find(|s| s.id.eq_ignore_ascii_case(citation.trim()) || citation_key(&s.citation) == wanted)
            .map_or_else(|| GROWER.into(), |s| s.id.clone())
    }
}

/// The keys of pieces, where none stands twice among them.
fn twin_keys(pieces: &[Evidence]) -> Result<HashSet<TwinKey>, Error> {
    pieces.iter().map(|p| TwinKey::of(p).map_err(Error::from)).collect()
}
