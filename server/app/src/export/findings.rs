//! Findings out: each with what it rests on, so that anyone can compute it again.

use scionary_domain::evidence::{Finding, Summary, share::POLICY_VERSION};
use serde_json::{Value, json};

use super::{Gone, Pipe};
use crate::registry::{Record, Registry};

/// Six digits: more would differ between mathematics libraries.
fn number(value: f64) -> Value {
    let rounded = (value * 1e6).round() / 1e6;
    // no minus before a zero
    json!(if rounded == 0.0 { 0.0 } else { rounded })
}

fn text_of(value: Option<f64>) -> String {
    value.map(|v| number(v).to_string()).unwrap_or_default()
}

fn wanted<'a>(registry: &'a Registry, crop: &'a str) -> impl Iterator<Item = &'a Record> {
    registry.records().filter(move |r| crop.is_empty() || r.cultivar.crop == crop)
}

/// The middle and the interval of a finding, in its own unit.
fn numbers(finding: &Finding) -> (Option<f64>, Option<f64>, Option<f64>) {
    if let Some(share) = &finding.share {
        return (Some(share.posterior.mean()), Some(share.interval.0), Some(share.interval.1));
    }
    match &finding.summary {
        Summary::Quantity { median, interval, .. } => (Some(*median), Some(interval.0), Some(interval.1)),
        Summary::Steps { median, interval, .. } => {
            let step = |s: usize| u32::try_from(s).ok().map(f64::from);
            (step(median.0), step(interval.0), step(interval.1))
        }
        Summary::Period { core, .. } => {
            let day = |d: u16| Some(f64::from(d));
            core.first().map_or((None, None, None), |s| (None, day(s.first), day(s.last)))
        }
        Summary::None => (None, None, None),
    }
}

pub(super) fn csv(pipe: &mut Pipe, registry: &Registry, crop: &str, licence: &str) -> Result<(), Gone> {
    pipe.row(&[
        "cultivar_id",
        "crop",
        "name",
        "qualifier",
        "descriptor_key",
        "label",
        "finding",
        "standing",
        "standing_text",
        "voices",
        "middle",
        "low",
        "high",
        "counted",
        "of_these",
        "sources",
        "policy_version",
        "weights_version",
        "licence",
    ])?;
    for record in wanted(registry, crop) {
        for finding in &record.findings {
            let (middle, low, high) = numbers(finding);
            let mut sources: Vec<&str> = finding
                .pieces
                .iter()
                .map(|p| match &p.evidence.observed {
                    Some(o) if !o.citation.is_empty() => o.citation.as_str(),
                    Some(_) | None => p.evidence.source.as_str(),
                })
                .collect();
            sources.sort_unstable();
            sources.dedup();
            let share = finding.share.as_ref();
            pipe.row(&[
                record.cultivar.id.to_string(),
                record.cultivar.crop.clone(),
                record.cultivar.name.clone(),
                record.cultivar.qualifier.clone(),
                finding.descriptor.clone(),
                finding.label.clone(),
                finding.text.clone(),
                finding.standing.word().to_string(),
                finding.standing_text.clone(),
                finding.voices.to_string(),
                text_of(middle),
                text_of(low),
                text_of(high),
                share.map(|s| s.counted.to_string()).unwrap_or_default(),
                share.map(|s| s.of_these.to_string()).unwrap_or_default(),
                sources.join("; "),
                POLICY_VERSION.to_string(),
                registry.weights_version().to_string(),
                licence.to_string(),
            ])?;
        }
    }
    Ok(())
}

/// A finding with its pieces, their weights and the reasons for them.
fn finding_json(finding: &Finding) -> Value {
    let (middle, low, high) = numbers(finding);
    let optional = |v: Option<f64>| v.map_or(Value::Null, number);
    json!({
        "descriptor_key": finding.descriptor,
        "label": finding.label,
        "finding": finding.text,
        "standing": finding.standing.word(),
        "standing_text": finding.standing_text,
        "voices": finding.voices,
        "probability": optional(finding.probability),
        "middle": optional(middle),
        "low": optional(low),
        "high": optional(high),
        "counted": finding.share.as_ref().map(|s| s.counted),
        "of_these": finding.share.as_ref().map(|s| s.of_these),
        "sides": finding.sides.iter().map(|s| json!({
            "state": s.state, "sources": s.sources, "growers": s.growers, "share": number(s.share),
        })).collect::<Vec<_>>(),
        "set_by_curators": finding.pin.as_ref().map(|p| json!({ "citation": p.citation, "reason": p.reason })),
        "rests_on": finding.pieces.iter().map(|p| json!({
            "evidence_id": p.evidence.id.to_string(),
            "as_stated": p.evidence.as_stated,
            "value": p.evidence.value,
            "source": p.evidence.source,
            "citation": p.evidence.observed.as_ref().map(|o| o.citation.as_str()).filter(|c| !c.is_empty()),
            "grower": p.evidence.observed.as_ref().map(|o| o.by.account.to_string()),
            "day": p.evidence.observed.as_ref().and_then(|o| o.day).map(|d| d.to_string()),
            "place": p.evidence.place,
            "weight": number(p.weight),
            "why": p.why,
        })).collect::<Vec<_>>(),
    })
}

pub(super) fn json(pipe: &mut Pipe, registry: &Registry, crop: &str, licence: &str) -> Result<(), Gone> {
    let head = json!({
        "format": "scionary findings",
        "format_version": 1,
        "licence": licence,
        "policy_version": POLICY_VERSION,
        "weights_version": registry.weights_version(),
        "sources": registry.sources().map(|s| json!({ "id": s.id, "citation": s.citation })).collect::<Vec<_>>(),
    })
    .to_string();
    pipe.put(head.trim_end_matches('}').as_bytes())?;
    pipe.put(b",\"records\":[\n")?;
    for (at, record) in wanted(registry, crop).enumerate() {
        if at > 0 {
            pipe.put(b",\n")?;
        }
        let cultivar = &record.cultivar;
        let (answer, headline) = registry.seed_of(record);
        let row = json!({
            "cultivar_id": cultivar.id.to_string(),
            "crop": cultivar.crop,
            "name": cultivar.name,
            "qualifier": cultivar.qualifier,
            "version": cultivar.version,
            "merged": record.merged.iter().map(|m| m.id.to_string()).collect::<Vec<_>>(),
            "seed_answer": answer.short(),
            "headline": headline,
            "findings": record.findings.iter().map(finding_json).collect::<Vec<_>>(),
        });
        pipe.put(row.to_string().as_bytes())?;
    }
    pipe.line("\n]}")
}
