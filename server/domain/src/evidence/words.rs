//! What is only described: values as people give them, side by side. Values depend on place and year, so none is
//! averaged away here.

use std::{collections::BTreeSet, sync::Arc};

use super::{Evidence, Finding, Piece, Standing, Value, behind, voice::voice};
use crate::crop::Descriptor;

/// Pieces side by side: `350 g (SRC, Florida); 400 g (a grower)`.
pub(super) fn side_by_side(own: &[&Arc<Evidence>]) -> String {
    let stated: Vec<String> = own
        .iter()
        .map(|e| {
            let place = if e.place.is_empty() || e.as_stated.contains(&e.place) {
                String::new()
            } else {
                format!(", {}", e.place)
            };
            let who = if e.observed.is_some() { "a grower" } else { e.source.as_str() };
            format!("{} ({who}{place})", e.as_stated)
        })
        .collect();
    stated.join("; ")
}

/// How many publications and how many growers are heard.
pub(super) fn heard(own: &[&Arc<Evidence>]) -> (usize, usize) {
    let of = |published: bool| {
        own.iter()
            .map(|e| voice(e))
            .filter(|v| v.published == published && v.trust > 0.0)
            .map(|v| v.who)
            .collect::<BTreeSet<_>>()
            .len()
    };
    (of(true), of(false))
}

/// All pieces with no weight.
pub(super) fn unweighed(own: &[&Arc<Evidence>]) -> Vec<Piece> {
    own.iter()
        .map(|e| {
            let voice = voice(e);
            let why = match (&e.value, voice.why.is_empty()) {
                (_, false) => voice.why,
                (Value::Text { .. }, true) => "words: shown, not weighed".into(),
                (_, true) => "shown as the source gives it".into(),
            };
            Piece { evidence: Arc::clone(e), weight: 0.0, why }
        })
        .collect()
}

/// The finding on a text descriptor, or on one that nobody measured.
pub fn finding(descriptor: &Descriptor, own: &[&Arc<Evidence>]) -> Finding {
    let (papers, growers) = heard(own);
    let (standing, standing_text) = match papers + growers {
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
        voices: papers + growers,
        pieces: unweighed(own),
        ..Finding::of(descriptor)
    }
}

fn one_of(papers: usize) -> &'static str {
    if papers == 1 { "one source" } else { "one grower" }
}
