//! Classes that are stated without a count. They never enter a model of counts: publications are shown as
//! stated, and growers' statements are a weighted vote ([`super::vote`]). One voice makes a thin finding, two
//! a likely one, and disagreement a contested one. Where the crop has a count for the same question, no
//! number of statements settles it.

use std::{collections::BTreeSet, sync::Arc};

use super::{
    Finding, Piece, Side, Standing, Value, behind, count_of_sources,
    voice::Heard,
    vote::{self, Ballot},
};
use crate::crop::Descriptor;

/// Least probability of the leading class for each standing, less a margin for rounding.
const SETTLED: f64 = 0.95 - 1e-9;
const LIKELY: f64 = 0.90 - 1e-9;
const THIN: f64 = 0.80 - 1e-9;

/// Returns the finding on a category descriptor.
pub fn finding(descriptor: &Descriptor, own: &[Heard<'_>]) -> Finding {
    let mut ballots = Vec::new();
    let mut pieces = Vec::new();
    for Heard { evidence, voice } in own {
        let voice = voice.clone();
        let (weight, why) = match &evidence.value {
            Value::Class { state } => {
                let weight = voice.weight();
                let mut why = if voice.published {
                    "a publication states it, without a count".to_string()
                } else {
                    format!("one vote of weight {weight:.2}, by how often its author was right")
                };
                if weight <= 0.0 {
                    why.clone_from(&voice.why);
                } else if !voice.why.is_empty() {
                    why = format!("{why}; {}", voice.why);
                }
                ballots.push(Ballot { voice, class: state.clone() });
                (weight, why)
            }
            Value::Tally { .. }
            | Value::Rate { .. }
            | Value::Quantity { .. }
            | Value::Grade { .. }
            | Value::Period { .. }
            | Value::Sighting { .. }
            | Value::Text { .. } => (0.0, "words only: shown, not weighed".to_string()),
        };
        pieces.push(Piece { evidence: Arc::clone(evidence), weight, why });
    }
    let outcome = vote::count(&ballots, descriptor.states.len());
    let mut sides: Vec<Side> = Vec::new();
    let mut behind_side = Vec::new();
    for state in &descriptor.states {
        let of = |published: bool| -> BTreeSet<&str> {
            ballots
                .iter()
                .filter(|b| b.class == state.key && b.voice.trust > 0.0 && b.voice.published == published)
                .map(|b| b.voice.who.as_str())
                .collect()
        };
        let (papers, growers) = (of(true), of(false));
        if papers.is_empty() && growers.is_empty() {
            continue;
        }
        let share = outcome
            .as_ref()
            .and_then(|o| o.sides.iter().find(|s| s.class == state.key))
            .map_or(0.0, |s| s.share);
        behind_side.push((papers.len(), growers.len()));
        sides.push(Side {
            state: state.key.clone(),
            sources: papers.into_iter().map(str::to_string).collect(),
            growers: growers.len(),
            share,
        });
    }
    // Heaviest first; the order of the states breaks ties.
    let mut order: Vec<(Side, (usize, usize))> = sides.into_iter().zip(behind_side).collect();
    order.sort_by(|a, b| b.0.share.total_cmp(&a.0.share));
    let backed = |(side, (papers, growers)): &(Side, (usize, usize))| {
        format!("{}, stated by {}", descriptor.state_label(&side.state), behind(*papers, *growers))
    };
    let papers_disagree = order.iter().filter(|(_, (papers, _))| *papers > 0).count() > 1;
    let probability = outcome.as_ref().map(|o| o.probability);
    let (standing, standing_text) = match (&outcome, order.as_slice()) {
        (None, _) | (_, []) => {
            let silent = !ballots.is_empty();
            let text = if silent { "nothing that counts yet" } else { "no source states a class" };
            (Standing::Unknown, text.to_string())
        }
        (Some(outcome), order) => judge(descriptor, outcome, order, papers_disagree),
    };
    let text = match order.as_slice() {
        [] if ballots.is_empty() => "only described in words".to_string(),
        [] => "stated, but not weighed yet".to_string(),
        many => many.iter().map(backed).collect::<Vec<_>>().join("; but "),
    };
    Finding {
        text,
        standing,
        standing_text,
        voices: outcome.as_ref().map_or(0, |o| o.groups),
        probability,
        sides: order.into_iter().map(|(side, _)| side).collect(),
        pieces,
        ..Finding::of(descriptor)
    }
}

fn judge(
    descriptor: &Descriptor,
    outcome: &vote::Outcome,
    order: &[(Side, (usize, usize))],
    papers_disagree: bool,
) -> (Standing, String) {
    let first = outcome.sides.first();
    let groups = first.map_or(0, |s| s.groups);
    let p = outcome.probability;
    let firm = groups >= 3 && p >= SETTLED;
    if let Some(why) = outcome.contested {
        let only_papers = order.iter().all(|(_, (_, growers))| *growers == 0);
        return (
            Standing::Contested,
            if only_papers { "the sources disagree".to_string() } else { why.to_string() },
        );
    }
    if papers_disagree && !firm {
        return (Standing::Contested, "the sources disagree".to_string());
    }
    let (papers, growers) = order.first().map_or((0, 0), |(_, behind)| *behind);
    if firm && growers > 0 && descriptor.counted_by.is_empty() {
        (Standing::Settled, format!("said independently by {}", behind(papers, growers)))
    } else if groups >= 2 && p >= LIKELY {
        let counted = if growers == 0 {
            format!("{} state it independently, none with a count", count_of_sources(papers))
        } else {
            format!("said independently by {}; statements, not counts", behind(papers, growers))
        };
        (Standing::Likely, counted)
    } else if p >= THIN {
        let text = if growers == 0 && papers == 1 {
            "one source states it, without a count".to_string()
        } else {
            format!("said by {}; more are needed", behind(papers, growers))
        };
        (Standing::Thin, text)
    } else {
        (Standing::Unknown, "too little weight behind it to say".to_string())
    }
}
