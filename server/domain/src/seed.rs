//! Seed report: whether the seed of a cultivar comes true, how certain that is, and what to do next.
//! Statements, sprout counts and off-type counts stay apart; a statement never becomes a number. Numbers are
//! read from [`Trueness`] at one confidence.

use crate::{
    crop::{Caution, Crop},
    cultivar::Cultivar,
    evidence::{
        Finding, Standing, Value,
        share::{self, CONFIDENCE, Size, in_hundred},
        voice::UNVERIFIED,
    },
    trueness::{OffTypes, Trueness},
};

/// Keys of the descriptors on which the answer rests.
const STATED: &str = "embryony";
const SPROUTING: &str = "multi_sprout_seeds";
const OFF_TYPE: &str = OffTypes::AS_THEY_COME;
const COMES_TRUE: &str = "comes_true";

/// Limits on the 90 % interval of the off-type share. "Comes true": upper end at most `TRUE_UPPER`, with
/// counts. "Mostly true": median and upper end at most the two of `MOSTLY_TRUE`. "Most are not true": lower end
/// at least `MOSTLY_OFF`. Policy, versioned with [`share::POLICY_VERSION`].
const TRUE_UPPER: f64 = 0.10;
const MOSTLY_TRUE: (f64, f64) = (0.15, 0.30);
const MOSTLY_OFF: f64 = 0.50;
/// Below this share of seeds with several sprouts, a stated polyembryony is doubtful for sowing.
const FEW_SEVERAL: f64 = 0.50;

/// Short answer on how true the seed comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Answer {
    /// Counted: the upper end of the off-type share is at most 10 %.
    ComesTrue,
    /// Counted: the median off-type share is at most 15 %, and its upper end at most 30 %.
    MostlyTrue,
    /// Counted: the share meets the limits of none of the other three counted answers.
    PartlyTrue,
    /// Counted: the lower end of the off-type share is at least 50 %.
    MostlyOffType,
    /// A seedling is a new plant.
    NotTrue,
    /// The cultivar has seeds of both kinds.
    BothKinds,
    /// Said to send up several sprouts, but off-types were not counted.
    NotCounted,
    /// The evidence disagrees.
    Contested,
    /// Stated true, but counts raise doubt.
    Doubtful,
    /// No evidence on file.
    Unknown,
}

impl Answer {
    /// All answers, in declaration order.
    pub const ALL: [Self; 10] = [
        Self::ComesTrue,
        Self::MostlyTrue,
        Self::PartlyTrue,
        Self::MostlyOffType,
        Self::NotTrue,
        Self::BothKinds,
        Self::NotCounted,
        Self::Contested,
        Self::Doubtful,
        Self::Unknown,
    ];
    /// Returns a few words for a table.
    pub const fn short(self) -> &'static str {
        match self {
            Self::ComesTrue => "comes true",
            Self::MostlyTrue => "mostly true",
            Self::PartlyTrue => "partly true",
            Self::MostlyOffType => "mostly off-type",
            Self::NotTrue => "not true",
            Self::BothKinds => "both kinds",
            Self::NotCounted => "not counted",
            Self::Contested => "contested",
            Self::Doubtful => "doubtful",
            Self::Unknown => "unknown",
        }
    }
}

/// A piece of advice and its basis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Advice {
    /// The advice in words.
    pub text: String,
    /// Source keys, `common practice`, or `computed`.
    pub origins: Vec<String>,
}

/// Report on a cultivar's seed.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Short answer.
    pub answer: Answer,
    /// The answer in one or two sentences.
    pub headline: String,
    /// How certain the answer is, in words.
    pub how_sure: String,
    /// Findings behind the answer.
    pub findings: Vec<Finding>,
    /// What to do next.
    pub advice: Vec<Advice>,
    /// Warnings of the crop's profile.
    pub cautions: Vec<Caution>,
}

/// Returns the findings that a seed report shows, in its order.
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

/// Effective counts from which counts contradict a stated single sprout. Policy, versioned with
/// [`share::POLICY_VERSION`].
const ENOUGH_AGAINST: f64 = 8.0;

fn states(finding: Option<&Finding>) -> Vec<&str> {
    finding.map(|f| f.sides.iter().map(|s| s.state.as_str()).collect()).unwrap_or_default()
}

fn find<'a>(findings: &'a [Finding], key: &str) -> Option<&'a Finding> {
    findings.iter().find(|f| f.descriptor == key)
}

/// Group of cultivars within a crop that share a prior for off-types.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// Cultivars that at least one source states to be polyembryonic.
    SaidPolyembryonic,
    /// All other cultivars.
    NotSaid,
}

/// Returns the group of a cultivar; `None` if it is only stated monoembryonic, because a seedling is then a new
/// plant at any share. A statement decides the group and nothing else.
pub fn group_of(findings: &[Finding]) -> Option<Group> {
    let stated = find(findings, STATED);
    let classes = states(stated);
    if classes.contains(&"polyembryonic") || classes.contains(&"both") {
        Some(Group::SaidPolyembryonic)
    } else if classes == ["monoembryonic"] && !counted_against(findings) {
        None
    } else {
        Some(Group::NotSaid)
    }
}

/// Returns true if enough seedlings were counted to doubt a stated single sprout.
fn counted_against(findings: &[Finding]) -> bool {
    let counted = find(findings, OFF_TYPE).and_then(|f| f.share.as_ref());
    counted.is_some_and(|share| share.effective >= ENOUGH_AGAINST)
}

/// Builds the report for a record from its findings and its known off-types.
pub fn report(crop: &Crop, cultivar: &Cultivar, findings: &[Finding], known: &Trueness) -> Report {
    let (answer, headline) = short_answer(crop, findings, known);
    Report {
        how_sure: how_sure(findings, known),
        advice: advice(crop, cultivar, answer, known),
        cautions: crop.cautions.clone(),
        findings: relevant(findings),
        answer,
        headline,
    }
}

/// Returns the record's own off-type evidence in words: "4 of 100 counted", "22 in 100 published".
fn own_words(findings: &[Finding]) -> String {
    let mut all = Vec::new();
    if let Some(finding) = find(findings, OFF_TYPE) {
        if let Some(share) = &finding.share {
            all.push(format!("{} of {} counted", share.of_these, share.counted));
        }
        let published = finding.pieces.iter().filter_map(|p| {
            let Value::Rate { low, high, .. } = p.evidence.value else { return None };
            Some((low.unwrap_or(0.0), high.unwrap_or(100.0), p.evidence.value.plain_text()))
        });
        let mut rates: Vec<(f64, f64, String)> = published.collect();
        rates.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let rates: Vec<String> = rates.into_iter().map(|(_, _, text)| text).collect();
        match rates.as_slice() {
            [] => {}
            [one] => all.push(format!("{one} published, not of how many")),
            several => all.push(format!("{} published, not of how many", several.join(", "))),
        }
    }
    if let Some(seeds) = find(findings, OffTypes::SEEDS).and_then(|f| f.share.as_ref()) {
        all.push(format!("{} of {} seeds held an off-type sprout", seeds.of_these, seeds.counted));
    }
    all.join("; ")
}

/// Returns the off-type rates of the crop's other cultivars in a sentence; empty without any.
pub(crate) fn others_words(known: &Trueness) -> String {
    match (known.others, known.seen) {
        (1, Some((low, _))) => {
            format!(
                "In the one cultivar of the crop that was counted, {} in 100 were off-type.",
                in_hundred(low)
            )
        }
        (others, Some((low, high))) => format!(
            "In the {others} cultivars of the crop that were counted, {} to {} in 100 were off-type.",
            in_hundred(low),
            in_hundred(high)
        ),
        (_, None) => String::new(),
    }
}

fn joined(sentence: &str, more: &str) -> String {
    if more.is_empty() { sentence.into() } else { format!("{sentence} {more}") }
}

/// Answers from the cultivar's own counts and published rates.
fn from_own(findings: &[Finding], known: &Trueness) -> (Answer, String) {
    let own = own_words(findings);
    let (low, high) = known.off_type.interval(CONFIDENCE);
    let middle = known.off_type.quantile(0.5);
    let range = format!("{} and {} in 100", in_hundred(low), in_hundred(high));
    if high <= TRUE_UPPER {
        let text = format!(
            "Its seed comes true, counted: likely no more than {} in 100 seedlings are off-type ({own}).",
            in_hundred(high)
        );
        (Answer::ComesTrue, text)
    } else if middle <= MOSTLY_TRUE.0 && high <= MOSTLY_TRUE.1 {
        let text = format!(
            "Its seed is mostly true: about {} in 100 seedlings are off-type, likely between {range} ({own}).",
            in_hundred(middle)
        );
        (Answer::MostlyTrue, text)
    } else if low >= MOSTLY_OFF {
        let though = if states(find(findings, STATED)).contains(&"polyembryonic") {
            ", although its seeds send up several sprouts (polyembryonic)"
        } else {
            ""
        };
        let text = format!(
            "Most of its seedlings are not true: likely between {range} are off-type ({own}){though}."
        );
        (Answer::MostlyOffType, text)
    } else {
        let text =
            format!("Its seed comes true in part: likely between {range} seedlings are off-type ({own}).");
        (Answer::PartlyTrue, text)
    }
}

/// Returns the short answer and its headline.
pub fn short_answer(crop: &Crop, findings: &[Finding], known: &Trueness) -> (Answer, String) {
    let (stated, sprouting, off_type) =
        (find(findings, STATED), find(findings, SPROUTING), find(findings, OFF_TYPE));
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
    if known.own && group_of(findings).is_some() {
        return from_own(findings, known);
    }
    if contested(stated) {
        return (
            Answer::Contested,
            "The sources disagree on what kind of seed it has. Do not count on its seed.".into(),
        );
    }
    let share = sprouting.and_then(|f| f.share.as_ref());
    let size = share.map(|s| s.size);
    // Counts take precedence over published rates; of a range the upper end decides, and the text shows both ends.
    let several =
        share.map(|s| (s.posterior.mean(), format!("{} of {}", s.of_these, s.counted))).or_else(|| {
            let rates = sprouting?.published.as_ref()?;
            let text = if rates.low == rates.high {
                format!("{} in 100", in_hundred(rates.low))
            } else {
                format!("{} to {} in 100", in_hundred(rates.low), in_hundred(rates.high))
            };
            Some((rates.high, text))
        });
    if classes.contains(&"monoembryonic") {
        if size == Some(Size::Many) {
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
        return match several {
            Some((most, text)) if most < FEW_SEVERAL => (
                Answer::Doubtful,
                format!(
                    "Doubtful: it is stated polyembryonic, but only {text} seeds sent up several sprouts, and seedlings that come up alone are the least certain. No one counted its off-types."
                ),
            ),
            _ => (
                Answer::NotCounted,
                joined(
                    "Said to be polyembryonic; no one on file has counted whether its seedlings are true.",
                    &others_words(known),
                ),
            ),
        };
    }
    match size {
        Some(Size::Few) => {
            return (
                Answer::NotTrue,
                "Its seed does not come true: nearly all seeds counted gave one new seedling.".into(),
            );
        }
        Some(Size::Many) => {
            return (
                Answer::NotCounted,
                joined(
                    "Most of its seeds send up several sprouts; no one on file has counted whether those seedlings are true.",
                    &others_words(known),
                ),
            );
        }
        Some(Size::Unclear) | None => {}
    }
    let yes_no = states(find(findings, COMES_TRUE));
    match (yes_no.contains(&"yes"), yes_no.contains(&"no")) {
        (true, true) => {
            return (Answer::Contested, "The sources disagree on whether its seed comes true.".into());
        }
        (true, false) => {
            return (
                Answer::NotCounted,
                joined("Its seed is said to come true; no one on file counted it.", &others_words(known)),
            );
        }
        (false, true) => {
            return (Answer::NotTrue, "Its seed is said not to come true; a seedling is a new plant.".into());
        }
        (false, false) => {}
    }
    if let Some((_, text)) = several {
        return (
            Answer::Doubtful,
            format!(
                "Doubtful: {text} seeds sent up several sprouts, but no one counted how many of those seedlings were true."
            ),
        );
    }
    if let Some(part) = findings.iter().find(|f| f.descriptor.starts_with("off_type_")) {
        return (
            Answer::Doubtful,
            format!(
                "Doubtful: off-types were counted only in part: {}. How many seedlings taken as they come are true is not known.",
                part.text
            ),
        );
    }
    let who = if only_unverified(findings) {
        "only sources that are not verified say how its seed behaves"
    } else {
        "no one on file has stated or counted how its seed behaves"
    };
    if crop.seed.default_class == "monoembryonic" {
        return (
            Answer::NotTrue,
            format!(
                "Not known of this cultivar: {who}. Of the crop as a whole: {}.",
                crop.seed.off_type_text
            ),
        );
    }
    (Answer::Unknown, format!("Not known: {who}. Until someone counts it, take its seed as a gamble."))
}

/// Returns whether something is said of the seed, and only by sources that no one verified.
fn only_unverified(findings: &[Finding]) -> bool {
    let about = relevant(findings);
    let mut pieces = about.iter().flat_map(|finding| &finding.pieces).peekable();
    pieces.peek().is_some() && pieces.all(|piece| piece.evidence.source.starts_with(UNVERIFIED))
}

fn how_sure(findings: &[Finding], known: &Trueness) -> String {
    let sprouting = find(findings, SPROUTING).is_some();
    if only_unverified(findings) {
        return "Only sources that are not verified say anything about its seed. They are listed, and count for nothing.".into();
    }
    match (relevant(findings).is_empty(), sprouting, known.own) {
        (true, _, _) => "No one on file has stated or counted anything about its seed. That means no one knows, not that it is bad.",
        (_, false, false) => "No one on file counted its sprouts or its off-types: this is what sources say of it, not what was counted.",
        (_, true, false) => "No one on file counted its off-types: how many of its seedlings are true is not known.",
        (_, false, true) => "No one on file counted its sprouts. Ranges hold 9 times in 10, as far as the crop's other cultivars show.",
        (_, true, true) => "Sprouts and off-types are both on record; the list shows how firm each is. Ranges hold 9 times in 10, as far as the crop's other cultivars show.",
    }
    .to_string()
}

fn advice(crop: &Crop, cultivar: &Cultivar, answer: Answer, known: &Trueness) -> Vec<Advice> {
    let practice = || vec!["common practice".to_string()];
    let step = |text: String, origins: Vec<String>| Advice { text, origins };
    let name = cultivar.full_name();
    let graft = || {
        step(
            format!(
                "For a tree of {name}: graft a scion from a known tree on a seedling rootstock, or look for a grafted plant whose scion was cut from one."
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
        Answer::ComesTrue | Answer::MostlyTrue | Answer::PartlyTrue => {
            all.extend(keep_text(known).map(|text| step(text, vec!["computed".into()])));
            all.extend(alone());
            all.extend(rogue());
            all.push(graft());
            all.push(report_back());
        }
        Answer::NotCounted => {
            all.push(graft());
            all.push(step(
                "If you sow: several fresh seeds apart, and keep more than one seedling: how many are true is not known for this cultivar.".into(),
                practice(),
            ));
            all.extend(alone());
            all.extend(rogue());
            all.push(report_back());
        }
        Answer::Doubtful | Answer::BothKinds => {
            all.push(graft());
            all.push(step(
                "If you sow: keep the seeds apart and prefer seeds that send up several sprouts.".into(),
                practice(),
            ));
            all.extend(alone());
            all.extend(rogue());
            all.push(report_back());
        }
        Answer::MostlyOffType => {
            all.push(graft());
            all.extend(keep_text(known).map(|text| step(text, vec!["computed".into()])));
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

/// Returns how many seedlings to keep for one true plant; `None` if that is not practical.
fn keep_text(known: &Trueness) -> Option<String> {
    let one = known.off_type.complement().needed(1, CONFIDENCE)?;
    Some(format!(
        "Keep {}: with all that is not known averaged in, that gives at least one true plant {} times of 100.",
        at_least(one),
        in_hundred(CONFIDENCE)
    ))
}

/// Returns words such as `2 or more seedlings from different seeds`.
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

/// Returns the source keys in a report, sorted, without duplicates.
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

/// Returns the policy version behind an answer.
pub const fn policy_version() -> u32 {
    share::POLICY_VERSION
}
