//! Shares that somebody counted, such as seeds with several sprouts or seedlings that proved off-type.
//!
//! Seeds of one tree in one year are alike, so a report on n of them counts for
//! n / (1 + (n - 1) * 0.10) (a design effect; it caps a report at ten), times its quality. What is known of
//! the share is then Beta(1/2 + yes, 1/2 + no). The correlation 0.10, the quality weights and the grade
//! lines below are choices of ours, kept in one place and versioned.

use super::{Evidence, Finding, Piece, Standing, Value, count_of_sources};
use crate::{crop::Descriptor, stats::Share};

/// Counts up when a number in this file changes.
pub const POLICY_VERSION: u32 = 1;
/// Correlation between seeds of one report.
const WITHIN_REPORT: f64 = 0.10;
/// Shares below this line are "few", above [`MANY`] "many".
const FEW: f64 = 0.10;
const MANY: f64 = 0.50;
/// How sure one must be to call it few, or many.
const FEW_SURE: f64 = 0.80;
const MANY_SURE: f64 = 0.90;
/// Confidence of every interval shown.
pub const CONFIDENCE: f64 = 0.90;
/// Published rates further apart than this contradict each other.
const RATES_APART: f64 = 0.20;

/// How well a report was made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Quality {
    /// A publication that counted, a laboratory, or counts with photographs.
    Documented,
    /// Counts without anything beside them.
    Counted,
}

impl Quality {
    const fn weight(self) -> f64 {
        match self {
            Self::Documented => 1.0,
            Self::Counted => 0.7,
        }
    }
}

/// One person's or publication's count.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Who counted: reports of one are merged.
    pub who: String,
    /// Counted.
    pub counted: f64,
    /// Of these.
    pub of_these: f64,
    /// How well.
    pub quality: Quality,
}

impl Report {
    /// For how many independent seeds it counts.
    pub fn effective(&self) -> f64 {
        if self.counted <= 0.0 {
            return 0.0;
        }
        self.counted / (1.0 + (self.counted - 1.0) * WITHIN_REPORT) * self.quality.weight()
    }
    fn posterior(&self) -> Share {
        let effective = self.effective();
        Share::JEFFREYS.after(effective, effective * self.of_these / self.counted.max(1.0))
    }
}

/// Few, many, or between.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// Below one in ten.
    Few,
    /// Above one in two.
    Many,
    /// Between, or not clear.
    Unclear,
}

/// What counts tell of a share.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// What is known of it.
    pub posterior: Share,
    /// The 90 % interval.
    pub interval: (f64, f64),
    /// Counted in all.
    pub counted: u64,
    /// Of these.
    pub of_these: u64,
    /// Effective count in all.
    pub effective: f64,
    /// People and publications that counted.
    pub people: usize,
    /// Few, many or between.
    pub size: Size,
    /// How sure that is.
    pub size_probability: f64,
    /// Its standing.
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

/// Reports of one person or publication are not independent: they are one report.
fn merged(reports: &[Report]) -> Vec<Report> {
    let mut all: Vec<Report> = Vec::new();
    for report in reports.iter().filter(|r| r.counted > 0.0) {
        match all.iter_mut().find(|r| r.who == report.who) {
            Some(known) => {
                known.counted += report.counted;
                known.of_these += report.of_these;
                if report.quality == Quality::Counted {
                    known.quality = Quality::Counted;
                }
            }
            None => all.push(report.clone()),
        }
    }
    all.sort_by(|a, b| a.who.cmp(&b.who));
    all
}

/// What some reports tell; nothing without any.
pub fn estimate(reports: &[Report]) -> Option<Estimate> {
    let reports = merged(reports);
    if reports.is_empty() {
        return None;
    }
    let posterior = posterior_of(reports.iter());
    let (size, size_probability) = size_of(posterior);
    let interval = posterior.interval(CONFIDENCE);
    let effective: f64 = reports.iter().map(Report::effective).sum();
    let people = reports.len();
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

/// Two reports lie apart on different sides of one half, or one report alone keeps the size from being
/// another one. Losing a report may make the size unclear: that is thin evidence, not a contradiction.
fn contradict(reports: &[Report], size: Size) -> bool {
    let intervals: Vec<(f64, f64)> = reports.iter().map(|r| r.posterior().interval(CONFIDENCE)).collect();
    let apart = intervals.iter().any(|a| intervals.iter().any(|b| a.1 < b.0 && a.1 < MANY && b.0 > MANY));
    let hinges = reports.len() > 1
        && reports.iter().any(|left_out| {
            let (without, _) = size_of(posterior_of(reports.iter().filter(|r| r.who != left_out.who)));
            without != size && without != Size::Unclear
        });
    apart || hinges
}

/// Published rates without their counts, as shares.
#[derive(Clone, Debug, PartialEq)]
pub struct Published {
    /// Lowest.
    pub low: f64,
    /// Highest.
    pub high: f64,
    /// The middle of the sources' own values.
    pub middle: f64,
    /// The sources.
    pub sources: Vec<String>,
    /// They are far apart.
    pub contradict: bool,
}

fn published(own: &[&Evidence]) -> Option<Published> {
    let mut low = f64::INFINITY;
    let mut high = f64::NEG_INFINITY;
    let (mut highest_low, mut lowest_high) = (0.0_f64, 1.0_f64);
    let mut middles = Vec::new();
    let mut sources = Vec::new();
    for (evidence, value) in own.iter().map(|e| (e, &e.value)) {
        let Value::Rate { low: l, high: h, mean } = value else { continue };
        let (l, h) = (l.unwrap_or(0.0) / 100.0, h.unwrap_or(100.0) / 100.0);
        low = low.min(l);
        high = high.max(h);
        highest_low = highest_low.max(l);
        lowest_high = lowest_high.min(h);
        middles.push(mean.map_or(f64::midpoint(l, h), |m| m / 100.0));
        if !sources.contains(&evidence.source) {
            sources.push(evidence.source.clone());
        }
    }
    let count = u32::try_from(middles.len()).ok().filter(|n| *n > 0)?;
    Some(Published {
        low,
        high,
        middle: middles.iter().sum::<f64>() / f64::from(count),
        // two sources of which one alone spans a wide range do not agree either
        contradict: highest_low - lowest_high > RATES_APART
            || (sources.len() > 1 && high - low > RATES_APART),
        sources,
    })
}

/// A share as people say it: `97`, of a hundred; one decimal below one.
pub fn in_hundred(share: f64) -> String {
    let percent = share * 100.0;
    if percent > 0.0 && percent < 0.95 { format!("{percent:.1}") } else { format!("{percent:.0}") }
}

fn range_in_hundred(low: f64, high: f64) -> String {
    let (l, h) = (in_hundred(low), in_hundred(high));
    if l == h { l } else { format!("{l} to {h}") }
}

/// The finding on a count ratio.
pub fn finding(descriptor: &Descriptor, own: &[&Evidence]) -> Finding {
    let mut reports = Vec::new();
    let mut pieces = Vec::new();
    for evidence in own {
        let piece = |weight: f64, why: String| Piece { evidence: (*evidence).clone(), weight, why };
        match &evidence.value {
            Value::Tally { counted, of_these } => {
                let report = Report {
                    who: evidence.source.clone(),
                    counted: f64::from(*counted),
                    of_these: f64::from(*of_these),
                    quality: Quality::Documented,
                };
                let weight = report.effective();
                pieces.push(piece(
                    weight,
                    format!(
                        "{counted} counted; seeds of one report are alike, so they count for {weight:.1}"
                    ),
                ));
                reports.push(report);
            }
            Value::Rate { .. } => {
                pieces.push(piece(0.0, "a rate without its count: shown, not weighed".into()));
            }
            Value::Class { .. }
            | Value::Quantity { .. }
            | Value::Grade { .. }
            | Value::Period { .. }
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
            "{} of {} {counted} {phrase} ({} counted; likely between {} and {} in 100)",
            found.of_these,
            found.counted,
            count_of_sources(found.people),
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
    if parts.is_empty() {
        parts.push("described in words only".into());
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
                    format!("counted by {}; more counts are needed", count_of_sources(found.people))
                }
                Standing::Unknown => "too few were counted to say".into(),
                Standing::Contested => "the counts disagree".into(),
            },
        ),
        (None, Some(rates)) if rates.sources.len() > 1 => (
            Standing::Likely,
            format!("{} give rates that fit together", count_of_sources(rates.sources.len())),
        ),
        (None, Some(_)) => (Standing::Thin, "one source gives a rate".into()),
        (None, None) => (Standing::Unknown, "nobody counted it".into()),
    };
    Finding {
        descriptor: descriptor.key.clone(),
        label: descriptor.label.clone(),
        text: parts.join("; "),
        standing,
        standing_text,
        share,
        published,
        sides: Vec::new(),
        pieces,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn report(who: &str, counted: f64, of_these: f64, quality: Quality) -> Report {
        Report { who: who.into(), counted, of_these, quality }
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
