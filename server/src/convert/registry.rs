//! Crops, cultivars, findings and evidence on the wire.

use std::collections::BTreeSet;

use scionary_app::{
    evidence::ListedEvidence,
    registry::{Found, Record, Registry},
};
use scionary_domain::{
    crop::{Caution, Crop, Descriptor, DescriptorKind, Storage, Timing},
    cultivar::{NameKind, ParentRole, Rank},
    evidence::{Evidence, Finding, Piece, Standing, Summary, Value, share::POLICY_VERSION},
    limits::FINDING_PIECES_SHOWN,
    names::Reason,
    protection,
    seed::{self, Answer},
    unions::Union,
};
use scionary_proto::v1;

use super::{count, timestamp};

/// The short answer.
pub fn answer(answer: Answer) -> v1::SeedAnswer {
    match answer {
        Answer::ComesTrue => v1::SeedAnswer::ComesTrue,
        Answer::MostlyTrue => v1::SeedAnswer::MostlyTrue,
        Answer::NotCounted => v1::SeedAnswer::NotCounted,
        Answer::PartlyTrue => v1::SeedAnswer::PartlyTrue,
        Answer::MostlyOffType => v1::SeedAnswer::MostlyOffType,
        Answer::NotTrue => v1::SeedAnswer::NotTrue,
        Answer::BothKinds => v1::SeedAnswer::BothKinds,
        Answer::Contested => v1::SeedAnswer::Contested,
        Answer::Doubtful => v1::SeedAnswer::Doubtful,
        Answer::Unknown => v1::SeedAnswer::Unknown,
    }
}

/// The short answer from the wire; none if unspecified or unknown to this server.
pub fn read_answer(wire: i32) -> Option<Answer> {
    let wanted = v1::SeedAnswer::try_from(wire).ok()?;
    Answer::ALL.into_iter().find(|a| answer(*a) == wanted)
}

/// A record in short.
pub fn summary(registry: &Registry, record: &Record) -> v1::CultivarSummary {
    let cultivar = &record.cultivar;
    v1::CultivarSummary {
        cultivar_id: cultivar.id.to_string(),
        crop: cultivar.crop.clone(),
        name: cultivar.name.clone(),
        qualifier: cultivar.qualifier.clone(),
        seed_answer: answer(registry.seed_of(record).0).into(),
        other_names: cultivar.names.iter().map(|n| n.name.clone()).collect(),
        rank: match cultivar.rank {
            Rank::Cultivar => v1::CultivarRank::Cultivar,
            Rank::Group => v1::CultivarRank::Group,
        }
        .into(),
    }
}

/// What sources report of a union.
pub fn union(union: &Union) -> v1::UnionReport {
    let Union { scion, stock, fails, holds, adds, wide } = union.clone();
    v1::UnionReport {
        scion,
        rootstock: stock,
        fails_source_ids: fails,
        holds_source_ids: holds,
        adds,
        of_group: wide,
    }
}

/// A hit for a typed name.
pub fn found(registry: &Registry, found: &Found<'_>, typed: &str) -> v1::CultivarMatch {
    let hit = &found.hit;
    let reason = match hit.reason {
        Reason::Exact => v1::MatchReason::Exact,
        Reason::Synonym => v1::MatchReason::Synonym,
        Reason::Transliterated => v1::MatchReason::Transliterated,
        Reason::Spacing => v1::MatchReason::Spacing,
        Reason::Words => v1::MatchReason::Words,
        Reason::Sound => v1::MatchReason::Sound,
        Reason::Near(_) | Reason::NearWords => v1::MatchReason::Near,
    };
    v1::CultivarMatch {
        cultivar: Some(summary(registry, found.record)),
        matched_name: hit.name.clone(),
        reason: reason.into(),
        reason_text: hit.reason_text(typed),
        score: hit.score,
        disputed: hit.disputed,
    }
}

/// How firm.
pub fn standing(standing: Standing) -> v1::Standing {
    match standing {
        Standing::Settled => v1::Standing::Settled,
        Standing::Likely => v1::Standing::Likely,
        Standing::Thin => v1::Standing::Thin,
        Standing::Unknown => v1::Standing::Unknown,
        Standing::Contested => v1::Standing::Contested,
    }
}

/// A piece of evidence, with its weight in a finding if it is shown in one.
pub fn evidence(piece: &Evidence, label: &str, weight: f64, why: &str) -> v1::Evidence {
    let form = match &piece.value {
        Value::Class { .. } => v1::EvidenceForm::Class,
        Value::Tally { .. } => v1::EvidenceForm::Tally,
        Value::Rate { .. } => v1::EvidenceForm::Rate,
        Value::Quantity { .. } => v1::EvidenceForm::Quantity,
        Value::Grade { .. } => v1::EvidenceForm::Grade,
        Value::Period { .. } => v1::EvidenceForm::Period,
        Value::Text { .. } => v1::EvidenceForm::Text,
        Value::Sighting { .. } => v1::EvidenceForm::Sighting,
    };
    let mut wire = v1::Evidence {
        evidence_id: piece.id.to_string(),
        descriptor_key: piece.descriptor.clone(),
        label: label.to_string(),
        form: form.into(),
        as_stated: piece.as_stated.clone(),
        named_as: piece.named_as.clone(),
        place: piece.place.clone(),
        source_id: piece.source.clone(),
        note: piece.note.clone(),
        weight,
        weight_reason: why.to_string(),
        ..Default::default()
    };
    if let Some(observation) = &piece.observed {
        super::evidence::observed(&mut wire, observation);
    }
    wire
}

fn span(span: &scionary_domain::season::Span) -> v1::DaySpan {
    v1::DaySpan { first_day: i32::from(span.first), last_day: i32::from(span.last) }
}

/// Fills the numbers of a finding.
fn summary_of(wire: &mut v1::Finding, finding: &Finding, descriptor: Option<&Descriptor>) {
    match &finding.summary {
        Summary::None => {}
        Summary::Steps { median, quartiles: _, interval } => {
            let label = |step: usize| {
                descriptor.and_then(|d| d.states.get(step)).map(|s| s.label.clone()).unwrap_or_default()
            };
            wire.steps = Some(v1::StepSummary {
                median_low: label(median.0),
                median_high: label(median.1),
                interval_low: label(interval.0),
                interval_high: label(interval.1),
            });
        }
        Summary::Quantity { median, spread, interval } => {
            wire.quantity = Some(v1::QuantitySummary {
                median: *median,
                unit: descriptor.map(|d| d.unit.clone()).unwrap_or_default(),
                spread_low: spread.0,
                spread_high: spread.1,
                interval_low: interval.0,
                interval_high: interval.1,
            });
        }
        Summary::Period { core, full, half_months, place_years, southern } => {
            wire.period = Some(v1::PeriodSummary {
                core: core.iter().map(span).collect(),
                full: full.iter().map(span).collect(),
                half_months: half_months.clone(),
                place_years: count(*place_years),
                southern: *southern,
            });
        }
    }
}

/// The pieces that a finding shows: the heaviest where there are very many, in the order of entry.
fn shown(pieces: &[Piece]) -> Vec<&Piece> {
    let mut all: Vec<&Piece> = pieces.iter().collect();
    if all.len() > FINDING_PIECES_SHOWN {
        all.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.evidence.id.cmp(&b.evidence.id)));
        all.truncate(FINDING_PIECES_SHOWN);
        all.sort_by_key(|p| p.evidence.id);
    }
    all
}

fn finding(finding: &Finding, crop: Option<&Crop>) -> v1::Finding {
    let descriptor = crop.and_then(|c| c.descriptor(&finding.descriptor));
    let share = finding.share.as_ref();
    let mut wire = v1::Finding {
        descriptor_key: finding.descriptor.clone(),
        label: finding.label.clone(),
        text: finding.text.clone(),
        standing: standing(finding.standing).into(),
        standing_text: finding.standing_text.clone(),
        share: share.map(|s| s.posterior.mean()),
        interval: share.map(|s| v1::ShareRange { low: s.interval.0, high: s.interval.1 }),
        counted: share.map_or(0, |s| i64::try_from(s.counted).unwrap_or(i64::MAX)),
        of_these: share.map_or(0, |s| i64::try_from(s.of_these).unwrap_or(i64::MAX)),
        evidence_count: count(finding.pieces.len()),
        evidence: shown(&finding.pieces)
            .into_iter()
            .map(|p| evidence(&p.evidence, &finding.label, p.weight, &p.why))
            .collect(),
        sides: finding
            .sides
            .iter()
            .map(|side| v1::Side {
                state: descriptor.map_or(side.state.as_str(), |d| d.state_label(&side.state)).to_string(),
                source_ids: side.sources.clone(),
                growers: count(side.growers),
                share: side.share,
            })
            .collect(),
        voices: count(finding.voices),
        probability: finding.probability,
        set_on_citation: finding.pin.as_ref().map(|p| p.citation.clone()).unwrap_or_default(),
        ..Default::default()
    };
    summary_of(&mut wire, finding, descriptor);
    wire
}

/// A caution.
pub fn caution(caution: &Caution) -> v1::Caution {
    v1::Caution {
        topic: caution.topic.clone(),
        text: caution.text.clone(),
        origin: caution.origin().to_string(),
    }
}

/// Citations of source keys; keys that are no sources (common practice) are passed over.
pub fn sources<'a>(registry: &Registry, ids: impl IntoIterator<Item = &'a str>) -> Vec<v1::Source> {
    let ids: BTreeSet<&str> = ids.into_iter().collect();
    ids.into_iter()
        .filter_map(|id| registry.source(id))
        .map(|s| v1::Source { source_id: s.id.clone(), citation: s.citation.clone(), read: s.read.clone() })
        .collect()
}

/// A report on a record's seed.
pub fn report(registry: &Registry, record: &Record, report: &seed::Report) -> v1::SeedReport {
    let crop = registry.crop(&record.cultivar.crop);
    let cited = seed::cited(report);
    v1::SeedReport {
        cultivar: Some(summary(registry, record)),
        answer: answer(report.answer).into(),
        headline: report.headline.clone(),
        how_sure: report.how_sure.clone(),
        findings: report.findings.iter().map(|f| finding(f, crop)).collect(),
        advice: report
            .advice
            .iter()
            .map(|a| v1::Advice { text: a.text.clone(), origins: a.origins.clone() })
            .collect(),
        cautions: report.cautions.iter().map(caution).collect(),
        sources: sources(registry, cited.iter().map(String::as_str)),
    }
}

/// The names that a merged record brings to the one that stands for it.
fn merged_names(merged: &scionary_domain::cultivar::Cultivar) -> Vec<v1::CultivarName> {
    std::iter::once((merged.name.clone(), merged.id.to_string()))
        .chain(merged.names.iter().map(|n| (n.name.clone(), String::new())))
        .map(|(name, id)| v1::CultivarName {
            name,
            kind: v1::NameKind::Synonym.into(),
            disputed: false,
            source_id: String::new(),
            note: if id.is_empty() {
                format!("a name of {}, merged into this record", merged.name)
            } else {
                format!("merged into this record ({id})")
            },
        })
        .collect()
}

/// A record in full.
pub fn record(registry: &Registry, record: &Record) -> v1::GetCultivarResponse {
    let cultivar = &record.cultivar;
    let crop = registry.crop(&cultivar.crop);
    let cited = record
        .evidence
        .iter()
        .map(|e| e.source.as_str())
        .chain(cultivar.names.iter().map(|n| n.source.as_str()))
        .chain(cultivar.parents.iter().map(|p| p.source.as_str()));
    v1::GetCultivarResponse {
        summary: Some(summary(registry, record)),
        botanical_name: cultivar.botanical_name.clone(),
        origin: cultivar.origin.clone(),
        notes: cultivar.notes.clone(),
        names: cultivar
            .names
            .iter()
            .map(|n| v1::CultivarName {
                name: n.name.clone(),
                kind: match n.kind {
                    NameKind::Synonym => v1::NameKind::Synonym,
                    NameKind::Spelling => v1::NameKind::Spelling,
                    NameKind::Regional => v1::NameKind::Regional,
                }
                .into(),
                disputed: n.disputed,
                source_id: n.source.clone(),
                note: n.note.clone(),
            })
            .chain(record.merged.iter().flat_map(merged_names).filter(|n| n.name != cultivar.name))
            .collect(),
        parents: cultivar
            .parents
            .iter()
            .map(|p| v1::Parent {
                role: match p.role {
                    ParentRole::SeedParent => v1::ParentRole::Seed,
                    ParentRole::PollenParent => v1::ParentRole::Pollen,
                    ParentRole::UnknownParent => v1::ParentRole::Unknown,
                }
                .into(),
                name: p.name.clone(),
                disputed: p.disputed,
                source_id: p.source.clone(),
                note: p.note.clone(),
            })
            .collect(),
        namesakes: registry.namesakes(record).into_iter().map(|r| summary(registry, r)).collect(),
        headline: registry.seed_of(record).1,
        findings: record.findings.iter().map(|f| finding(f, crop)).collect(),
        sources: sources(registry, cited),
        version: cultivar.version,
        updated_at: Some(timestamp(cultivar.updated_at)),
        merged_cultivar_ids: record.merged.iter().map(|m| m.id.to_string()).collect(),
        locked_why: cultivar.locked.clone().unwrap_or_default(),
        weights_version: registry.weights_version(),
        policy_version: i32::try_from(POLICY_VERSION).unwrap_or(i32::MAX),
    }
}

/// A crop in short.
pub fn crop_summary(registry: &Registry, crop: &Crop) -> v1::CropSummary {
    v1::CropSummary {
        crop: crop.slug.clone(),
        name: crop.name.clone(),
        botanical_name: crop.botanical_name.clone(),
        cultivar_count: count(registry.count_of(&crop.slug)),
    }
}

fn descriptor(descriptor: &Descriptor) -> v1::Descriptor {
    let kind = match descriptor.kind {
        DescriptorKind::Category => v1::DescriptorKind::Category,
        DescriptorKind::CountRatio => v1::DescriptorKind::CountRatio,
        DescriptorKind::Ordinal => v1::DescriptorKind::Ordinal,
        DescriptorKind::Quantity => v1::DescriptorKind::Quantity,
        DescriptorKind::Period => v1::DescriptorKind::Period,
        DescriptorKind::Text => v1::DescriptorKind::Text,
    };
    v1::Descriptor {
        descriptor_key: descriptor.key.clone(),
        label: descriptor.label.clone(),
        kind: kind.into(),
        question: descriptor.question.clone(),
        observe: descriptor.observe.clone(),
        unit: descriptor.unit.clone(),
        states: descriptor
            .states
            .iter()
            .map(|s| v1::DescriptorState { key: s.key.clone(), label: s.label.clone(), help: s.help.clone() })
            .collect(),
        origin: descriptor.origin().to_string(),
    }
}

/// A duration, size or temperature.
pub fn timing(timing: &Timing) -> v1::Timing {
    v1::Timing {
        step: timing.step.clone(),
        label: timing.label.clone(),
        low: timing.low,
        high: timing.high,
        unit: timing.unit.clone(),
        origin: timing.origin().to_string(),
        note: timing.note.clone(),
    }
}

/// A crop in full.
pub fn crop(registry: &Registry, crop: &Crop) -> v1::GetCropResponse {
    let statements: Vec<&Evidence> = registry.on_crop(&crop.slug).map(|e| e.as_ref()).collect();
    let seed = &crop.seed;
    let cited = statements
        .iter()
        .map(|e| e.source.as_str())
        .chain(crop.timings.iter().map(Timing::origin))
        .chain(crop.descriptors.iter().map(Descriptor::origin))
        .chain(crop.cautions.iter().map(Caution::origin))
        .chain(crop.storages.iter().map(Storage::origin))
        .chain(
            [&seed.off_type_sources, &seed.single_sprout_sources, &seed.roguing_sources]
                .into_iter()
                .flatten()
                .map(String::as_str),
        );
    v1::GetCropResponse {
        summary: Some(crop_summary(registry, crop)),
        about: crop.about.clone(),
        descriptors: crop.descriptors.iter().map(descriptor).collect(),
        timings: crop.timings.iter().map(timing).collect(),
        cautions: crop.cautions.iter().map(caution).collect(),
        statements: statements
            .iter()
            .map(|e| v1::CropStatement {
                subject: e.subject.clone(),
                descriptor_label: crop
                    .descriptor(&e.descriptor)
                    .map_or_else(|| e.descriptor.clone(), |d| d.label.clone()),
                as_stated: e.as_stated.clone(),
                source_id: e.source.clone(),
                note: e.note.clone(),
            })
            .collect(),
        sources: sources(registry, cited),
        storages: crop.storages.iter().map(storage).collect(),
    }
}

/// A way of keeping material.
pub fn storage(storage: &Storage) -> v1::Storage {
    v1::Storage {
        material: storage.material.word().into(),
        storage_key: storage.key.clone(),
        how: storage.how.clone(),
        good_days: storage.good_days,
        dead_days: storage.dead_days,
        at_most_days: storage.at_most_days,
        words: storage.words.clone(),
        alive_pct: storage.alive_pct,
        origin: storage.origin().into(),
        note: storage.note.clone(),
    }
}

/// A protection from the wire.
///
/// # Errors
/// Values that cannot be read.
pub fn read_protection(wire: v1::Protection) -> Result<protection::Draft, scionary_app::Error> {
    let mut wrong = Vec::new();
    let v1::Protection { kind, office, reference, area_codes, until, citation } = wire;
    let kind = match v1::ProtectionKind::try_from(kind) {
        Ok(v1::ProtectionKind::VarietyRight) => Some(protection::Kind::VarietyRight),
        Ok(v1::ProtectionKind::Patent) => Some(protection::Kind::Patent),
        Ok(v1::ProtectionKind::Unspecified) | Err(_) => None,
    };
    let until = super::read_date("protection.until", until, &mut wrong);
    let draft = protection::Draft { kind, office, reference, areas: area_codes, until, citation };
    if wrong.is_empty() { Ok(draft) } else { Err(wrong.into()) }
}

/// A protection.
pub fn write_protection(protection: &protection::Protection) -> v1::Protection {
    v1::Protection {
        kind: match protection.kind {
            protection::Kind::VarietyRight => v1::ProtectionKind::VarietyRight,
            protection::Kind::Patent => v1::ProtectionKind::Patent,
        }
        .into(),
        office: protection.office.clone(),
        reference: protection.reference.clone(),
        area_codes: protection.areas.iter().map(|a| a.as_str().to_string()).collect(),
        until: protection.until.map(super::date),
        citation: protection.citation.clone(),
    }
}

/// A piece of a record in a list.
pub fn listed(row: &ListedEvidence<'_>) -> v1::Evidence {
    let (weight, why) = row.weight;
    let mut wire = evidence(row.evidence, &row.label, weight, why);
    wire.author_name.clone_from(&row.author_name);
    wire
}
