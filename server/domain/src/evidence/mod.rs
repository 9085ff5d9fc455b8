//! Evidence and what follows from it. A finding never mixes three different things: a class that a source
//! states ([`stated`]), a share that somebody counted ([`share`]), and other descriptions ([`described`]).

pub mod described;
pub mod share;
pub mod stated;

use serde::{Deserialize, Serialize};

use crate::{
    crop::{Crop, Descriptor, DescriptorKind},
    ids::{CultivarId, EvidenceId},
};

/// What was observed or stated.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "form", rename_all = "snake_case")]
pub enum Value {
    /// A stated class.
    Class {
        /// The state's key.
        state: String,
    },
    /// So many of so many.
    Tally {
        /// Counted.
        counted: u32,
        /// Of these.
        of_these: u32,
    },
    /// A published rate without its count, in percent.
    Rate {
        /// Lower end; open if absent.
        low: Option<f64>,
        /// Upper end; open if absent.
        high: Option<f64>,
        /// The mean, where the source gives one beside the range.
        mean: Option<f64>,
    },
    /// A number with a unit.
    Quantity {
        /// The mean.
        mean: Option<f64>,
        /// Lower end.
        low: Option<f64>,
        /// Upper end.
        high: Option<f64>,
        /// The unit.
        unit: String,
    },
    /// A state in order.
    Grade {
        /// The state's key.
        state: String,
    },
    /// From one month to another; may pass the year's end.
    Period {
        /// First month, 1 to 12.
        from: u8,
        /// Last month, 1 to 12.
        to: u8,
    },
    /// Words.
    Text {
        /// The words.
        text: String,
    },
}

impl Value {
    /// Whether it fits the descriptor; what was expected if not.
    ///
    /// # Errors
    /// What was expected, in words.
    pub fn check(&self, descriptor: &Descriptor) -> Result<(), String> {
        let known = |state: &String| descriptor.states.iter().any(|s| s.key == *state);
        let fits = match self {
            Self::Class { state } => descriptor.kind == DescriptorKind::Category && known(state),
            Self::Grade { state } => descriptor.kind == DescriptorKind::Ordinal && known(state),
            Self::Tally { counted, of_these } => {
                descriptor.kind == DescriptorKind::CountRatio && *counted > 0 && of_these <= counted
            }
            Self::Rate { low, high, mean } => {
                let percent = |v: &Option<f64>| v.is_none_or(|v| (0.0..=100.0).contains(&v));
                descriptor.kind == DescriptorKind::CountRatio
                    && (low.is_some() || high.is_some())
                    && [low, high, mean].into_iter().all(percent)
                    && low.zip(*high).is_none_or(|(l, h)| l <= h)
            }
            Self::Quantity { mean, low, high, .. } => {
                descriptor.kind == DescriptorKind::Quantity
                    && [mean, low, high].into_iter().flatten().all(|v| v.is_finite() && *v >= 0.0)
                    && (mean.is_some() || low.is_some() || high.is_some())
            }
            Self::Period { from, to } => {
                descriptor.kind == DescriptorKind::Period && (1..=12).contains(from) && (1..=12).contains(to)
            }
            // a source may give only words on any descriptor
            Self::Text { text } => !text.trim().is_empty(),
        };
        if fits {
            Ok(())
        } else {
            Err(format!("a value that fits {:?} ({:?}) expected", descriptor.key, descriptor.kind))
        }
    }
}

/// One piece of evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Evidence {
    /// Its id.
    pub id: EvidenceId,
    /// The crop's key.
    pub crop: String,
    /// The record it is about; none where it is about the crop as a whole.
    pub cultivar: Option<CultivarId>,
    /// What it is about, where there is no record.
    pub subject: String,
    /// The name that the source used, if another.
    pub named_as: String,
    /// The descriptor's key.
    pub descriptor: String,
    /// What was observed or stated.
    pub value: Value,
    /// Where, if said.
    pub place: String,
    /// The source's key.
    pub source: String,
    /// As the source put it.
    pub as_stated: String,
    /// What to bear in mind.
    pub note: String,
}

/// How firm a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// Three or more independent counts agree.
    Settled,
    /// Two or more agree.
    Likely,
    /// Little evidence.
    Thin,
    /// No evidence, or too little to say.
    Unknown,
    /// The evidence disagrees.
    Contested,
}

impl Standing {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Settled => "settled",
            Self::Likely => "likely",
            Self::Thin => "thin",
            Self::Unknown => "unknown",
            Self::Contested => "contested",
        }
    }
}

/// A piece of evidence in a finding, with its weight and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// The evidence.
    pub evidence: Evidence,
    /// Effective count in the model; 0 where it enters none.
    pub weight: f64,
    /// Why.
    pub why: String,
}

/// One side of a question of class.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Side {
    /// The state's key.
    pub state: String,
    /// The sources that back it.
    pub sources: Vec<String>,
}

/// What is concluded on one descriptor.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// The descriptor's key.
    pub descriptor: String,
    /// Its label.
    pub label: String,
    /// The conclusion in words.
    pub text: String,
    /// How firm.
    pub standing: Standing,
    /// The standing in words.
    pub standing_text: String,
    /// Shares: what was counted.
    pub share: Option<share::Estimate>,
    /// Shares: the range of published rates without counts, 0 to 1.
    pub published: Option<share::Published>,
    /// Classes: the sides.
    pub sides: Vec<Side>,
    /// What it rests on.
    pub pieces: Vec<Piece>,
}

/// All findings of one record, in the order of the crop's descriptors. Deterministic: the same evidence in
/// any order gives the same findings.
pub fn findings(crop: &Crop, evidence: &[Evidence]) -> Vec<Finding> {
    crop.descriptors
        .iter()
        .filter_map(|descriptor| {
            let mut own: Vec<&Evidence> =
                evidence.iter().filter(|e| e.descriptor == descriptor.key).collect();
            own.sort_by_key(|e| e.id);
            if own.is_empty() {
                return None;
            }
            Some(match descriptor.kind {
                DescriptorKind::Category => stated::finding(descriptor, &own),
                DescriptorKind::CountRatio => share::finding(descriptor, &own),
                DescriptorKind::Ordinal
                | DescriptorKind::Quantity
                | DescriptorKind::Period
                | DescriptorKind::Text => described::finding(descriptor, &own),
            })
        })
        .collect()
}

/// The distinct sources of some evidence, in order.
fn sources(own: &[&Evidence]) -> Vec<String> {
    let mut all: Vec<String> = own.iter().map(|e| e.source.clone()).collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// `1 source`, `3 sources`.
fn count_of_sources(count: usize) -> String {
    if count == 1 { "1 source".into() } else { format!("{count} sources") }
}
