//! Classes that sources state without counting. They never pass through a model of counts: they are
//! shown as stated, thin for one source, likely for two independent ones, contested when they disagree.

use super::{Evidence, Finding, Piece, Side, Standing, Value, count_of_sources, sources};
use crate::crop::Descriptor;

/// The finding on a category descriptor.
pub fn finding(descriptor: &Descriptor, own: &[&Evidence]) -> Finding {
    let mut sides: Vec<Side> = Vec::new();
    for state in &descriptor.states {
        let backing: Vec<&Evidence> = own
            .iter()
            .copied()
            .filter(|e| matches!(&e.value, Value::Class { state: s } if *s == state.key))
            .collect();
        if !backing.is_empty() {
            sides.push(Side { state: state.key.clone(), sources: sources(&backing) });
        }
    }
    let backed = |side: &Side| {
        format!("{}, stated by {}", descriptor.state_label(&side.state), count_of_sources(side.sources.len()))
    };
    let (standing, text, standing_text) = match sides.as_slice() {
        [] => {
            (Standing::Unknown, "only described in words".to_string(), "no source states a class".to_string())
        }
        [one] if one.sources.len() == 1 => {
            (Standing::Thin, backed(one), "one source states it; it did not count".to_string())
        }
        [one] => (
            Standing::Likely,
            backed(one),
            format!("{} state it independently; none of them counted", count_of_sources(one.sources.len())),
        ),
        many => (
            Standing::Contested,
            many.iter().map(backed).collect::<Vec<_>>().join("; but "),
            "the sources disagree".to_string(),
        ),
    };
    Finding {
        descriptor: descriptor.key.clone(),
        label: descriptor.label.clone(),
        text,
        standing,
        standing_text,
        share: None,
        published: None,
        sides,
        pieces: own
            .iter()
            .map(|e| Piece {
                evidence: (*e).clone(),
                weight: 0.0,
                why: "a statement without counts: shown, not weighed".into(),
            })
            .collect(),
    }
}
