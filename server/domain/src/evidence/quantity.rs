//! Quantities, such as fruit mass: the median over voices of their place-year medians, with the spread
//! between voices. Values far from the others are flagged, never dropped; the flag names a likely unit
//! mistake.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    Finding, Piece, Standing, Summary, Value, behind, median,
    ordinal::{doubted, with},
    voice::{Heard, TRUST_MIN, held_to_share},
    words::{heard, side_by_side, unweighed},
};
use crate::crop::Descriptor;

/// Confidence of the interval that the finding shows.
const CONFIDENCE: f64 = 0.90;
/// Widest interval, as a share of the median, for a settled and for a likely finding.
const SETTLED_WIDTH: f64 = 0.15;
const LIKELY_WIDTH: f64 = 0.30;
/// Fewest values among which outliers are flagged, and the factor that makes one where all others are equal.
const OUTLIERS_FROM: usize = 5;
const OUTLIER_FACTOR: f64 = 3.0;

/// One measured value that counts.
struct Row {
    group: String,
    who: String,
    place: String,
    year: i32,
    value: f64,
    sample: u32,
    piece: usize,
}

/// The rows of one voice by place and year.
type PlaceYears<'a> = BTreeMap<(&'a str, i32), Vec<&'a Row>>;

/// Returns the number for a value, its mean or the middle of its range, and its sample size.
fn number(value: &Value) -> Option<(f64, Option<u32>)> {
    match value {
        Value::Quantity { mean, low, high, unit: _, sample } => {
            Some((mean.or(low.zip(*high).map(|(l, h)| f64::midpoint(l, h)))?, *sample))
        }
        Value::Class { .. }
        | Value::Tally { .. }
        | Value::Rate { .. }
        | Value::Grade { .. }
        | Value::Period { .. }
        | Value::Sighting { .. }
        | Value::Text { .. } => None,
    }
}

/// Returns the finding on a quantity.
pub fn finding(descriptor: &Descriptor, own: &[Heard<'_>]) -> Finding {
    let mut pieces = unweighed(own);
    let mut rows = Vec::new();
    for (at, (Heard { evidence, voice }, piece)) in own.iter().zip(&mut pieces).enumerate() {
        let Some((value, sample)) = number(&evidence.value) else { continue };
        let voice = voice.clone();
        if voice.trust < TRUST_MIN {
            piece.why = doubted(&voice.why);
            continue;
        }
        piece.why = with("", &voice.why);
        let (place, year) =
            evidence.observed.as_ref().map_or((evidence.place.clone(), 0), |o| (o.place_key(), o.year()));
        // A publication gives a mean already, so its sample size does not matter.
        let sample = if voice.published { u32::MAX } else { sample.unwrap_or(1) };
        rows.push(Row { group: voice.group, who: voice.who, place, year, value, sample, piece: at });
    }
    let voices = values_of(descriptor, &rows, &mut pieces);
    if voices.is_empty() {
        let mut plain = super::words::finding(descriptor, own);
        plain.pieces = pieces;
        if plain.standing == Standing::Likely || plain.standing == Standing::Thin {
            let measured = own.iter().any(|h| h.evidence.observed.is_some());
            if measured && heard(own).0 == 0 {
                plain.standing = Standing::Unknown;
                plain.standing_text = "measured, but not enough to weigh yet".into();
            }
        }
        return plain;
    }
    flag_outliers(descriptor, &rows, &mut pieces);
    conclude(descriptor, own, &voices, pieces)
}

/// Returns (group, value) of each voice: the median of its place-years with large enough samples.
fn values_of(descriptor: &Descriptor, rows: &[Row], pieces: &mut [Piece]) -> Vec<(String, f64)> {
    let mut of: BTreeMap<(&str, &str), PlaceYears<'_>> = BTreeMap::new();
    for row in rows {
        of.entry((&row.group, &row.who)).or_default().entry((&row.place, row.year)).or_default().push(row);
    }
    let mut voices = Vec::new();
    for ((group, _), place_years) in of {
        let mut yearly = Vec::new();
        for rows in place_years.values() {
            let sample = rows.iter().fold(0_u32, |sum, r| sum.saturating_add(r.sample));
            let enough = sample >= descriptor.sample_min;
            for row in rows {
                let Some(piece) = pieces.get_mut(row.piece) else { continue };
                if enough {
                    piece.weight = 1.0;
                    piece.why = with("its voice has one vote in the median", &piece.why);
                } else {
                    piece.why = with(
                        &format!(
                            "fewer than {} of one place and year: shown, not weighed",
                            descriptor.sample_min
                        ),
                        &piece.why,
                    );
                }
            }
            if enough {
                yearly.extend(median::middle(&rows.iter().map(|r| r.value).collect::<Vec<_>>()));
            }
        }
        if let Some(value) = median::middle(&yearly) {
            voices.push((group.to_string(), value));
        }
    }
    voices
}

fn flag_outliers(descriptor: &Descriptor, rows: &[Row], pieces: &mut [Piece]) {
    // With fewer values, two that happen to be close make all others look far away.
    if rows.len() < OUTLIERS_FROM {
        return;
    }
    let values: Vec<f64> = rows.iter().map(|r| r.value).collect();
    for outlier in median::outliers(&values, OUTLIER_FACTOR) {
        let Some(piece) = rows.get(outlier.at).and_then(|row| pieces.get_mut(row.piece)) else { continue };
        let slip = outlier
            .unit_slip
            .filter(|_| descriptor.unit == "g")
            .map(|slip| format!(": {}", slip.text(outlier.value)))
            .unwrap_or_default();
        piece.why = format!("{}; far from the others{slip}", piece.why);
    }
}

fn conclude(
    descriptor: &Descriptor,
    own: &[Heard<'_>],
    voices: &[(String, f64)],
    pieces: Vec<Piece>,
) -> Finding {
    let values = held_to_share(voices);
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let middle = median::middle(&values).unwrap_or(0.0);
    let interval = median::interval(&values, CONFIDENCE).unwrap_or((low, high));
    let spread = median::quantile(&values, 0.10).zip(median::quantile(&values, 0.90)).unwrap_or((low, high));
    let groups = voices.iter().map(|(group, _)| group).collect::<BTreeSet<_>>().len();
    let width = if middle > 0.0 { (interval.1 - interval.0) / middle } else { 0.0 };
    let (papers, growers) = heard(own);
    let who = behind(papers, growers);
    let (standing, standing_text) = if groups >= 3 && width <= SETTLED_WIDTH && growers > 0 {
        (Standing::Settled, format!("{who} agree within {:.0} %", width * 100.0))
    } else if groups >= 2 && width <= LIKELY_WIDTH {
        (Standing::Likely, format!("{who} describe it; values differ by place and year"))
    } else {
        (Standing::Thin, format!("{who}; values differ by place and year"))
    };
    let unit = &descriptor.unit;
    let text = if values.len() < 2 {
        side_by_side(own)
    } else {
        let range = if (high - low).abs() < f64::EPSILON {
            String::new()
        } else {
            format!(", from {} to {}", short(low), short(high))
        };
        let beside = if own.len() <= 4 { format!("; {}", side_by_side(own)) } else { String::new() };
        format!("{} {unit} (median of {who}{range}){beside}", short(middle))
    };
    Finding {
        text,
        standing,
        standing_text,
        voices: groups,
        summary: Summary::Quantity { median: middle, spread, interval },
        pieces,
        ..Finding::of(descriptor)
    }
}

/// Formats a number for display with at most three significant digits below 1000.
fn short(value: f64) -> String {
    if value.abs() >= 100.0 {
        format!("{value:.0}")
    } else if value.abs() >= 10.0 {
        format!("{value:.1}").trim_end_matches(".0").to_string()
    } else {
        format!("{value:.2}").trim_end_matches('0').trim_end_matches('.').to_string()
    }
}
