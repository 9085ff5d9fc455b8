//! Evidence, checks, sowings, agreement and imports on the wire.

use scionary_app::{
    App, Error,
    evidence::{
        AddEvidence, CheckEvidence, CloseSowing, CorrectEvidence, GrowerRecord, ImportMode, ImportRow,
        Imported, RecordSowing, ShownEvidence, ShownSowing, WithdrawCheck, WithdrawEvidence,
    },
};
use scionary_domain::{
    agreement::{descriptor::Agreement, reading},
    evidence::{
        Method, Observation, Verdict,
        entry::{Draft, Observed},
        tally::{Seedlings, Sowing, Which},
        voice::weight_of,
    },
    field::FieldError,
    sown::{Due, Tally},
    time::Date,
};
use scionary_proto::v1;

use super::{account, count, date, read_date, registry, timestamp};

/// A method on the wire.
pub fn method(method: Method) -> v1::ObservationMethod {
    match method {
        Method::NotSaid => v1::ObservationMethod::Unspecified,
        Method::Eye => v1::ObservationMethod::Eye,
        Method::Fruit => v1::ObservationMethod::Fruit,
        Method::Marker => v1::ObservationMethod::Marker,
        Method::Instrument => v1::ObservationMethod::Instrument,
    }
}

fn read_method(wire: i32) -> Option<Method> {
    Some(match v1::ObservationMethod::try_from(wire).ok()? {
        v1::ObservationMethod::Unspecified => Method::NotSaid,
        v1::ObservationMethod::Eye => Method::Eye,
        v1::ObservationMethod::Fruit => Method::Fruit,
        v1::ObservationMethod::Marker => Method::Marker,
        v1::ObservationMethod::Instrument => Method::Instrument,
    })
}

/// Reads values and notes what is wrong with them.
struct Reader<'a> {
    path: String,
    wrong: &'a mut Vec<FieldError>,
}

impl Reader<'_> {
    fn say(&mut self, field: &str, expected: &str) {
        self.wrong.push(FieldError::new(format!("{}{field}", self.path), expected));
    }
    fn whole(&mut self, field: &str, n: i32) -> u32 {
        u32::try_from(n).unwrap_or_else(|_| {
            self.say(field, &format!("0 or more expected, {n} found"));
            0
        })
    }
    fn maybe(&mut self, field: &str, n: Option<i32>) -> Option<u32> {
        n.map(|n| self.whole(field, n))
    }
    fn date(&mut self, field: &str, day: Option<v1::CalendarDate>) -> Option<Date> {
        let path = format!("{}{field}", self.path);
        read_date(&path, day, self.wrong)
    }
}

fn thing(thing: v1::observed_thing::Thing, read: &mut Reader<'_>) -> Observed {
    use v1::observed_thing::Thing;
    match thing {
        Thing::Sowing(s) => Observed::Sowing(Sowing {
            sown: read.maybe("sowing.sown", s.sown),
            sprouted: read.maybe("sowing.sprouted", s.sprouted),
            one: read.maybe("sowing.one", s.one),
            two: read.maybe("sowing.two", s.two),
            more: read.maybe("sowing.more", s.more),
            several: read.maybe("sowing.several", s.several),
        }),
        Thing::Seedlings(s) => {
            let which = match s.which() {
                v1::JudgedSeedlings::AsTheyCame => Which::AsTheyCame,
                v1::JudgedSeedlings::AfterRoguing => Which::AfterRoguing,
                v1::JudgedSeedlings::Alone => Which::Alone,
                v1::JudgedSeedlings::OfSeveral => Which::OfSeveral,
                v1::JudgedSeedlings::Largest => Which::Largest,
                v1::JudgedSeedlings::Unspecified => {
                    read.say("seedlings.which", "which seedlings were judged expected");
                    Which::AsTheyCame
                }
            };
            Observed::Seedlings(Seedlings {
                which,
                judged: read.whole("seedlings.judged", s.judged),
                off_type: read.whole("seedlings.off_type", s.off_type),
            })
        }
        Thing::Count(c) => Observed::Count {
            counted: read.whole("count.counted", c.counted),
            of_these: read.whole("count.of_these", c.of_these),
            descriptor: c.descriptor_key,
        },
        Thing::Measure(m) => Observed::Measure {
            sample: read.whole("measure.sample", m.sample),
            descriptor: m.descriptor_key,
            value: m.value,
            unit: m.unit,
        },
        Thing::Rating(r) => Observed::Rating { descriptor: r.descriptor_key, state: r.state },
        Thing::Sighting(s) => Observed::Sighting {
            first: read.date("sighting.first_ripe", s.first_ripe),
            last: read.date("sighting.last_ripe", s.last_ripe),
            descriptor: s.descriptor_key,
        },
        Thing::Statement(s) => {
            Observed::Statement { descriptor: s.descriptor_key, state: s.state, text: s.text }
        }
    }
}

fn read_draft(wire: Option<v1::EvidenceDraft>, wrong: &mut Vec<FieldError>) -> Draft {
    let v1::EvidenceDraft { observed, day, place, tree, method, published, citation, named_as, note } =
        wire.unwrap_or_default();
    let v1::Place { area_code, grid_code, label } = place.unwrap_or_default();
    let day = read_date("day", day, wrong);
    let method = read_method(method).unwrap_or_else(|| {
        wrong.push(FieldError::new("method", "a method known to this server expected"));
        Method::NotSaid
    });
    let observed = observed
        .into_iter()
        .enumerate()
        .filter_map(|(at, o)| {
            let mut read = Reader { path: format!("observed[{at}]."), wrong };
            match o.thing {
                Some(inner) => Some(thing(inner, &mut read)),
                None => {
                    read.say("thing", "something observed expected");
                    None
                }
            }
        })
        .collect();
    Draft {
        observed,
        day,
        area_code,
        grid_code,
        place_label: label,
        tree,
        method,
        published,
        citation,
        named_as,
        note,
    }
}

fn finish<T>(value: T, wrong: Vec<FieldError>) -> Result<T, Error> {
    if wrong.is_empty() { Ok(value) } else { Err(wrong.into()) }
}

/// A request to enter evidence.
///
/// # Errors
/// What cannot be read.
pub fn add(wire: v1::CreateEvidenceRequest) -> Result<AddEvidence, Error> {
    let mut wrong = Vec::new();
    let draft = read_draft(wire.draft, &mut wrong);
    let add = AddEvidence { cultivar: wire.cultivar, crop: wire.crop, sowing: wire.sowing_id, draft };
    finish(add, wrong)
}

/// A request to correct evidence.
///
/// # Errors
/// What cannot be read.
pub fn correct(wire: v1::CorrectEvidenceRequest) -> Result<CorrectEvidence, Error> {
    let id = App::id(&wire.evidence_id)?;
    let mut wrong = Vec::new();
    let draft = read_draft(wire.draft, &mut wrong);
    finish(CorrectEvidence { id, draft, reason: wire.reason }, wrong)
}

/// A request to take evidence back.
///
/// # Errors
/// What cannot be read.
pub fn withdraw(wire: v1::WithdrawEvidenceRequest) -> Result<WithdrawEvidence, Error> {
    let id = App::id(&wire.evidence_id)?;
    Ok(WithdrawEvidence { id, whole_report: wire.whole_report, reason: wire.reason })
}

/// A request to check evidence.
///
/// # Errors
/// What cannot be read.
pub fn check(wire: &v1::CheckEvidenceRequest) -> Result<CheckEvidence, Error> {
    let id = App::id(&wire.evidence_id)?;
    let verdict = match wire.verdict() {
        v1::CheckVerdict::Agrees => Verdict::Agrees,
        v1::CheckVerdict::Doubts => Verdict::Doubts,
        v1::CheckVerdict::Unspecified => {
            return Err(FieldError::new("verdict", "say whether you agree, or doubt it").into());
        }
    };
    Ok(CheckEvidence { id, verdict, reason: wire.reason.clone() })
}

/// A request to take a check back.
///
/// # Errors
/// What cannot be read.
pub fn withdraw_check(wire: &v1::WithdrawCheckRequest) -> Result<WithdrawCheck, Error> {
    Ok(WithdrawCheck { id: App::id(&wire.evidence_id)? })
}

/// The mode of an import.
///
/// # Errors
/// What was expected.
pub fn import_mode(wire: i32) -> Result<ImportMode, Error> {
    match v1::ImportMode::try_from(wire) {
        Ok(v1::ImportMode::DryRun) => Ok(ImportMode::DryRun),
        Ok(v1::ImportMode::AllOrNothing) => Ok(ImportMode::AllOrNothing),
        Ok(v1::ImportMode::KeepGood) => Ok(ImportMode::KeepGood),
        Ok(v1::ImportMode::Unspecified) | Err(_) => {
            Err(FieldError::new("mode", "a dry run, all or nothing, or keep the good rows, expected").into())
        }
    }
}

/// A row of an import. What cannot be read is listed with its line.
///
/// # Errors
/// What cannot be read.
pub fn import_row(wire: v1::ImportRow) -> Result<ImportRow, v1::ImportRowError> {
    let mut wrong = Vec::new();
    let draft = read_draft(wire.draft, &mut wrong);
    match wrong.into_iter().next() {
        Some(FieldError { field, expected }) => Err(v1::ImportRowError { line: wire.line, field, expected }),
        None => Ok(ImportRow {
            line: u32::try_from(wire.line).unwrap_or(0),
            cultivar: wire.cultivar,
            crop: wire.crop,
            draft,
        }),
    }
}

/// How an import ended. `unread` are rows that could not be read at all.
pub fn imported(done: &Imported, unread: Vec<v1::ImportRowError>) -> v1::ImportEvidenceResponse {
    let mut errors: Vec<v1::ImportRowError> = done
        .errors
        .iter()
        .map(|e| v1::ImportRowError {
            line: i32::try_from(e.line).unwrap_or(i32::MAX),
            field: e.field.clone(),
            expected: e.expected.clone(),
        })
        .collect();
    let extra = count(unread.len());
    errors.extend(unread);
    errors.sort_by_key(|e| e.line);
    errors.truncate(scionary_domain::limits::IMPORT_ERRORS_MAX);
    v1::ImportEvidenceResponse {
        checked: count(done.rows) + extra,
        written: count(done.written),
        done: true,
        rows: count(done.rows) + extra,
        good: count(done.good),
        already: count(done.already),
        wrong: count(done.wrong) + extra,
        errors,
    }
}

/// What the observation adds to a piece on the wire.
pub(super) fn observed(wire: &mut v1::Evidence, observation: &Observation) {
    let verdicts = |verdict: Verdict| {
        let mut groups: Vec<_> = observation
            .checks
            .iter()
            .filter(|c| c.verdict == verdict && c.by.counts() && c.by.group != observation.by.group)
            .map(|c| c.by.group)
            .collect();
        groups.sort_unstable();
        groups.dedup();
        count(groups.len())
    };
    wire.author_account_id = observation.by.account.to_string();
    wire.day = observation.day.map(date);
    wire.tree.clone_from(&observation.tree);
    wire.method = method(observation.method).into();
    wire.citation.clone_from(&observation.citation);
    wire.agreed = verdicts(Verdict::Agrees);
    wire.doubted = verdicts(Verdict::Doubts);
    wire.report_id = observation.report.to_string();
}

/// A piece with all that is public about it.
pub fn detail(shown: &ShownEvidence) -> v1::EvidenceDetail {
    let piece = &shown.stored.evidence;
    let mut evidence = registry::evidence(piece, &shown.label, shown.weight.0, &shown.weight.1);
    let name = |id| shown.names.get(id).cloned().unwrap_or_default();
    let observation = piece.observed.as_deref();
    if let Some(observation) = observation {
        evidence.author_name = name(&observation.by.account);
    }
    let (ended_at, ended_why, replaced_by) = match &shown.stored.ended {
        Some((at, why, successor)) => {
            (Some(timestamp(*at)), why.clone(), successor.map(|s| s.to_string()).unwrap_or_default())
        }
        None => (None, String::new(), String::new()),
    };
    v1::EvidenceDetail {
        evidence: Some(evidence),
        cultivar_id: piece.cultivar.map(|id| id.to_string()).unwrap_or_default(),
        cultivar_name: shown.cultivar_name.clone(),
        crop: piece.crop.clone(),
        checks: observation
            .map(|o| {
                o.checks
                    .iter()
                    .map(|c| v1::EvidenceCheck {
                        check_id: c.id.to_string(),
                        account_id: c.by.account.to_string(),
                        name: name(&c.by.account),
                        verdict: match c.verdict {
                            Verdict::Agrees => v1::CheckVerdict::Agrees,
                            Verdict::Doubts => v1::CheckVerdict::Doubts,
                        }
                        .into(),
                        reason: c.reason.clone(),
                        created_at: Some(timestamp(c.at)),
                    })
                    .collect()
            })
            .unwrap_or_default(),
        ended_at,
        ended_why,
        replaced_by,
        created_at: observation.map(|o| timestamp(o.at)),
    }
}

/// A request to enter a sowing.
///
/// # Errors
/// What cannot be read.
pub fn create_sowing(wire: v1::CreateSowingRequest) -> Result<RecordSowing, Error> {
    let mut wrong = Vec::new();
    let day = read_date("day", wire.day, &mut wrong);
    let mut read = Reader { path: String::new(), wrong: &mut wrong };
    let seeds = read.whole("seeds", wire.seeds);
    let sowing = RecordSowing {
        cultivar: wire.cultivar,
        crop: wire.crop,
        day,
        seeds,
        tree: wire.tree,
        note: wire.note,
    };
    finish(sowing, wrong)
}

/// A request to close a sowing.
///
/// # Errors
/// What cannot be read.
pub fn close_sowing(wire: v1::CloseSowingRequest) -> Result<CloseSowing, Error> {
    Ok(CloseSowing { id: scionary_app::App::id(&wire.sowing_id)?, reason: wire.reason })
}

fn due(due: &Due, today: Date) -> v1::DueTally {
    v1::DueTally {
        tally: match due.tally {
            Tally::Sprouts => v1::SowingDue::Sprouts,
            Tally::Judged => v1::SowingDue::Judged,
            Tally::FirstFruit => v1::SowingDue::FirstFruit,
        }
        .into(),
        due_from: Some(date(due.from)),
        due: due.from <= today,
        text: due.text.clone(),
        origin: due.origin.clone(),
    }
}

/// A sowing.
pub fn sowing(shown: &ShownSowing, today: Date) -> v1::Sowing {
    let sowing = &shown.sowing;
    v1::Sowing {
        sowing_id: sowing.id.to_string(),
        cultivar_id: sowing.cultivar.to_string(),
        cultivar_name: shown.cultivar_name.clone(),
        crop: sowing.crop.clone(),
        day: Some(date(sowing.day)),
        seeds: i32::try_from(sowing.seeds).unwrap_or(i32::MAX),
        tree: sowing.tree.clone(),
        note: sowing.note.clone(),
        open_tallies: shown.open.iter().map(|d| due(d, today)).collect(),
        closed_at: sowing.closed.as_ref().map(|(at, _)| timestamp(*at)),
        closed_why: sowing.closed.as_ref().map(|(_, why)| why.clone()).unwrap_or_default(),
    }
}

/// Agreement on a descriptor.
pub fn agreement(agreement: &Agreement) -> v1::DescriptorAgreement {
    let alpha = agreement.alpha;
    v1::DescriptorAgreement {
        descriptor_key: agreement.descriptor.clone(),
        label: agreement.label.clone(),
        alpha: alpha.map(|a| a.value),
        interval: alpha.and_then(|a| a.interval).map(|(low, high)| v1::ShareRange { low, high }),
        metric: agreement.metric.into(),
        records: alpha.map_or(0, |a| count(a.units)),
        values: alpha.map_or(0, |a| count(a.values)),
        reading: alpha.map(|a| reading(a.value).to_string()).unwrap_or_default(),
    }
}

/// How a grower's evidence held up.
pub fn grower_record(found: &GrowerRecord) -> v1::GetGrowerRecordResponse {
    let weight = found.weight.as_ref();
    let accuracy = weight.map_or(scionary_domain::evidence::voice::ACCURACY_PRIOR, |w| w.accuracy);
    let whole = |n: Option<u32>| n.map_or(0, |n| i32::try_from(n).unwrap_or(i32::MAX));
    v1::GetGrowerRecordResponse {
        account: Some(account::account(&found.account)),
        vouched: found.vouched,
        weights_version: weight.map_or(0, |w| w.version),
        accuracy,
        vote_weight: weight_of(accuracy),
        compared: weight.map_or(0.0, |w| w.record.compared),
        right: weight.map_or(0.0, |w| w.record.right),
        agreed: whole(weight.map(|w| w.record.borne_out)),
        doubted: whole(weight.map(|w| w.record.doubted)),
        pieces: whole(weight.map(|w| w.record.pieces)),
        diagnosis: weight.filter(|_| found.with_diagnosis).and_then(|w| w.diagnosis),
        diagnosis_records: whole(weight.filter(|_| found.with_diagnosis).map(|w| w.diagnosis_items)),
    }
}
