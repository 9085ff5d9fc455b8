//! Measures, grades, periods and words as sources give them, side by side. Values depend on place and
//! year, so none is averaged away here.

use super::{Evidence, Finding, Piece, Standing, Value, count_of_sources, sources};
use crate::crop::{Descriptor, DescriptorKind};

/// The finding on an ordinal, quantity, period or text descriptor.
pub fn finding(descriptor: &Descriptor, own: &[&Evidence]) -> Finding {
    let stated: Vec<String> = own
        .iter()
        .map(|e| {
            let place = if e.place.is_empty() || e.as_stated.contains(&e.place) {
                String::new()
            } else {
                format!(", {}", e.place)
            };
            format!("{} ({}{place})", e.as_stated, e.source)
        })
        .collect();
    let backing = sources(own).len();
    let steps: Vec<usize> = own
        .iter()
        .filter_map(|e| match &e.value {
            Value::Grade { state } => descriptor.states.iter().position(|s| s.key == *state),
            Value::Class { .. }
            | Value::Tally { .. }
            | Value::Rate { .. }
            | Value::Quantity { .. }
            | Value::Period { .. }
            | Value::Text { .. } => None,
        })
        .collect();
    let apart = steps.iter().max().zip(steps.iter().min()).is_some_and(|(high, low)| high - low > 1);
    let (standing, standing_text) = if descriptor.kind == DescriptorKind::Ordinal && apart {
        (Standing::Contested, "the sources are more than one step apart".to_string())
    } else if backing > 1 {
        (
            Standing::Likely,
            format!("{} describe it; values differ by place and year", count_of_sources(backing)),
        )
    } else {
        (Standing::Thin, "one source describes it".to_string())
    };
    Finding {
        descriptor: descriptor.key.clone(),
        label: descriptor.label.clone(),
        text: stated.join("; "),
        standing,
        standing_text,
        share: None,
        published: None,
        sides: Vec::new(),
        pieces: own
            .iter()
            .map(|e| Piece {
                evidence: (*e).clone(),
                weight: 0.0,
                why: "shown as the source gives it".into(),
            })
            .collect(),
    }
}
