//! Descriptions: values as people give them, side by side. Values depend on place and year, so nothing is
//! averaged here.

use std::{collections::BTreeSet, sync::Arc};

use super::{Finding, Piece, Standing, Value, behind, voice::Heard};
use crate::crop::Descriptor;

/// Most values listed one by one; the text only counts the rest.
const TOLD: usize = 8;

/// Lists the pieces that count, side by side: `350 g (SRC, Florida); 400 g (a grower)`.
pub(super) fn side_by_side(own: &[Heard<'_>]) -> String {
    let heard: Vec<&Heard<'_>> = own.iter().filter(|h| h.voice.trust > 0.0).collect();
    let mut stated: Vec<String> = heard
        .iter()
        .take(TOLD)
        .map(|h| {
            let e = h.evidence;
            let place = if e.place.is_empty() || e.as_stated.contains(&e.place) {
                String::new()
            } else {
                format!(", {}", e.place)
            };
            let who = if e.observed.is_some() { "a grower" } else { e.source.as_str() };
            format!("{} ({who}{place})", e.as_stated)
        })
        .collect();
    if heard.len() > TOLD {
        stated.push(format!("and {} more", heard.len() - TOLD));
    }
    if stated.is_empty() { "described, but not weighed yet".into() } else { stated.join("; ") }
}

/// Returns how many publications and how many growers count.
pub(super) fn heard(own: &[Heard<'_>]) -> (usize, usize) {
    let of = |published: bool| {
        own.iter()
            .map(|h| &h.voice)
            .filter(|v| v.published == published && v.trust > 0.0)
            .map(|v| v.who.as_str())
            .collect::<BTreeSet<_>>()
            .len()
    };
    (of(true), of(false))
}

/// Returns how many independent groups count.
pub(super) fn groups(own: &[Heard<'_>]) -> usize {
    own.iter().filter(|h| h.voice.trust > 0.0).map(|h| h.voice.group.as_str()).collect::<BTreeSet<_>>().len()
}

/// Returns all pieces with weight 0.
pub(super) fn unweighed(own: &[Heard<'_>]) -> Vec<Piece> {
    own.iter()
        .map(|h| {
            let why = match (&h.evidence.value, h.voice.why.is_empty()) {
                (_, false) => h.voice.why.clone(),
                (Value::Text { .. }, true) => "words: shown, not weighed".into(),
                (_, true) => "shown as the source gives it".into(),
            };
            Piece { evidence: Arc::clone(h.evidence), weight: 0.0, why }
        })
        .collect()
}

/// Returns the finding on a text descriptor, or on a descriptor without any usable measurement.
pub fn finding(descriptor: &Descriptor, own: &[Heard<'_>]) -> Finding {
    let (papers, growers) = heard(own);
    let (standing, standing_text) = match groups(own) {
        0 => (Standing::Unknown, "nothing that counts yet".to_string()),
        1 => (Standing::Thin, format!("{} describes it", one_of(papers))),
        _ => match agreement(own) {
            Some(true) => (
                Standing::Likely,
                format!("{} describe it, and what they say overlaps", behind(papers, growers)),
            ),
            Some(false) => (
                Standing::Thin,
                format!("{} describe it, and what they say does not overlap", behind(papers, growers)),
            ),
            None => (
                Standing::Thin,
                format!("{} describe it, each in words of their own", behind(papers, growers)),
            ),
        },
    };
    Finding {
        text: side_by_side(own),
        standing,
        standing_text,
        voices: groups(own),
        pieces: unweighed(own),
        ..Finding::of(descriptor)
    }
}

/// Returns the range of a quantity. A mean alone covers plus or minus 15 % (a choice of ours).
fn ends(low: Option<f64>, mean: Option<f64>, high: Option<f64>) -> (f64, f64) {
    let all = [low, mean, high];
    let least = all.into_iter().flatten().fold(f64::INFINITY, f64::min);
    let most = all.into_iter().flatten().fold(f64::NEG_INFINITY, f64::max);
    if low.is_none() && high.is_none() { (least * 0.85, most * 1.15) } else { (least, most) }
}

/// Returns whether two values overlap; `None` where they cannot be compared.
fn overlap(one: &Value, other: &Value) -> Option<bool> {
    let months = |from: u8, to: u8| -> BTreeSet<u8> {
        let length = (to + 12 - from) % 12;
        (0..=length).map(|after| (from - 1 + after) % 12 + 1).collect()
    };
    let meet = |a: (f64, f64), b: (f64, f64)| a.0 <= b.1 && b.0 <= a.1;
    match (one, other) {
        (Value::Period { from: a, to: b }, Value::Period { from: c, to: d }) => {
            Some(months(*a, *b).intersection(&months(*c, *d)).next().is_some())
        }
        (
            Value::Quantity { mean: m, low: l, high: h, .. },
            Value::Quantity { mean: n, low: k, high: i, .. },
        ) => Some(meet(ends(*l, *m, *h), ends(*k, *n, *i))),
        (Value::Text { text: a }, Value::Text { text: b }) if a.eq_ignore_ascii_case(b) => Some(true),
        (
            Value::Class { state: a } | Value::Grade { state: a },
            Value::Class { state: b } | Value::Grade { state: b },
        ) => Some(a == b),
        _ => None,
    }
}

/// Returns whether all comparable values of independent voices overlap; `None` without any comparable pair.
fn agreement(own: &[Heard<'_>]) -> Option<bool> {
    let heard: Vec<&Heard<'_>> = own.iter().filter(|h| h.voice.trust > 0.0).collect();
    let mut found = None;
    for (at, one) in heard.iter().enumerate() {
        for other in heard.iter().skip(at + 1).filter(|other| other.voice.group != one.voice.group) {
            if let Some(common) = overlap(&one.evidence.value, &other.evidence.value) {
                found = Some(found.unwrap_or(true) && common);
            }
        }
    }
    found
}

fn one_of(papers: usize) -> &'static str {
    if papers == 1 { "one source" } else { "one grower" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sources_agree_only_where_what_they_say_overlaps() {
        let months = |from, to| Value::Period { from, to };
        let mass = |mean, low, high| Value::Quantity { mean, low, high, unit: "g".into(), sample: None };
        let text = |text: &str| Value::Text { text: text.into() };
        for (one, other, expected) in [
            (months(7, 9), months(9, 10), Some(true)),
            (months(11, 2), months(1, 1), Some(true)),
            (months(3, 3), months(7, 9), Some(false)),
            (mass(Some(522.0), None, None), mass(Some(400.1), None, None), Some(true)),
            (mass(Some(900.0), None, None), mass(None, Some(300.0), Some(450.0)), Some(false)),
            (text("early"), text("Early"), Some(true)),
            (text("early to mid"), text("mid to late"), None),
            (text("early"), months(3, 3), None),
        ] {
            assert_eq!(overlap(&one, &other), expected, "{one:?} {other:?}");
            assert_eq!(overlap(&other, &one), expected, "{other:?} {one:?}");
        }
    }
}
