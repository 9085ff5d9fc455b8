//! Counted shares, such as seeds with several sprouts or seedlings that proved off-type.
//!
//! Seeds of one tree in one year are alike, so a report on n of them counts for n / (1 + (n - 1) * 0.10)
//! seeds (a design effect, which caps a report at ten), times its quality. The posterior of the share is
//! Beta(1/2 + yes, 1/2 + no). The correlation 0.10, the quality weights and the thresholds below are choices
//! of ours, kept in one place and versioned.

use std::{
    collections::{BTreeMap, BTreeSet, btree_map::Entry},
    sync::Arc,
};

use super::{
    Evidence, Finding, Piece, Standing, Value, behind, count_of_sources,
    voice::{ACCURACY_PRIOR, Heard, Voice, group_factors, is_agreed_with, weight_of},
};
use crate::{crop::Descriptor, stats::Share};

/// Version of the policy; increase it when a policy number in this folder changes.
pub const POLICY_VERSION: u32 = 4;
/// Correlation between seeds of one report.
pub const WITHIN_REPORT: f64 = 0.10;
/// Shares below `FEW` are "few", shares above [`MANY`] are "many".
const FEW: f64 = 0.10;
const MANY: f64 = 0.50;
/// Least probability for calling a share few, and many.
const FEW_SURE: f64 = 0.80;
const MANY_SURE: f64 = 0.90;
/// Confidence of every interval that findings show.
pub const CONFIDENCE: f64 = 0.90;
/// Share of the weight from which a dissent by two independent voices contests an agreement.
const DISSENT_SHARE: f64 = 0.25;
/// Distance between published rates beyond which they contradict each other.
const RATES_APART: f64 = 0.20;

/// Returns the number of independent seeds that `counted` seeds of one report are worth.
pub fn effective_count(counted: f64) -> f64 {
    if counted <= 0.0 { 0.0 } else { counted / (1.0 + (counted - 1.0) * WITHIN_REPORT) }
}

/// How well a report is documented.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Quality {
    /// A count in a publication, by a laboratory or with photographs, or one that an independent grower
    /// agrees with.
    Documented,
    /// A count without such support.
    Counted,
}

impl Quality {
    pub(crate) const fn weight(self) -> f64 {
        match self {
            Self::Documented => 1.0,
            Self::Counted => 0.7,
        }
    }
}

/// A count by one person or publication.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Key of the person or publication; reports with the same key are merged.
    pub who: String,
    /// Number of things counted.
    pub counted: f64,
    /// Number of those that had the trait.
    pub of_these: f64,
    /// How well the report is documented.
    pub quality: Quality,
    /// Group of the person; reports of one group are not independent.
    pub group: String,
    /// Weight from 0 to 1 after checks and the observer's record.
    pub trust: f64,
}

impl Report {
    /// Makes a report by a person who is a group of their own, with full trust.
    pub fn new(who: impl Into<String>, counted: f64, of_these: f64, quality: Quality) -> Self {
        let who = who.into();
        Self { group: who.clone(), who, counted, of_these, quality, trust: 1.0 }
    }
    /// Returns the number of independent seeds that the report is worth.
    pub fn effective(&self) -> f64 {
        effective_count(self.counted) * self.quality.weight() * self.trust
    }
    fn posterior(&self) -> Share {
        let effective = self.effective();
        Share::JEFFREYS.after(effective, effective * self.of_these / self.counted.max(1.0))
    }
}

/// Class of a share: few, many or unclear.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// Below one in ten.
    Few,
    /// Above one in two.
    Many,
    /// In between, or the counts do not decide.
    Unclear,
}

/// A share as estimated from counts.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// Posterior of the share.
    pub posterior: Share,
    /// 90 % interval of the share.
    pub interval: (f64, f64),
    /// Total number of things counted.
    pub counted: u64,
    /// Number of those that had the trait.
    pub of_these: u64,
    /// Total number of independent seeds that the counts are worth.
    pub effective: f64,
    /// Number of independent groups of people and publications that counted.
    pub people: usize,
    /// Class of the share.
    pub size: Size,
    /// Probability of that class.
    pub size_probability: f64,
    /// How firm the estimate is.
    pub standing: Standing,
}

fn size_of(share: Share) -> (Size, f64) {
    let few = share.below(FEW);
    let many = 1.0 - share.below(MANY);
    if few >= FEW_SURE {
        (Size::Few, few)
    } else if many >= MANY_SURE {
        (Size::Many, many)
    } else {
        (Size::Unclear, 1.0 - few - many)
    }
}

fn posterior_of<'a>(reports: impl Iterator<Item = &'a Report>) -> Share {
    reports.fold(Share::JEFFREYS, |share, report| {
        let effective = report.effective();
        share.after(effective, effective * report.of_these / report.counted.max(1.0))
    })
}

/// Merges the reports of each person or publication, because they are not independent, and limits each
/// group's weight.
fn merged(reports: &[Report]) -> Vec<Report> {
    let mut of: BTreeMap<&str, Report> = BTreeMap::new();
    for report in reports.iter().filter(|r| r.counted > 0.0 && r.trust > 0.0) {
        match of.entry(&report.who) {
            Entry::Occupied(mut known) => {
                let known = known.get_mut();
                known.counted += report.counted;
                known.of_these += report.of_these;
                known.trust = known.trust.min(report.trust);
                if report.quality == Quality::Counted {
                    known.quality = Quality::Counted;
                }
            }
            Entry::Vacant(new) => {
                new.insert(report.clone());
            }
        }
    }
    let mut all: Vec<Report> = of.into_values().collect();
    let weights: Vec<(String, String, f64)> =
        all.iter().map(|r| (r.group.clone(), r.who.clone(), r.effective())).collect();
    let factors = group_factors(&weights);
    for report in &mut all {
        if let Some(factor) = factors.get(&report.group) {
            report.trust *= factor;
        }
    }
    all
}

/// A pooled share without a standing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pooled {
    /// Posterior of the share.
    pub posterior: Share,
    /// Total number of things counted.
    pub counted: u64,
    /// Number of independent groups of people and publications that counted.
    pub people: usize,
}

/// Pools reports like [`estimate`], without a standing; `None` without any report that counts.
pub fn pooled(reports: &[Report]) -> Option<Pooled> {
    let reports = merged(reports);
    (!reports.is_empty()).then(|| Pooled {
        posterior: posterior_of(reports.iter()),
        counted: whole(reports.iter().map(|r| r.counted).sum()),
        people: reports.iter().map(|r| &r.group).collect::<BTreeSet<_>>().len(),
    })
}

/// Estimates a share from reports; `None` without any report that counts.
pub fn estimate(reports: &[Report]) -> Option<Estimate> {
    let reports = merged(reports);
    if reports.is_empty() {
        return None;
    }
    let posterior = posterior_of(reports.iter());
    let (size, size_probability) = size_of(posterior);
    let interval = posterior.interval(CONFIDENCE);
    let effective: f64 = reports.iter().map(Report::effective).sum();
    let people = reports.iter().map(|r| &r.group).collect::<BTreeSet<_>>().len();
    let width = interval.1 - interval.0;
    let standing = if contradict(&reports, size) {
        Standing::Contested
    } else if people >= 3 && effective >= 15.0 && size_probability >= 0.95 && width <= 0.35 {
        Standing::Settled
    } else if people >= 2 && effective >= 8.0 && size_probability >= 0.90 {
        Standing::Likely
    } else if size_probability >= 0.80 && effective >= 5.0 {
        Standing::Thin
    } else {
        Standing::Unknown
    };
    Some(Estimate {
        posterior,
        interval,
        counted: whole(reports.iter().map(|r| r.counted).sum()),
        of_these: whole(reports.iter().map(|r| r.of_these).sum()),
        effective,
        people,
        size,
        size_probability,
        standing,
    })
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "sums of u32 counts, never negative"
)]
fn whole(count: f64) -> u64 {
    count.max(0.0) as u64
}

/// Returns whether the counts contradict each other. They do when two lie on different sides of one half, or
/// when one report alone keeps the size from being another class. (If its loss makes the size unclear, that
/// is thin evidence, not a contradiction.) Where three or more independent voices agree, a dissent needs two
/// independent voices and a quarter of the weight; a single dissent does not contest the agreement.
fn contradict(reports: &[Report], size: Size) -> bool {
    // An interval lies below one half when P(share < 1/2) exceeds its upper tail, so the ends are not needed.
    let tail = (1.0 - CONFIDENCE) / 2.0;
    let (mut low, mut high): (Vec<&Report>, Vec<&Report>) = (Vec::new(), Vec::new());
    for report in reports {
        let below = report.posterior().below(MANY);
        if below > 1.0 - tail {
            low.push(report);
        } else if below < tail {
            high.push(report);
        }
    }
    let apart = !low.is_empty() && !high.is_empty();
    let groups = |side: &[&Report]| side.iter().map(|r| &r.group).collect::<BTreeSet<_>>().len();
    let weight = |side: &[&Report]| side.iter().map(|r| r.effective()).sum::<f64>();
    let (fewer, more) = if weight(&low) <= weight(&high) { (&low, &high) } else { (&high, &low) };
    let heard = groups(fewer) >= 2
        && weight(fewer) >= DISSENT_SHARE * reports.iter().map(Report::effective).sum::<f64>();
    let settled_otherwise = groups(more) >= 3;
    if apart && (!settled_otherwise || heard) {
        return true;
    }
    if settled_otherwise && apart {
        return false;
    }
    reports.len() > 1
        && reports.iter().any(|left_out| {
            let (without, _) = size_of(posterior_of(reports.iter().filter(|r| r.who != left_out.who)));
            without != size && without != Size::Unclear
        })
}

/// A published rate without its count, as a share: one figure or a range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PublishedRate {
    /// Lower end; 0 if open.
    pub low: f64,
    /// Upper end; 1 if open.
    pub high: f64,
    /// The mean, if the source gives one.
    pub mean: Option<f64>,
}

/// All published rates without counts on one question, as shares.
#[derive(Clone, Debug, PartialEq)]
pub struct Published {
    /// Lowest lower end.
    pub low: f64,
    /// Highest upper end.
    pub high: f64,
    /// Mean of the sources' own values.
    pub middle: f64,
    /// Each of the rates.
    pub rates: Vec<PublishedRate>,
    /// Keys of the sources.
    pub sources: Vec<String>,
    /// Whether the rates are too far apart to agree.
    pub contradict: bool,
}

fn published(own: &[Heard<'_>]) -> Option<Published> {
    let mut low = f64::INFINITY;
    let mut high = f64::NEG_INFINITY;
    let (mut highest_low, mut lowest_high) = (0.0_f64, 1.0_f64);
    let (mut middles, mut rates) = (Vec::new(), Vec::new());
    let mut sources = Vec::new();
    for (evidence, value) in
        own.iter().filter(|h| h.voice.trust > 0.0).map(|h| (h.evidence, &h.evidence.value))
    {
        let Value::Rate { low: l, high: h, mean } = value else { continue };
        let (l, h) = (l.unwrap_or(0.0) / 100.0, h.unwrap_or(100.0) / 100.0);
        low = low.min(l);
        high = high.max(h);
        highest_low = highest_low.max(l);
        lowest_high = lowest_high.min(h);
        rates.push(PublishedRate { low: l, high: h, mean: mean.map(|m| m / 100.0) });
        middles.push(mean.map_or(f64::midpoint(l, h), |m| m / 100.0));
        if !sources.contains(&evidence.source) {
            sources.push(evidence.source.clone());
        }
    }
    let count = u32::try_from(middles.len()).ok().filter(|n| *n > 0)?;
    // Pieces come in the order of their ids, which differ between databases; sorting removes the difference.
    rates.sort_by(|a, b| a.low.total_cmp(&b.low).then(a.high.total_cmp(&b.high)));
    middles.sort_by(f64::total_cmp);
    sources.sort_unstable();
    Some(Published {
        low,
        high,
        middle: middles.iter().sum::<f64>() / f64::from(count),
        // Two sources do not agree either when one alone spans a wide range.
        contradict: highest_low - lowest_high > RATES_APART
            || (sources.len() > 1 && high - low > RATES_APART),
        rates,
        sources,
    })
}

/// Formats a share as a number in a hundred: `97`, or one decimal below 1.
pub fn in_hundred(share: f64) -> String {
    let percent = share * 100.0;
    if percent > 0.0 && percent < 0.95 { format!("{percent:.1}") } else { format!("{percent:.0}") }
}

fn range_in_hundred(low: f64, high: f64) -> String {
    let (l, h) = (in_hundred(low), in_hundred(high));
    if l == h { l } else { format!("{l} to {h}") }
}

/// Returns a piece's report, and the reason for its weight.
fn report_of(evidence: &Evidence, voice: Voice, counted: u32, of_these: u32) -> (Report, String) {
    let documented = voice.published || is_agreed_with(evidence);
    // A record below the prior reduces the count; a better one does not turn few seeds into more.
    let record = (weight_of(voice.accuracy) / weight_of(ACCURACY_PRIOR)).min(1.0);
    let report = Report {
        who: voice.who,
        group: voice.group,
        counted: f64::from(counted),
        of_these: f64::from(of_these),
        quality: if documented { Quality::Documented } else { Quality::Counted },
        trust: voice.trust * if voice.published { 1.0 } else { record },
    };
    let mut why = if report.trust > 0.0 {
        format!(
            "{counted} counted; those of one report are alike, so they count for {:.1}",
            report.effective()
        )
    } else {
        format!("{counted} counted")
    };
    if !documented && report.trust > 0.0 {
        why.push_str(", less as no one agreed with the count yet");
    }
    if record < 1.0 && !voice.published {
        why.push_str(", less as its author's evidence held up less often than usual");
    }
    if !voice.why.is_empty() {
        why = format!("{why}; {}", voice.why);
    }
    (report, why)
}

/// Returns the finding on a count ratio.
pub fn finding(descriptor: &Descriptor, own: &[Heard<'_>]) -> Finding {
    let mut reports = Vec::new();
    let mut pieces = Vec::new();
    let (mut papers, mut growers) = (BTreeSet::new(), BTreeSet::new());
    for Heard { evidence, voice } in own {
        let piece = |weight: f64, why: String| Piece { evidence: Arc::clone(evidence), weight, why };
        match &evidence.value {
            Value::Tally { counted, of_these } => {
                let (report, why) = report_of(evidence, voice.clone(), *counted, *of_these);
                pieces.push(piece(report.effective(), why));
                if report.trust > 0.0 {
                    (if voice.published { &mut papers } else { &mut growers }).insert(report.who.clone());
                }
                reports.push(report);
            }
            Value::Rate { .. } => {
                pieces.push(piece(0.0, "a rate without its count: shown, not weighed".into()));
            }
            Value::Class { .. }
            | Value::Quantity { .. }
            | Value::Grade { .. }
            | Value::Period { .. }
            | Value::Sighting { .. }
            | Value::Text { .. } => {
                pieces.push(piece(0.0, "words only: shown, not weighed".into()));
            }
        }
    }
    let share = estimate(&reports);
    let published = published(own);
    let (counted, phrase) = (&descriptor.counted, &descriptor.phrase);
    let mut parts = Vec::new();
    if let Some(found) = &share {
        parts.push(format!(
            "{} of {} {counted} {phrase} ({} counted; by itself, between {} and {} in 100)",
            found.of_these,
            found.counted,
            behind(papers.len(), growers.len()),
            in_hundred(found.interval.0),
            in_hundred(found.interval.1),
        ));
    }
    if let Some(rates) = &published {
        let range = if rates.high >= 1.0 && rates.low > 0.0 {
            format!("more than {} in 100", in_hundred(rates.low))
        } else if rates.low <= 0.0 && rates.high < 1.0 && rates.high > 0.0 {
            format!("0 to {} in 100", in_hundred(rates.high))
        } else {
            format!("{} in 100", range_in_hundred(rates.low, rates.high))
        };
        let beside = if share.is_some() { "published without counts: " } else { "" };
        let seeds = if share.is_some() { String::new() } else { format!(" {counted} {phrase}") };
        parts.push(format!(
            "{beside}{range}{seeds} ({}; how many were counted is not on file)",
            rates.sources.join(", ")
        ));
    }
    let waiting =
        pieces.iter().filter(|p| p.weight <= 0.0 && matches!(p.evidence.value, Value::Tally { .. })).count();
    if !parts.is_empty() && waiting > 0 {
        parts.push(format!("{} not weighed yet", super::counted(waiting, "more count")));
    }
    if parts.is_empty() {
        let silent = pieces.iter().any(|p| matches!(p.evidence.value, Value::Tally { .. }));
        parts.push(if silent { "counted, but not weighed yet" } else { "described in words only" }.into());
    }
    let far_from_counts = share
        .as_ref()
        .zip(published.as_ref())
        .is_some_and(|(s, p)| p.low - s.interval.1 > RATES_APART || s.interval.0 - p.high > RATES_APART);
    let (standing, standing_text) = match (&share, &published) {
        _ if far_from_counts || published.as_ref().is_some_and(|p| p.contradict) => {
            (Standing::Contested, "the sources are far apart; tree and year matter".to_string())
        }
        (Some(found), _) => (
            found.standing,
            match found.standing {
                Standing::Settled => "three or more independent counts agree".into(),
                Standing::Likely => "independent counts agree".into(),
                Standing::Thin => {
                    format!("counted by {}; more counts are needed", behind(papers.len(), growers.len()))
                }
                Standing::Unknown if found.effective >= 8.0 => format!(
                    "counted by {}; between few and many, or not clear yet",
                    behind(papers.len(), growers.len())
                ),
                Standing::Unknown => "too few were counted to say".into(),
                Standing::Contested => "the counts disagree".into(),
            },
        ),
        (None, Some(rates)) if rates.sources.len() > 1 => (
            Standing::Likely,
            format!("{} give rates that fit together", count_of_sources(rates.sources.len())),
        ),
        (None, Some(_)) => (Standing::Thin, "one source gives a rate".into()),
        (None, None) if pieces.iter().any(|p| matches!(p.evidence.value, Value::Tally { .. })) => (
            Standing::Unknown,
            "counted by growers who are not vouched for yet, or whom others doubt; it counts once a vouched grower agrees with it".into(),
        ),
        (None, None) => (Standing::Unknown, "no one has counted it".into()),
    };
    Finding {
        text: parts.join("; "),
        standing,
        standing_text,
        voices: share.as_ref().map_or(0, |s| s.people),
        share,
        published,
        pieces,
        ..Finding::of(descriptor)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn report(who: &str, counted: f64, of_these: f64, quality: Quality) -> Report {
        Report::new(who, counted, of_these, quality)
    }
    fn close(found: f64, wanted: f64) {
        assert!((found - wanted).abs() < 6e-5, "found {found}, wanted {wanted}");
    }

    /// Check values of the model, computed with scipy in an independent script.
    #[test]
    fn check_values() {
        use Quality::{Counted, Documented};
        let u1 = report("u1", 100.0, 97.0, Documented);
        let one = estimate(std::slice::from_ref(&u1)).unwrap();
        close(one.posterior.a, 9.3991);
        close(one.posterior.b, 0.7752);
        close(one.posterior.mean(), 0.9238);
        close(one.interval.0, 0.7605);
        close(one.interval.1, 0.9979);
        assert!((one.effective - 9.174).abs() < 5e-4);
        assert_eq!((one.size, one.standing), (Size::Many, Standing::Thin));

        let three =
            estimate(&[u1, report("u2", 20.0, 18.0, Counted), report("u3", 30.0, 28.0, Documented)]).unwrap();
        close(three.posterior.a, 20.9234);
        close(three.posterior.b, 1.7708);
        close(three.interval.0, 0.8146);
        close(three.interval.1, 0.9875);
        assert_eq!((three.size, three.standing), (Size::Many, Standing::Settled));

        let mono = estimate(&[
            report("u1", 40.0, 0.0, Documented),
            report("u2", 25.0, 0.0, Documented),
            report("u3", 30.0, 1.0, Counted),
        ])
        .unwrap();
        close(mono.posterior.a, 0.6795);
        close(mono.posterior.b, 21.2213);
        close(mono.interval.1, 0.105);
        assert!((mono.size_probability - 0.943).abs() < 5e-4);
        assert_eq!((mono.size, mono.standing), (Size::Few, Standing::Likely));

        let against =
            estimate(&[report("u1", 40.0, 38.0, Documented), report("u2", 40.0, 1.0, Documented)]).unwrap();
        close(against.posterior.a, 8.4592);
        close(against.posterior.b, 8.8673);
        close(against.interval.0, 0.2965);
        assert_eq!((against.size, against.standing), (Size::Unclear, Standing::Contested));
    }

    #[test]
    fn one_person_counts_once() {
        let twice =
            [report("u1", 50.0, 49.0, Quality::Documented), report("u1", 50.0, 48.0, Quality::Documented)];
        let found = estimate(&twice).unwrap();
        assert_eq!((found.people, found.counted), (1, 100));
        assert!(found.effective < 10.0);
    }

    /// One voice, however large its count, does not contest what three agree on; two independent ones with a
    /// quarter of the weight do.
    #[test]
    fn a_lone_dissent_does_not_contest_what_is_settled() {
        let honest = |n: usize| (0..n).map(|i| report(&format!("h{i}"), 40.0, 38.0, Quality::Documented));
        let liar = |n: usize| report(&format!("l{n}"), 400.0, 4.0, Quality::Documented);
        let settled = |reports: Vec<Report>| estimate(&reports).unwrap();
        assert_eq!(settled(honest(4).collect()).standing, Standing::Settled);
        assert_ne!(settled(honest(4).chain([liar(0)]).collect()).standing, Standing::Contested);
        assert_eq!(settled(honest(4).chain([liar(0), liar(1)]).collect()).standing, Standing::Contested);
        let mut mates: Vec<Report> = honest(4).chain([liar(0), liar(1), liar(2)]).collect();
        for mate in mates.iter_mut().skip(4) {
            mate.group = "one chain".into();
        }
        let held = settled(mates);
        assert_ne!(held.standing, Standing::Contested, "a crowd of one group is one voice");
        assert_ne!(held.size, Size::Few);
    }

    proptest! {
        #[test]
        fn order_does_not_matter(mut counts in prop::collection::vec((1u32..200, 0u32..200), 1..6)) {
            let reports = |c: &[(u32, u32)]| {
                let one = |(n, x): &(u32, u32)| {
                    report(&format!("{n}-{x}"), f64::from(*n), f64::from((*x).min(*n)), Quality::Documented)
                };
                c.iter().map(one).collect::<Vec<_>>()
            };
            let forward = estimate(&reports(&counts));
            counts.reverse();
            let backward = estimate(&reports(&counts));
            let (f, b) = (forward.unwrap(), backward.unwrap());
            prop_assert_eq!(f.interval, b.interval);
            prop_assert_eq!(f.standing, b.standing);
        }
        #[test]
        fn an_interval_holds_its_mean(n in 1u32..500, share in 0.0f64..=1.0) {
            let x = (f64::from(n) * share).floor();
            let found = estimate(&[report("a", f64::from(n), x, Quality::Counted)]).unwrap();
            prop_assert!(found.interval.0 < found.interval.1);
            prop_assert!((0.0..=1.0).contains(&found.interval.0) && found.interval.1 <= 1.0);
            prop_assert!(found.effective <= 10.0);
        }
    }
}
