//! Evidence and what follows from it. A finding never mixes three different things: a class that somebody
//! states ([`stated`]), a share that somebody counted ([`share`]), and what was measured ([`quantity`]), judged
//! ([`ordinal`]), seen on the calendar ([`period`]) or said in words ([`words`]).
//!
//! Whose voice a piece is, and how much it counts, is in [`voice`]; how growers earn their weight, in
//! [`growers`].

pub mod entry;
pub mod growers;
pub mod median;
pub mod ordinal;
pub mod period;
pub mod quantity;
pub mod share;

pub mod stated;
pub mod tally;
pub mod voice;
pub mod vote;
pub mod words;

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::{
    crop::{Crop, Descriptor, DescriptorKind},
    ids::{CultivarId, EvidenceId},
    season::Span,
    time::Date,
};

pub use voice::{Check, Kind, Method, Observation, Observer, Verdict};

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
        /// Of how many fruits or plants it is the mean; nothing if not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sample: Option<u32>,
    },
    /// The first and the last day of ripe fruit on one tree or in one place in one year; one of them may be
    /// missing.
    Sighting {
        /// First ripe.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        first: Option<Date>,
        /// Last ripe.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        last: Option<Date>,
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
    /// In words, such as `36 of 40` or `350 g`.
    pub fn text(&self, descriptor: &Descriptor) -> String {
        self.said(|state| descriptor.state_label(state).to_string())
    }
    /// The same where the descriptor is not at hand: states by their keys.
    pub fn plain_text(&self) -> String {
        self.said(|state| state.replace('_', " "))
    }
    fn said(&self, label: impl Fn(&str) -> String) -> String {
        let number = |n: f64| {
            let text = format!("{n:.1}");
            text.strip_suffix(".0").map_or(text.clone(), str::to_string)
        };
        match self {
            Self::Class { state } | Self::Grade { state } => label(state),
            Self::Tally { counted, of_these } => format!("{of_these} of {counted}"),
            Self::Rate { low, high, mean } => {
                match (mean.or(low.zip(*high).filter(|(l, h)| l == h).map(|(l, _)| l)), low, high) {
                    (Some(mean), _, _) => format!("{} %", number(mean)),
                    (None, Some(l), Some(h)) => format!("{} to {} %", number(*l), number(*h)),
                    (None, Some(l), None) => format!("{} % or more", number(*l)),
                    (None, None, Some(h)) => format!("up to {} %", number(*h)),
                    (None, None, None) => String::new(),
                }
            }
            Self::Quantity { mean, low, high, unit, sample } => {
                let of = sample.map(|n| format!(" (mean of {n})")).unwrap_or_default();
                match (mean, low, high) {
                    (Some(mean), _, _) => format!("{} {unit}{of}", number(*mean)),
                    (None, Some(l), Some(h)) => format!("{} to {} {unit}", number(*l), number(*h)),
                    (None, Some(l), None) => format!("{} {unit} or more", number(*l)),
                    (None, None, Some(h)) => format!("up to {} {unit}", number(*h)),
                    (None, None, None) => String::new(),
                }
            }
            Self::Sighting { first, last } => match (first, last) {
                (Some(f), Some(l)) => format!("ripe from {f} to {l}"),
                (Some(f), None) => format!("first ripe on {f}"),
                (None, Some(l)) => format!("last ripe on {l}"),
                (None, None) => String::new(),
            },
            Self::Period { from, to } => format!("{} to {}", month_name(*from), month_name(*to)),
            Self::Text { text } => text.clone(),
        }
    }

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
            Self::Sighting { first, last } => {
                descriptor.kind == DescriptorKind::Period
                    && (first.is_some() || last.is_some())
                    && first.zip(*last).is_none_or(|(f, l)| (0..366).contains(&(l.days() - f.days())))
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

/// A month's name from its number; `?` if there is none.
pub fn month_name(month: u8) -> &'static str {
    const NAMES: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    usize::from(month).checked_sub(1).and_then(|at| NAMES.get(at)).copied().unwrap_or("?")
}

/// One piece of evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
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
    /// Who observed it, when, and what others say of it; none for a row of a catalogue.
    pub observed: Option<Box<Observation>>,
}

/// How firm a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
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
    pub evidence: Arc<Evidence>,
    /// Its weight in the model: effective counts, or votes; 0 where it enters none.
    pub weight: f64,
    /// Why.
    pub why: String,
}

/// One side of a question of class.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// The state's key.
    pub state: String,
    /// The sources that back it: keys of sources and citations.
    pub sources: Vec<String>,
    /// How many growers back it, each counted once.
    pub growers: usize,
    /// Its share of the weight, 0 to 1.
    pub share: f64,
}

/// A conclusion in numbers, where the descriptor has some beside [`Finding::share`].
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Summary {
    /// None.
    #[default]
    None,
    /// Steps of an ordinal scale, 0 the first.
    Steps {
        /// Lower and upper median over voices.
        median: (usize, usize),
        /// Quartiles.
        quartiles: (usize, usize),
        /// The 90 % interval of the median, or the whole range of a few voices.
        interval: (usize, usize),
    },
    /// A quantity in the descriptor's unit.
    Quantity {
        /// The median over voices.
        median: f64,
        /// 10 % and 90 % quantiles over voices.
        spread: (f64, f64),
        /// The 90 % interval of the median, or the whole range of a few voices.
        interval: (f64, f64),
    },
    /// Parts of the year, in the phase of the northern hemisphere unless `southern`.
    Period {
        /// Days that at least half of the place-years have.
        core: Vec<Span>,
        /// Days that at least a tenth of them have.
        full: Vec<Span>,
        /// For each half month, the share of place-years with ripe fruit.
        half_months: Vec<f64>,
        /// How many place-years.
        place_years: usize,
        /// All were seen in the southern hemisphere: days are as seen there.
        southern: bool,
    },
}

/// A conclusion that curators set on a citation, above what the evidence gives.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pin {
    /// The descriptor's key.
    pub descriptor: String,
    /// What is concluded.
    pub value: Value,
    /// On what citation.
    pub citation: String,
    /// Why the evidence alone does not do.
    pub reason: String,
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
    /// Independent voices behind it.
    pub voices: usize,
    /// Classes: how probable the leading one is, if voices are right as often as they were.
    pub probability: Option<f64>,
    /// Shares: what was counted.
    pub share: Option<share::Estimate>,
    /// Shares: the range of published rates without counts, 0 to 1.
    pub published: Option<share::Published>,
    /// Other numbers.
    pub summary: Summary,
    /// Classes: the sides.
    pub sides: Vec<Side>,
    /// What it rests on.
    pub pieces: Vec<Piece>,
    /// What curators set above the evidence.
    pub pin: Option<Pin>,
}

impl Finding {
    /// An empty one, to be filled.
    fn of(descriptor: &Descriptor) -> Self {
        Self {
            descriptor: descriptor.key.clone(),
            label: descriptor.label.clone(),
            text: String::new(),
            standing: Standing::Unknown,
            standing_text: String::new(),
            voices: 0,
            probability: None,
            share: None,
            published: None,
            summary: Summary::None,
            sides: Vec::new(),
            pieces: Vec::new(),
            pin: None,
        }
    }
}

/// All findings of one record, in the order of the crop's descriptors. Deterministic: the same evidence in
/// any order gives the same findings.
pub fn findings(crop: &Crop, evidence: &[Arc<Evidence>], pins: &[Pin]) -> Vec<Finding> {
    crop.descriptors
        .iter()
        .filter_map(|descriptor| {
            let own = voice::listen(evidence.iter().filter(|e| e.descriptor == descriptor.key));
            let pin = pins.iter().find(|p| p.descriptor == descriptor.key);
            if own.is_empty() && pin.is_none() {
                return None;
            }
            let found = heard_on(descriptor, &own);
            Some(match pin {
                Some(pin) => pinned(descriptor, found, pin),
                None => found,
            })
        })
        .collect()
}

fn heard_on(descriptor: &Descriptor, own: &[voice::Heard<'_>]) -> Finding {
    match descriptor.kind {
        DescriptorKind::Category => stated::finding(descriptor, own),
        DescriptorKind::CountRatio => share::finding(descriptor, own),
        DescriptorKind::Ordinal => ordinal::finding(descriptor, own),
        DescriptorKind::Quantity => quantity::finding(descriptor, own),
        DescriptorKind::Period => period::finding(descriptor, own),
        DescriptorKind::Text => words::finding(descriptor, own),
    }
}

/// The finding that some pieces alone would give on a descriptor, such as those seen near a place; none without any.
pub fn finding_from<'a>(
    descriptor: &Descriptor,
    pieces: impl Iterator<Item = &'a Arc<Evidence>>,
) -> Option<Finding> {
    let own = voice::listen(pieces.filter(|e| e.descriptor == descriptor.key));
    (!own.is_empty()).then(|| heard_on(descriptor, &own))
}

/// A finding under a pin: the conclusion is the pin's, and what the evidence says stands beside it.
fn pinned(descriptor: &Descriptor, mut finding: Finding, pin: &Pin) -> Finding {
    let evidence_says =
        if finding.text.is_empty() { String::new() } else { format!("; the evidence: {}", finding.text) };
    finding.text =
        format!("{} (set by the curators on {}){evidence_says}", pin.value.text(descriptor), pin.citation);
    if let Value::Class { state } = &pin.value {
        finding.sides =
            vec![Side { state: state.clone(), sources: vec![pin.citation.clone()], growers: 0, share: 1.0 }];
    }
    finding.standing = Standing::Likely;
    finding.standing_text = format!("set by the curators: {}", pin.reason);
    finding.pin = Some(pin.clone());
    finding
}

/// `1 source`, `3 sources`.
fn count_of_sources(count: usize) -> String {
    counted(count, "source")
}

/// `1 grower`, `3 growers`.
pub(crate) fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// `2 sources and 3 growers`: who stands behind something.
fn behind(sources: usize, growers: usize) -> String {
    match (sources, growers) {
        (s, 0) => count_of_sources(s),
        (0, g) => counted(g, "grower"),
        (s, g) => format!("{} and {}", count_of_sources(s), counted(g, "grower")),
    }
}
