//! How well growers' evidence held up: the weight table that a nightly job makes.
//!
//! A piece is compared with what independent others say of the same question (leave-one-out, everybody at the
//! prior weight, so that no grower lifts another). It is right or wrong only where the others are sure by
//! themselves; independent checks count half a piece each. The accuracy is shrunk towards the prior, so that a
//! few pieces change little, and turned into log-odds ([`super::voice::weight_of`]). The table decides nothing by
//! itself; a conclusion is defended by the contested flag.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::{
    Evidence, Value, Verdict, median,
    share::{self, Quality, Report, Size},
    voice::{ACCURACY_PRIOR, PRIOR_VOTES, Voice, voice},
    vote::{self, Ballot},
};
use crate::{
    crop::{Crop, Descriptor, DescriptorKind},
    ids::AccountId,
};

/// Others are sure of a class from this probability on.
const SURE: f64 = 0.90;
/// A measure within this share of the others' median is right.
const WITHIN: f64 = 0.30;
/// What an independent check counts beside a comparison.
const CHECK_VOTE: f64 = 0.5;

/// How one grower's evidence held up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Record {
    /// Comparisons that could be made, checks as halves.
    pub compared: f64,
    /// Of these, right.
    pub right: f64,
    /// Independent growers who bore a piece out.
    pub borne_out: u32,
    /// Independent growers who doubted a piece.
    pub doubted: u32,
    /// Pieces in all.
    pub pieces: u32,
}

impl Record {
    /// How often their evidence is right, shrunk towards the prior.
    pub fn accuracy(&self) -> f64 {
        (self.right + ACCURACY_PRIOR * PRIOR_VOTES) / (self.compared + PRIOR_VOTES)
    }
    fn note(&mut self, right: bool, weight: f64) {
        self.compared += weight;
        if right {
            self.right += weight;
        }
    }
}

/// Adds what one record's evidence tells of its growers.
pub fn add(records: &mut BTreeMap<AccountId, Record>, crop: &Crop, evidence: &[Arc<Evidence>]) {
    for piece in evidence {
        let Some(observed) = &piece.observed else { continue };
        let record = records.entry(observed.by.account).or_default();
        record.pieces = record.pieces.saturating_add(1);
        let mut groups = BTreeSet::new();
        for check in observed.checks.iter().rev() {
            let independent = check.by.counts()
                && check.by.account != observed.by.account
                && check.by.group != observed.by.group
                && groups.insert(check.by.group);
            if independent {
                let out = check.verdict == Verdict::BearsOut;
                record.note(out, CHECK_VOTE);
                if out {
                    record.borne_out = record.borne_out.saturating_add(1);
                } else {
                    record.doubted = record.doubted.saturating_add(1);
                }
            }
        }
    }
    for descriptor in &crop.descriptors {
        let own: Vec<(&Evidence, Voice)> = evidence
            .iter()
            .filter(|e| e.descriptor == descriptor.key)
            .map(|e| {
                // everybody at the prior: otherwise a circle could lift itself
                (e.as_ref(), Voice { accuracy: ACCURACY_PRIOR, ..voice(e) })
            })
            .collect();
        if own.len() < 2 {
            continue;
        }
        for (piece, judged) in &own {
            let Some(observed) = &piece.observed else { continue };
            if judged.published {
                continue;
            }
            let others: Vec<&(&Evidence, Voice)> =
                own.iter().filter(|(_, v)| v.group != judged.group && v.trust > 0.0).collect();
            if let Some(right) = agrees(descriptor, piece, &others) {
                records.entry(observed.by.account).or_default().note(right, 1.0);
            }
        }
    }
}

/// Whether a piece agrees with what others are sure of; nothing where they are not.
fn agrees(descriptor: &Descriptor, piece: &Evidence, others: &[&(&Evidence, Voice)]) -> Option<bool> {
    match (descriptor.kind, &piece.value) {
        (DescriptorKind::Category, Value::Class { state }) => {
            let ballots: Vec<Ballot> = others
                .iter()
                .filter_map(|(e, voice)| match &e.value {
                    Value::Class { state } => Some(Ballot { voice: voice.clone(), class: state.clone() }),
                    Value::Tally { .. }
                    | Value::Rate { .. }
                    | Value::Quantity { .. }
                    | Value::Grade { .. }
                    | Value::Period { .. }
                    | Value::Sighting { .. }
                    | Value::Text { .. } => None,
                })
                .collect();
            let outcome = vote::count(&ballots, descriptor.states.len())?;
            let sure = outcome.groups >= 2 && outcome.probability >= SURE;
            sure.then(|| outcome.sides.first().is_some_and(|s| s.class == *state))
        }
        (DescriptorKind::Ordinal, Value::Grade { state }) => {
            let step = |key: &str| descriptor.states.iter().position(|s| s.key == key);
            let steps: Vec<usize> = others
                .iter()
                .filter_map(|(e, _)| if let Value::Grade { state } = &e.value { step(state) } else { None })
                .collect();
            let groups: BTreeSet<&str> = others.iter().map(|(_, v)| v.group.as_str()).collect();
            let found = median::steps(&steps, SURE)?;
            let own = step(state)?;
            let near = own + 1 >= found.median.0 && own <= found.median.1 + 1;
            (groups.len() >= 2).then_some(near)
        }
        (DescriptorKind::CountRatio, Value::Tally { counted, of_these }) => {
            let report = |e: &Evidence, voice: &Voice| match &e.value {
                Value::Tally { counted, of_these } => Some(Report {
                    group: voice.group.clone(),
                    trust: voice.trust,
                    ..Report::new(
                        voice.who.clone(),
                        f64::from(*counted),
                        f64::from(*of_these),
                        Quality::Counted,
                    )
                }),
                Value::Class { .. }
                | Value::Rate { .. }
                | Value::Quantity { .. }
                | Value::Grade { .. }
                | Value::Period { .. }
                | Value::Sighting { .. }
                | Value::Text { .. } => None,
            };
            let reports: Vec<Report> = others.iter().filter_map(|(e, v)| report(e, v)).collect();
            let rest = share::estimate(&reports)?;
            let own = share::estimate(&[Report::new(
                "own",
                f64::from(*counted),
                f64::from(*of_these),
                Quality::Counted,
            )])?;
            let sure = rest.people >= 2 && rest.size != Size::Unclear;
            // intervals that touch do not contradict each other
            sure.then(|| own.interval.0 <= rest.interval.1 && rest.interval.0 <= own.interval.1)
        }
        (DescriptorKind::Quantity, Value::Quantity { mean: Some(mean), .. }) => {
            let values: Vec<f64> = others
                .iter()
                .filter_map(|(e, _)| if let Value::Quantity { mean, .. } = &e.value { *mean } else { None })
                .collect();
            let groups: BTreeSet<&str> = others.iter().map(|(_, v)| v.group.as_str()).collect();
            let middle = median::middle(&values)?;
            let low = values.iter().copied().fold(f64::INFINITY, f64::min);
            let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let near = (mean - middle).abs() <= WITHIN * middle || (low..=high).contains(mean);
            (groups.len() >= 2).then_some(near)
        }
        (
            DescriptorKind::Category
            | DescriptorKind::CountRatio
            | DescriptorKind::Ordinal
            | DescriptorKind::Quantity
            | DescriptorKind::Period
            | DescriptorKind::Text,
            _,
        ) => None,
    }
}
