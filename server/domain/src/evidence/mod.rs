//! Evidence, and the findings that follow from it. A finding never mixes different kinds of evidence: stated
//! classes ([`stated`]), counted shares ([`share`]), measured quantities ([`quantity`]), graded steps
//! ([`ordinal`]), sightings on the calendar ([`period`]) and descriptions in words ([`words`]).
//!
//! [`voice`] says whose voice a piece is and how much it counts; [`growers`] says how growers earn their
//! weight.

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

/// A value that a grower observed or a source states.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "form", rename_all = "snake_case")]
pub enum Value {
    /// A stated class.
    Class {
        /// Key of the state.
        state: String,
    },
    /// A count within a count, such as 5 of 36 seeds.
    Tally {
        /// Number of things counted.
        counted: u32,
        /// Number of those that had the trait.
        of_these: u32,
    },
    /// A published rate without its count, in percent.
    Rate {
        /// Lower end; `None` if open.
        low: Option<f64>,
        /// Upper end; `None` if open.
        high: Option<f64>,
        /// The mean, if the source gives one as well as the range.
        mean: Option<f64>,
    },
    /// A number or range with a unit.
    Quantity {
        /// Mean value.
        mean: Option<f64>,
        /// Lower end of the range.
        low: Option<f64>,
        /// Upper end of the range.
        high: Option<f64>,
        /// Unit of all three numbers.
        unit: String,
        /// Number of fruits or plants behind the mean; `None` if not given.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sample: Option<u32>,
    },
    /// First and last day of ripe fruit on one tree or in one place in one year; one of them may be missing.
    Sighting {
        /// First day of ripe fruit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        first: Option<Date>,
        /// Last day of ripe fruit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        last: Option<Date>,
    },
    /// A state on an ordinal scale.
    Grade {
        /// Key of the state.
        state: String,
    },
    /// A span of whole months; it may cross the end of the year.
    Period {
        /// First month, 1 to 12.
        from: u8,
        /// Last month, 1 to 12.
        to: u8,
    },
    /// A description in words.
    Text {
        /// The description as the source or grower gives it.
        text: String,
    },
}

impl Value {
    /// Returns the value in words, such as `36 of 40` or `350 g`.
    pub fn text(&self, descriptor: &Descriptor) -> String {
        self.said(|state| descriptor.state_label(state).to_string())
    }
    /// Returns the value in words without its descriptor: states appear by their keys.
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

    /// Checks that the value fits the descriptor.
    ///
    /// # Errors
    /// Returns a message that names the descriptor and its kind when the value does not fit.
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
            // A source may give a text on any descriptor.
            Self::Text { text } => !text.trim().is_empty(),
        };
        if fits {
            Ok(())
        } else {
            Err(format!("a value that fits {:?} ({:?}) expected", descriptor.key, descriptor.kind))
        }
    }
}

/// Returns the English name of a month, 1 to 12; `?` for another number.
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

/// A piece of evidence: one value on one descriptor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// Unique id of the piece.
    pub id: EvidenceId,
    /// Key of the crop.
    pub crop: String,
    /// Record that the piece is about; `None` if it is about the crop as a whole.
    pub cultivar: Option<CultivarId>,
    /// What the piece is about, if there is no record.
    pub subject: String,
    /// Name that the source uses, if different from the record's.
    pub named_as: String,
    /// Key of the descriptor.
    pub descriptor: String,
    /// The observed or stated value.
    pub value: Value,
    /// Place in words; empty if not given.
    pub place: String,
    /// Key of the source.
    pub source: String,
    /// The value in the source's words.
    pub as_stated: String,
    /// Limits and context.
    pub note: String,
    /// Observer, day and checks; `None` for a row of a catalogue.
    pub observed: Option<Box<Observation>>,
}

/// Firmness of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Three or more independent voices agree.
    Settled,
    /// Two or more independent voices agree.
    Likely,
    /// There is little evidence.
    Thin,
    /// There is no evidence, or not enough for a conclusion.
    Unknown,
    /// The evidence contradicts itself.
    Contested,
}

impl Standing {
    /// Returns the word for the standing, as sent to clients.
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

/// A piece of evidence in a finding, with its weight and the reason for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// The piece itself.
    pub evidence: Arc<Evidence>,
    /// Weight in the model: effective counts, or votes; 0 if the piece enters no model.
    pub weight: f64,
    /// Reason for the weight, in words.
    pub why: String,
}

/// One of the answers to a question of class.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// Key of the state.
    pub state: String,
    /// Keys of the sources and citations that support it.
    pub sources: Vec<String>,
    /// Number of growers who support it, each counted once.
    pub growers: usize,
    /// Share of the weight, 0 to 1.
    pub share: f64,
}

/// A conclusion in numbers, other than [`Finding::share`].
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Summary {
    /// The finding has no other numbers.
    #[default]
    None,
    /// Steps of an ordinal scale, counted from 0.
    Steps {
        /// Lower and upper median over voices.
        median: (usize, usize),
        /// Lower and upper quartile over voices.
        quartiles: (usize, usize),
        /// 90 % interval of the median, or the whole range with few voices.
        interval: (usize, usize),
    },
    /// A quantity in the descriptor's unit.
    Quantity {
        /// Median over voices.
        median: f64,
        /// 10 % and 90 % quantiles over voices.
        spread: (f64, f64),
        /// 90 % interval of the median, or the whole range with few voices.
        interval: (f64, f64),
    },
    /// Parts of the year, in the phase of the northern hemisphere unless `southern`.
    Period {
        /// Days with ripe fruit in at least half of the place-years.
        core: Vec<Span>,
        /// Days with ripe fruit in at least a tenth of the place-years.
        full: Vec<Span>,
        /// For each half month from early January, the share of place-years with ripe fruit.
        half_months: Vec<f64>,
        /// Number of place-years.
        place_years: usize,
        /// Whether all sightings are from the southern hemisphere, and the days are as seen there.
        southern: bool,
    },
}

/// A conclusion that curators set on a citation; it overrides the evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pin {
    /// Key of the descriptor.
    pub descriptor: String,
    /// The value that the curators set.
    pub value: Value,
    /// Citation that the value is based on.
    pub citation: String,
    /// Reason why the evidence alone is not enough.
    pub reason: String,
}

/// The conclusion on one descriptor.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Key of the descriptor.
    pub descriptor: String,
    /// Label of the descriptor, for display.
    pub label: String,
    /// The conclusion in words.
    pub text: String,
    /// How firm the conclusion is.
    pub standing: Standing,
    /// The standing in words.
    pub standing_text: String,
    /// Number of independent voices that support it.
    pub voices: usize,
    /// For classes: probability of the leading one, if voices are right as often as they were so far.
    pub probability: Option<f64>,
    /// For shares: the estimate from counts.
    pub share: Option<share::Estimate>,
    /// For shares: the range of published rates without counts, 0 to 1.
    pub published: Option<share::Published>,
    /// Further numbers.
    pub summary: Summary,
    /// For classes: the answers, heaviest first.
    pub sides: Vec<Side>,
    /// Every piece of evidence on the question, with its weight.
    pub pieces: Vec<Piece>,
    /// Value that curators set to override the evidence.
    pub pin: Option<Pin>,
}

impl Finding {
    /// Returns an empty finding to fill in.
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

/// Returns all findings of one record, in the order of the crop's descriptors. The order of the evidence does
/// not change the findings.
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

/// Returns the finding that these pieces alone give on a descriptor, such as those seen near a place; `None`
/// without any.
pub fn finding_from<'a>(
    descriptor: &Descriptor,
    pieces: impl Iterator<Item = &'a Arc<Evidence>>,
) -> Option<Finding> {
    let own = voice::listen(pieces.filter(|e| e.descriptor == descriptor.key));
    (!own.is_empty()).then(|| heard_on(descriptor, &own))
}

/// Applies a pin: its value becomes the conclusion, and the text adds what the evidence says.
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

/// Formats a count of sources: `1 source`, `3 sources`.
fn count_of_sources(count: usize) -> String {
    counted(count, "source")
}

/// Formats a count of anything with a regular plural: `1 grower`, `3 growers`.
pub(crate) fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// Formats the supporters of a finding: `2 sources and 3 growers`.
fn behind(sources: usize, growers: usize) -> String {
    match (sources, growers) {
        (s, 0) => count_of_sources(s),
        (0, g) => counted(g, "grower"),
        (s, g) => format!("{} and {}", count_of_sources(s), counted(g, "grower")),
    }
}
