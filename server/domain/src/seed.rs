//! The grower's first question: does the seed of this cultivar come true, how sure is that, what next?
//! The answer keeps apart what is stated, what was counted of sprouts, and what was counted of off-types.

use crate::{
    crop::{Caution, Crop},
    cultivar::Cultivar,
    evidence::{
        Finding, Standing,
        share::{self, Size, in_hundred},
    },
    sowing,
    stats::Share,
};

/// Keys of the descriptors that the answer uses.
const STATED: &str = "embryony";
const SPROUTING: &str = "multi_sprout_seeds";
const OFF_TYPE: &str = "off_type_seedlings";
const COMES_TRUE: &str = "comes_true";

/// "Comes true" needs a counted off-type rate whose upper 90 % bound is at most this. Policy, versioned
/// with [`share::POLICY_VERSION`].
const TRUE_UPPER: f64 = 0.10;
/// Where a source found no off-types, this share is reckoned with all the same: its test may miss some.
const NONE_FOUND: f64 = 0.10;
/// From this share on most seedlings are off-type.
const MOSTLY: f64 = 0.50;
/// Below this share of several-sprout seeds a stated polyembryony is doubtful for sowing.
const FEW_SEVERAL: f64 = 0.50;

/// The short answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Answer {
    /// Counted, and few off-types at the upper bound.
    ComesTrue,
    /// Stated or thinly counted to come true often.
    OftenTrue,
    /// A good part was off-type.
    PartlyTrue,
    /// Most were off-type.
    MostlyOffType,
    /// A seedling is a new plant.
    NotTrue,
    /// Both kinds of seed.
    BothKinds,
    /// The evidence disagrees.
    Contested,
    /// Stated true, but counts give reason to doubt.
    Doubtful,
    /// Nothing on file.
    Unknown,
}

impl Answer {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::ComesTrue,
        Self::OftenTrue,
        Self::PartlyTrue,
        Self::MostlyOffType,
        Self::NotTrue,
        Self::BothKinds,
        Self::Contested,
        Self::Doubtful,
        Self::Unknown,
    ];
    /// A few words for a table.
    pub const fn short(self) -> &'static str {
        match self {
            Self::ComesTrue => "comes true",
            Self::OftenTrue => "often true",
            Self::PartlyTrue => "partly true",
            Self::MostlyOffType => "mostly off-type",
            Self::NotTrue => "not true",
            Self::BothKinds => "both kinds",
            Self::Contested => "contested",
            Self::Doubtful => "doubtful",
            Self::Unknown => "unknown",
        }
    }
}

/// A step of advice and what it rests on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Advice {
    /// In words.
    pub text: String,
    /// Source keys, or `common practice`.
    pub origins: Vec<String>,
}

/// What is known of a cultivar's seed.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// The short answer.
    pub answer: Answer,
    /// In words.
    pub headline: String,
    /// How sure.
    pub how_sure: String,
    /// The findings behind it.
    pub findings: Vec<Finding>,
    /// What to do next.
    pub advice: Vec<Advice>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
}

/// The findings that a seed report shows, in its order.
fn relevant(findings: &[Finding]) -> Vec<Finding> {
    let rank = |key: &str| match key {
        STATED => Some(0),
        SPROUTING => Some(1),
        OFF_TYPE => Some(2),
        COMES_TRUE => Some(9),
        "double_sprout_seeds" | "sprouts_per_seed" | "germination" => Some(8),
        "zygotic_seeds" | "zygotic_most_vigorous" => Some(7),
        other => other.starts_with("off_type_").then_some(3),
    };
    let mut own: Vec<(u8, Finding)> =
        findings.iter().filter_map(|f| Some((rank(&f.descriptor)?, f.clone()))).collect();
    own.sort_by_key(|(rank, _)| *rank);
    own.into_iter().map(|(_, f)| f).collect()
}

/// Counts below this effective number do not speak by themselves; beside published rates, or against a stated
/// class, it takes more. Policy, versioned with [`share::POLICY_VERSION`].
const ENOUGH: f64 = 5.0;
const ENOUGH_AGAINST: f64 = 8.0;

/// What is known of an off-type or sprouting share: counted if enough was, else published.
struct Known {
    middle: f64,
    /// The worst that is reported, where it is a published range.
    worst: f64,
    /// Upper 90 % bound, where counted.
    counted_upper: Option<f64>,
    /// All that the counts tell.
    counted: Option<Share>,
    text: String,
}

fn known(finding: Option<&Finding>) -> Option<Known> {
    let finding = finding?;
    let enough = if finding.published.is_some() { ENOUGH_AGAINST } else { ENOUGH };
    if let Some(found) = finding.share.as_ref().filter(|found| found.effective >= enough) {
        return Some(Known {
            middle: found.posterior.mean(),
            counted_upper: Some(found.interval.1),
            counted: Some(found.posterior),
            worst: found.interval.1,
            text: format!("{} of {}", found.of_these, found.counted),
        });
    }
    finding.published.as_ref().map(|rates| {
        let (low, high) = (in_hundred(rates.low), in_hundred(rates.high));
        let text = if low == high {
            format!("{low} in 100")
        } else if rates.high >= 1.0 {
            format!("more than {low} in 100")
        } else {
            format!("{low} to {high} in 100")
        };
        Known { middle: rates.middle, worst: rates.high, counted_upper: None, counted: None, text }
    })
}

fn states(finding: Option<&Finding>) -> Vec<&str> {
    finding.map(|f| f.sides.iter().map(|s| s.state.as_str()).collect()).unwrap_or_default()
}

/// The report for a record from its findings.
pub fn report(crop: &Crop, cultivar: &Cultivar, findings: &[Finding]) -> Report {
    let find = |key: &str| findings.iter().find(|f| f.descriptor == key);
    let (stated, sprouting, off_type) = (find(STATED), find(SPROUTING), find(OFF_TYPE));
    let (answer, headline) = answer(crop, stated, sprouting, off_type, find(COMES_TRUE), &partly(findings));
    Report {
        how_sure: how_sure(stated, sprouting, off_type, !relevant(findings).is_empty()),
        advice: advice(crop, cultivar, answer, known(off_type).as_ref()),
        cautions: crop.cautions.clone(),
        findings: relevant(findings),
        answer,
        headline,
    }
}

/// The short answer from a record's findings.
pub fn short_answer(crop: &Crop, findings: &[Finding]) -> (Answer, String) {
    let find = |key: &str| findings.iter().find(|f| f.descriptor == key);
    answer(crop, find(STATED), find(SPROUTING), find(OFF_TYPE), find(COMES_TRUE), &partly(findings))
}

/// Off-types counted among some seedlings only, such as the largest.
fn partly(findings: &[Finding]) -> Vec<&Finding> {
    findings.iter().filter(|f| f.descriptor.starts_with("off_type_") && f.descriptor != OFF_TYPE).collect()
}

fn answer(
    crop: &Crop,
    stated: Option<&Finding>,
    sprouting: Option<&Finding>,
    off_type: Option<&Finding>,
    comes_true: Option<&Finding>,
    in_part: &[&Finding],
) -> (Answer, String) {
    let classes = states(stated);
    let contested = |f: Option<&Finding>| f.is_some_and(|f| f.standing == Standing::Contested);
    if classes.contains(&"both") {
        return (
            Answer::BothKinds,
            "It gives both kinds of seed: some send up one sprout, a new seedling, and some several. A seed does not tell which before it sprouts.".into(),
        );
    }
    if contested(off_type) {
        let said = off_type.map(|f| f.text.clone()).unwrap_or_default();
        return (
            Answer::Contested,
            format!("The counts and sources disagree: {said}. Do not count on its seed."),
        );
    }
    // of a cultivar that is stated monoembryonic only, a small count does not make a comeback of its seed
    let one_sprout = classes == ["monoembryonic"];
    let few = off_type.and_then(|f| f.share.as_ref()).is_some_and(|s| s.effective < ENOUGH_AGAINST);
    if let Some(rate) = known(off_type).filter(|_| !(one_sprout && few)) {
        return match rate.counted_upper {
            Some(upper) if upper <= TRUE_UPPER => (
                Answer::ComesTrue,
                format!("Its seed comes true: {} seedlings were off-type, counted.", rate.text),
            ),
            _ if rate.middle >= MOSTLY => (
                Answer::MostlyOffType,
                format!(
                    "Most of its seedlings are not true: {} were off-type{}.",
                    rate.text,
                    if classes.contains(&"polyembryonic") {
                        ", although its seeds send up several sprouts (polyembryonic)"
                    } else {
                        ""
                    }
                ),
            ),
            _ if rate.middle > TRUE_UPPER => (
                Answer::PartlyTrue,
                format!("Its seed comes true only in part: {} seedlings were off-type.", rate.text),
            ),
            counted => (
                Answer::OftenTrue,
                format!(
                    "Its seed often comes true: {} seedlings were off-type{}.",
                    rate.text,
                    if counted.is_some() {
                        "; more counts are needed to be sure"
                    } else {
                        "; how many were counted is not on file"
                    }
                ),
            ),
        };
    }
    if contested(stated) {
        return (
            Answer::Contested,
            "The sources disagree on what kind of seed it has. Do not count on its seed.".into(),
        );
    }
    let size = sprouting.and_then(|f| f.share.as_ref()).map(|s| (s.size, s.standing));
    let sprouting_known = known(sprouting);
    if classes.contains(&"monoembryonic") {
        if matches!(size, Some((Size::Many, _))) {
            return (
                Answer::Contested,
                "It is stated monoembryonic, but most of the seeds counted sent up several sprouts.".into(),
            );
        }
        return (
            Answer::NotTrue,
            "Its seed does not come true: each seed gives one new seedling, a gamble.".into(),
        );
    }
    if classes.contains(&"polyembryonic") {
        return match sprouting_known {
            Some(several) if several.middle < FEW_SEVERAL => (
                Answer::Doubtful,
                format!(
                    "Doubtful: it is stated polyembryonic, but only {} seeds sent up several sprouts, and seedlings that come up alone are the least certain. Nobody counted its off-types.",
                    several.text
                ),
            ),
            _ => (
                Answer::OftenTrue,
                format!(
                    "Its seed often comes true; off-types were not counted for this cultivar, and {}.",
                    crop.seed.off_type_text
                ),
            ),
        };
    }
    match size {
        Some((Size::Few, _)) => {
            return (
                Answer::NotTrue,
                "Its seed does not come true: nearly all seeds counted gave one new seedling.".into(),
            );
        }
        Some((Size::Many, _)) => {
            return (
                Answer::OftenTrue,
                format!(
                    "Most of its seeds send up several sprouts; off-types were not counted for this cultivar, and {}.",
                    crop.seed.off_type_text
                ),
            );
        }
        Some((Size::Unclear, _)) | None => {}
    }
    let yes_no = states(comes_true);
    match (yes_no.contains(&"yes"), yes_no.contains(&"no")) {
        (true, true) => {
            return (Answer::Contested, "The sources disagree on whether its seed comes true.".into());
        }
        (true, false) => {
            return (Answer::OftenTrue, "Its seed is said to come true; nobody on file counted it.".into());
        }
        (false, true) => {
            return (Answer::NotTrue, "Its seed is said not to come true; a seedling is a new plant.".into());
        }
        (false, false) => {}
    }
    if let Some(several) = sprouting_known {
        return (
            Answer::Doubtful,
            format!(
                "Doubtful: {} seeds sent up several sprouts, but nobody counted how many of those seedlings were true.",
                several.text
            ),
        );
    }
    if crop.seed.default_class == "monoembryonic" {
        return (
            Answer::NotTrue,
            format!("Nothing is on file for this cultivar; {}.", crop.seed.off_type_text),
        );
    }
    if let Some(part) = in_part.first() {
        return (
            Answer::Doubtful,
            format!(
                "Doubtful: off-types were counted only in part: {}. How many seedlings taken as they come are true is not known.",
                part.text
            ),
        );
    }
    (
        Answer::Unknown,
        "Not known: nobody on file has stated or counted how its seed behaves. Until somebody does, take its seed as a gamble.".into(),
    )
}

fn how_sure(
    stated: Option<&Finding>,
    sprouting: Option<&Finding>,
    off_type: Option<&Finding>,
    anything: bool,
) -> String {
    match (stated.is_some() || anything, sprouting.is_some(), off_type.is_some()) {
        (false, false, false) => "Nobody on file has stated or counted anything about its seed. That means nobody knows, not that it is bad.",
        (true, false, false) => "Nobody on file counted its sprouts or its off-types: this is what sources say of it, not what was counted.",
        (_, true, false) => "Nobody on file counted its off-types: how many of its seedlings are true is not known.",
        (_, false, true) => "Nobody on file counted its sprouts.",
        (_, true, true) => "Sprouts and off-types are both on record; how firm each is stands beside it.",
    }
    .to_string()
}

fn advice(crop: &Crop, cultivar: &Cultivar, answer: Answer, off_type: Option<&Known>) -> Vec<Advice> {
    let practice = || vec!["common practice".to_string()];
    let step = |text: String, origins: Vec<String>| Advice { text, origins };
    let name = cultivar.full_name();
    let graft = || {
        step(
            format!(
                "For a tree that is surely {name}: graft a scion from a known tree on a seedling rootstock, or look for a grafted plant."
            ),
            practice(),
        )
    };
    let rogue = || {
        (!crop.seed.roguing_text.is_empty()).then(|| {
            let origins = if crop.seed.roguing_sources.is_empty() {
                practice()
            } else {
                crop.seed.roguing_sources.clone()
            };
            step(sentence(&crop.seed.roguing_text), origins)
        })
    };
    let alone = || {
        (!crop.seed.single_sprout_text.is_empty()).then(|| {
            let origins = if crop.seed.single_sprout_sources.is_empty() {
                practice()
            } else {
                crop.seed.single_sprout_sources.clone()
            };
            step(format!("Mark seedlings that come up alone: {}.", crop.seed.single_sprout_text), origins)
        })
    };
    let report_back = || {
        step("Count what comes up (seeds sown, sprouts of each seed) and keep the numbers: that is how this answer gets better.".into(), practice())
    };
    let mut all = Vec::new();
    match answer {
        Answer::ComesTrue | Answer::OftenTrue | Answer::PartlyTrue | Answer::Doubtful | Answer::BothKinds => {
            let keep = off_type.and_then(|k| match k.counted {
                // the counts leave the rate uncertain: that uncertainty costs seedlings
                Some(share) => sowing::needed_uncertain(1, 0.95, share.complement()).map(|one| {
                    format!("Keep {}: as far as the counts go, that gives at least one true plant with 95 % confidence.", at_least(one))
                }),
                // of a published range the worst end is taken; none found is no promise
                None => sowing::needed(1, 0.95, 1.0 - k.worst.clamp(NONE_FOUND, 0.99)).map(|one| {
                    format!(
                        "Keep {}: if {} in 100 are off-type, the worst reported, that gives at least one true plant with 95 % confidence.",
                        at_least(one),
                        in_hundred(k.worst)
                    )
                }),
            });
            if answer == Answer::BothKinds || answer == Answer::Doubtful {
                all.push(graft());
                all.push(step(
                    "If you sow: keep the seeds apart and prefer seeds that send up several sprouts.".into(),
                    practice(),
                ));
            } else {
                all.push(match keep {
                    Some(text) => step(text, vec!["computed".into()]),
                    None => step(
                        "Sow several fresh seeds apart and keep more than one seedling: how many are true is not known for this cultivar.".into(),
                        practice(),
                    ),
                });
            }
            all.extend(alone());
            all.extend(rogue());
            if answer != Answer::BothKinds && answer != Answer::Doubtful {
                all.push(graft());
            }
            all.push(report_back());
        }
        Answer::MostlyOffType => {
            all.push(graft());
            if let Some(rate) = off_type
                && let Some(one) = sowing::needed(1, 0.95, 1.0 - rate.middle.min(0.999))
            {
                all.push(step(
                    format!("From seed it takes {one} seedlings, grown until they can be judged, for one true plant with 95 % confidence."),
                    vec!["computed".into()],
                ));
            }
            all.extend(rogue());
        }
        Answer::NotTrue => {
            all.push(graft());
            all.push(step(
                "A seedling is good as a rootstock, or as a gamble on something new; do not label it with this name.".into(),
                practice(),
            ));
        }
        Answer::Contested | Answer::Unknown => {
            all.push(graft());
            all.push(report_back());
        }
    }
    for (step_key, what) in [("first_fruit_seedling", "seedling"), ("first_fruit_grafted", "grafted tree")] {
        let found: Vec<_> = crop.timings_of(step_key).filter(|t| !t.range_text().is_empty()).collect();
        if !found.is_empty() {
            let ranges: Vec<String> = found.iter().map(|t| t.range_text()).collect();
            let differ = if ranges.len() > 1 { " (sources differ)" } else { "" };
            all.push(step(
                format!("First fruit of a {what}: {}{differ}.", ranges.join(", or ")),
                found.iter().map(|t| t.origin().to_string()).collect(),
            ));
        }
    }
    all
}

/// `2 or more seedlings from different seeds`.
fn at_least(count: u32) -> String {
    if count == 1 {
        "at least one seedling".into()
    } else {
        format!("{count} or more seedlings from different seeds")
    }
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().collect::<String>()).unwrap_or_default();
    let mut whole = format!("{first}{}", letters.as_str());
    if !whole.ends_with('.') {
        whole.push('.');
    }
    whole
}

/// The source keys that a report names.
pub fn cited(report: &Report) -> Vec<String> {
    let mut all: Vec<String> = report
        .findings
        .iter()
        .flat_map(|f| f.pieces.iter().map(|p| p.evidence.source.clone()))
        .chain(report.advice.iter().flat_map(|a| a.origins.iter().cloned()))
        .collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// The policy version behind an answer.
pub const fn policy_version() -> u32 {
    share::POLICY_VERSION
}
