//! Grades on a scale, such as fibre: the median over voices, never the mean of codes.
//!
//! A voice's own grade is the median of its place-years. The finding gives the lower and upper median over
//! voices, the quartiles, and the distribution-free interval of the median from order statistics. Up to half
//! of the voices can be wrong before the median leaves the range of the others (its breakdown point).

use std::{collections::BTreeMap, sync::Arc};

use super::{
    Finding, Piece, Standing, Summary, Value, behind,
    median::{self, Steps},
    voice::{Heard, TRUST_MIN, held_to_share},
    words::{heard, side_by_side, unweighed},
};
use crate::crop::Descriptor;

/// Confidence of the interval that the finding shows.
const CONFIDENCE: f64 = 0.90;
/// Steps apart beyond which few voices contradict each other; interval width beyond which many do.
const APART_FEW: usize = 1;
const APART_MANY: usize = 2;

/// Steps of each voice that counts: (group, voice), then (place, year).
type OfVoice = BTreeMap<(String, String), BTreeMap<(String, i32), Vec<usize>>>;

/// Returns the finding on an ordinal descriptor.
pub fn finding(descriptor: &Descriptor, own: &[Heard<'_>]) -> Finding {
    let mut of: OfVoice = BTreeMap::new();
    let mut pieces = Vec::new();
    for Heard { evidence, voice } in own {
        let Value::Grade { state } = &evidence.value else { continue };
        let Some(step) = descriptor.states.iter().position(|s| s.key == *state) else { continue };
        let voice = voice.clone();
        if voice.trust < TRUST_MIN {
            pieces.push(Piece { evidence: Arc::clone(evidence), weight: 0.0, why: doubted(&voice.why) });
            continue;
        }
        let place_year =
            evidence.observed.as_ref().map_or((evidence.place.clone(), 0), |o| (o.place_key(), o.year()));
        of.entry((voice.group, voice.who)).or_default().entry(place_year).or_default().push(step);
        pieces.push(Piece {
            evidence: Arc::clone(evidence),
            weight: 1.0,
            why: with("its voice has one vote in the median", &voice.why),
        });
    }
    if of.is_empty() {
        return super::words::finding(descriptor, own);
    }
    let own_steps: Vec<(String, f64)> = of
        .iter()
        .filter_map(|((group, _), places)| {
            let yearly: Vec<f64> = places.values().filter_map(|s| lower(s)).collect();
            Some((group.clone(), median::medians(&yearly)?.0))
        })
        .collect();
    let groups = of.keys().map(|(group, _)| group).collect::<std::collections::BTreeSet<_>>().len();
    let values: Vec<usize> = held_to_share(&own_steps).into_iter().map(as_step).collect();
    let Some(Steps { median, quartiles, interval, range }) = median::steps(&values, CONFIDENCE) else {
        return super::words::finding(descriptor, own);
    };
    let few = interval.is_none();
    let interval = interval.unwrap_or(range);
    let width = interval.1 - interval.0;
    let label = |step: usize| descriptor.states.get(step).map_or("?", |s| s.label.as_str());
    let (papers, growers) = heard(own);
    let who = behind(papers, growers);
    let (standing, standing_text) = if width > if few { APART_FEW } else { APART_MANY } {
        (Standing::Contested, "they are more than one step apart".to_string())
    } else if groups >= 3 && width <= 1 && growers > 0 {
        (Standing::Settled, format!("{who} are at most one step apart"))
    } else if groups >= 2 {
        (Standing::Likely, format!("{who} describe it; values differ by place and year"))
    } else {
        (Standing::Thin, format!("{who} describes it"))
    };
    let text = if values.len() == 1 {
        side_by_side(own)
    } else {
        let middle = if median.0 == median.1 {
            label(median.0).to_string()
        } else {
            format!("{} to {}", label(median.0), label(median.1))
        };
        let spread = if range.0 == range.1 {
            String::new()
        } else {
            format!(", from {} to {}", label(range.0), label(range.1))
        };
        format!("{middle} (median of {who}{spread})")
    };
    // Texts are shown next to the grades.
    let graded: std::collections::BTreeSet<_> = pieces.iter().map(|p| p.evidence.id).collect();
    pieces.extend(unweighed(own).into_iter().filter(|p| !graded.contains(&p.evidence.id)));
    pieces.sort_by_key(|p| p.evidence.id);
    Finding {
        text,
        standing,
        standing_text,
        voices: groups,
        summary: Summary::Steps { median, quartiles, interval },
        pieces,
        ..Finding::of(descriptor)
    }
}

/// Returns the reason why a piece does not count.
pub(super) fn doubted(why: &str) -> String {
    if why.is_empty() {
        "not weighed".into()
    } else if why.starts_with("not weighed") {
        why.to_string()
    } else {
        format!("shown, not weighed: {why}")
    }
}

/// Joins a reason and a further remark.
pub(super) fn with(reason: &str, why: &str) -> String {
    match (reason.is_empty(), why.is_empty()) {
        (_, true) => reason.to_string(),
        (true, false) => why.to_string(),
        (false, false) => format!("{reason}; {why}"),
    }
}

fn lower(steps: &[usize]) -> Option<f64> {
    let numbers: Vec<f64> = steps.iter().filter_map(|s| u32::try_from(*s).ok().map(f64::from)).collect();
    median::medians(&numbers).map(|(low, _)| low)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small whole number again")]
fn as_step(step: f64) -> usize {
    step.max(0.0) as usize
}
