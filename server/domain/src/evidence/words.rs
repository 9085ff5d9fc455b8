//! What is only described: values as people give them, side by side. Values depend on place and year, so none is
//! averaged away here.

use std::{collections::BTreeSet, sync::Arc};

use super::{Finding, Piece, Standing, Value, behind, voice::Heard};
use crate::crop::Descriptor;

/// Values told one by one at most; the rest is counted.
const TOLD: usize = 8;

/// Pieces that are heard, side by side: `350 g (SRC, Florida); 400 g (a grower)`.
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

/// How many publications and how many growers are heard.
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

/// Independent groups that are heard.
pub(super) fn groups(own: &[Heard<'_>]) -> usize {
    own.iter().filter(|h| h.voice.trust > 0.0).map(|h| h.voice.group.as_str()).collect::<BTreeSet<_>>().len()
}

/// All pieces with no weight.
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

/// The finding on a text descriptor, or on one that nobody measured.
pub fn finding(descriptor: &Descriptor, own: &[Heard<'_>]) -> Finding {
    let (papers, growers) = heard(own);
    let (standing, standing_text) = match groups(own) {
        0 => (Standing::Unknown, "nothing that counts yet".to_string()),
        1 => (Standing::Thin, format!("{} describes it", one_of(papers))),
        _ => (
            Standing::Likely,
            format!("{} describe it; values differ by place and year", behind(papers, growers)),
        ),
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

fn one_of(papers: usize) -> &'static str {
    if papers == 1 { "one source" } else { "one grower" }
}
