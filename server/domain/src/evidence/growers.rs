//! Measures how well growers' evidence held up. A nightly job makes this weight table.
//!
//! Each piece is compared with what independent other growers say on the same question (leave-one-out).
//! Everyone has the prior weight there, so no grower can lift another. A comparison counts only where the
//! others are sure by themselves; the checks by one independent group count as half a comparison. The
//! accuracy shrinks towards the prior, so a few pieces change little, and becomes log-odds
//! ([`super::voice::weight_of`]). The table decides nothing by itself; the contested flag protects a
//! conclusion.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::{
    Evidence, Value, Verdict, median,
    share::{self, Quality, Report, Size},
    voice::{ACCURACY_PRIOR, Heard, PRIOR_VOTES, listen},
    vote::{self, Ballot},
};
use crate::{
    crop::{Crop, Descriptor, DescriptorKind},
    ids::AccountId,
};

/// Lowest probability at which the others are sure of a class.
const SURE: f64 = 0.90;
/// Largest deviation from the others' median, relative to that median, at which a measure is right.
const WITHIN: f64 = 0.30;
/// Weight of one group's checks of one author, relative to a comparison.
const CHECK_VOTE: f64 = 0.5;

/// How well one grower's evidence held up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Record {
    /// Number of comparisons made; the checks by one group count together as half.
    pub compared: f64,
    /// Number of those comparisons in which the grower was right.
    pub right: f64,
    /// Number of checks by independent groups that agree with a piece.
    pub borne_out: u32,
    /// Number of checks by independent groups that doubt a piece.
    pub doubted: u32,
    /// Number of pieces of evidence in total.
    pub pieces: u32,
}

impl Record {
    /// Returns how often the grower's evidence is right, shrunk towards the prior.
    pub fn accuracy(&self) -> f64 {
        (self.right + ACCURACY_PRIOR * PRIOR_VOTES) / (self.compared + PRIOR_VOTES)
    }
    fn note(&mut self, right: f64, weight: f64) {
        self.compared += weight;
        self.right += weight * right;
    }
}

/// The weight table under construction.
#[derive(Debug, Default)]
pub struct Table {
    records: BTreeMap<AccountId, Record>,
    /// Checks by (author, checker's group): number that agree, number in total.
    checks: BTreeMap<(AccountId, AccountId), (f64, f64)>,
}

impl Table {
    /// Adds what one cultivar record's evidence shows about its growers.
    pub fn add(&mut self, crop: &Crop, evidence: &[Arc<Evidence>]) {
        for piece in evidence {
            let Some(observed) = &piece.observed else { continue };
            let record = self.records.entry(observed.by.account).or_default();
            record.pieces = record.pieces.saturating_add(1);
            let mut groups = BTreeSet::new();
            for check in observed.checks.iter().rev() {
                let independent = check.by.counts()
                    && check.by.account != observed.by.account
                    && check.by.group != observed.by.group
                    && groups.insert(check.by.group);
                if independent {
                    let out = check.verdict == Verdict::Agrees;
                    let said = self.checks.entry((observed.by.account, check.by.group)).or_default();
                    said.0 += if out { 1.0 } else { 0.0 };
                    said.1 += 1.0;
                    let counted = if out { &mut record.borne_out } else { &mut record.doubted };
                    *counted = counted.saturating_add(1);
                }
            }
        }
        for descriptor in &crop.descriptors {
            self.compare(descriptor, evidence.iter().filter(|e| e.descriptor == descriptor.key));
        }
    }

    /// Compares each grower's pieces on one question with what independent others are sure of.
    fn compare<'a>(&mut self, descriptor: &Descriptor, own: impl Iterator<Item = &'a Arc<Evidence>>) {
        let mut own = listen(own);
        if own.len() < 2 {
            return;
        }
        for heard in &mut own {
            // Everyone gets the prior; otherwise a circle of growers could lift itself.
            heard.voice.accuracy = ACCURACY_PRIOR;
        }
        let mut of_group: BTreeMap<&str, Vec<&Heard<'_>>> = BTreeMap::new();
        for heard in own.iter().filter(|h| h.evidence.observed.is_some() && !h.voice.published) {
            of_group.entry(&heard.voice.group).or_default().push(heard);
        }
        for (group, members) in of_group {
            let others: Vec<&Heard<'_>> =
                own.iter().filter(|h| h.voice.group != group && h.voice.trust > 0.0).collect();
            let Some(consensus) = Consensus::of(descriptor, &others) else { continue };
            // Several pieces of one grower on one question make one comparison.
            let mut of_grower: BTreeMap<AccountId, (f64, f64)> = BTreeMap::new();
            for heard in members {
                let Some(observed) = &heard.evidence.observed else { continue };
                if let Some(right) = consensus.agrees(descriptor, &heard.evidence.value) {
                    let entry = of_grower.entry(observed.by.account).or_default();
                    entry.0 += if right { 1.0 } else { 0.0 };
                    entry.1 += 1.0;
                }
            }
            for (grower, (right, of)) in of_grower {
                self.records.entry(grower).or_default().note(right / of, 1.0);
            }
        }
    }

    /// Returns the table. All checks that one group makes of one author count together as half a comparison,
    /// so no one can silence another grower by doubting piece after piece.
    pub fn finish(mut self) -> BTreeMap<AccountId, Record> {
        for ((author, _), (out, all)) in self.checks {
            self.records.entry(author).or_default().note(out / all, CHECK_VOTE);
        }
        self.records
    }
}

/// Returns one value for each group, the lower median of its own, so that no group counts twice.
fn of_groups(others: &[&Heard<'_>], number: impl Fn(&Value) -> Option<f64>) -> Vec<f64> {
    let mut of: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for heard in others {
        if let Some(value) = number(&heard.evidence.value) {
            of.entry(&heard.voice.group).or_default().push(value);
        }
    }
    of.values().filter_map(|own| median::medians(own)).map(|(low, _)| low).collect()
}

/// What the other growers are sure of.
enum Consensus {
    /// A class, by its key.
    Class(String),
    /// Grades from the lower to the upper median.
    Steps(f64, f64),
    /// 90 % interval of a share.
    Share(f64, f64),
    /// Median and range of the measures.
    Measure { middle: f64, low: f64, high: f64 },
}

impl Consensus {
    /// Returns what the others are sure of; `None` when they are not sure or fewer than two independent
    /// groups speak.
    fn of(descriptor: &Descriptor, others: &[&Heard<'_>]) -> Option<Self> {
        let groups: BTreeSet<&str> = others.iter().map(|h| h.voice.group.as_str()).collect();
        if groups.len() < 2 {
            return None;
        }
        match descriptor.kind {
            DescriptorKind::Category => {
                let ballots: Vec<Ballot> = others
                    .iter()
                    .filter_map(|h| {
                        let Value::Class { state } = &h.evidence.value else { return None };
                        Some(Ballot { voice: h.voice.clone(), class: state.clone() })
                    })
                    .collect();
                let outcome = vote::count(&ballots, descriptor.states.len())?;
                let sure = outcome.groups >= 2 && outcome.probability >= SURE;
                outcome.sides.into_iter().next().filter(|_| sure).map(|s| Self::Class(s.class))
            }
            DescriptorKind::Ordinal => {
                let steps = of_groups(others, |value| {
                    let Value::Grade { state } = value else { return None };
                    let at = descriptor.states.iter().position(|s| s.key == *state)?;
                    u32::try_from(at).ok().map(f64::from)
                });
                let (low, high) = median::medians(&steps)?;
                let near = steps.iter().filter(|s| **s + 1.0 >= low && **s <= high + 1.0).count();
                // Others whose grades lie far apart are sure of nothing.
                (3 * near >= 2 * steps.len()).then_some(Self::Steps(low, high))
            }
            DescriptorKind::CountRatio => {
                let reports: Vec<Report> = others
                    .iter()
                    .filter_map(|h| {
                        let voice = &h.voice;
                        let Value::Tally { counted, of_these } = &h.evidence.value else { return None };
                        let report = Report::new(
                            voice.who.clone(),
                            f64::from(*counted),
                            f64::from(*of_these),
                            Quality::Counted,
                        );
                        Some(Report { group: voice.group.clone(), trust: voice.trust, ..report })
                    })
                    .collect();
                let rest = share::estimate(&reports)?;
                (rest.people >= 2 && rest.size != Size::Unclear)
                    .then_some(Self::Share(rest.interval.0, rest.interval.1))
            }
            DescriptorKind::Quantity => {
                let values = of_groups(others, |value| {
                    let Value::Quantity { mean, .. } = value else { return None };
                    *mean
                });
                Some(Self::Measure {
                    middle: median::middle(&values)?,
                    low: values.iter().copied().fold(f64::INFINITY, f64::min),
                    high: values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
                })
            }
            DescriptorKind::Period | DescriptorKind::Text => None,
        }
    }

    /// Returns whether a value agrees with the consensus; `None` for another form of value.
    fn agrees(&self, descriptor: &Descriptor, value: &Value) -> Option<bool> {
        match self {
            Self::Class(class) => {
                let Value::Class { state } = value else { return None };
                Some(state == class)
            }
            Self::Steps(low, high) => {
                let Value::Grade { state } = value else { return None };
                let at = descriptor.states.iter().position(|s| s.key == *state)?;
                let own = u32::try_from(at).ok().map(f64::from)?;
                Some(own + 1.0 >= *low && own <= *high + 1.0)
            }
            Self::Share(low, high) => {
                let Value::Tally { counted, of_these } = value else { return None };
                let own = share::estimate(&[Report::new(
                    "own",
                    f64::from(*counted),
                    f64::from(*of_these),
                    Quality::Counted,
                )])?;
                // Overlapping intervals do not contradict each other.
                Some(own.interval.0 <= *high && *low <= own.interval.1)
            }
            Self::Measure { middle, low, high } => {
                let Value::Quantity { mean: Some(mean), .. } = value else { return None };
                Some((mean - middle).abs() <= WITHIN * middle || (*low..=*high).contains(mean))
            }
        }
    }
}
