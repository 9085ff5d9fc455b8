//! Whose voice a piece of evidence is, and how much it counts.
//!
//! A catalogue's row and a grower's copy of a publication are the source's voice; everything else is its
//! observer's. Growers whom nobody vouched for are heard once a vouched grower bears out what they say, so that
//! accounts made in bulk carry nothing. People who came through one member's invitations are one group: they
//! count, but not as independent of each other. The numbers here are policy, versioned with
//! [`super::share::POLICY_VERSION`].

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use serde::{Deserialize, Serialize};

use super::Evidence;
use crate::{
    ids::{AccountId, CheckId, ReportId, SowingId},
    names::Folded,
    place::Place,
    time::{Date, Timestamp},
};

/// The source of what growers observe themselves.
pub const GROWER: &str = "grower";
/// How often somebody is taken to be right of whom nothing is known yet.
pub const ACCURACY_PRIOR: f64 = 0.80;
/// For how many votes that prior counts.
pub const PRIOR_VOTES: f64 = 4.0;
/// The highest weight of one voice, as log-odds: right nine times of ten.
pub const WEIGHT_MAX: f64 = 2.2;
/// No group of several people has more than this share of the weight.
pub const GROUP_SHARE_MAX: f64 = 0.40;
/// Where each voice has one vote whatever its weight, as in medians, it needs at least this trust: two
/// independent doubts silence it, one does not.
pub const TRUST_MIN: f64 = 0.30;
/// What one doubt weighs beside one bearing-out.
const DOUBT: f64 = 1.5;
/// What the doubt of one group alone leaves at least.
const ONE_DOUBT: f64 = 0.70;

/// What kind of statement it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Things counted.
    Tally,
    /// Things weighed or measured.
    Measure,
    /// A step on a scale.
    Rating,
    /// First or last ripe fruit.
    Sighting,
    /// A statement without a count.
    Statement,
    /// What a publication says.
    Publication,
}

/// How it was observed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// Not said.
    #[default]
    NotSaid,
    /// By looking.
    Eye,
    /// By the fruit.
    Fruit,
    /// By a marker test in a laboratory.
    Marker,
    /// With a scale or a ruler.
    Instrument,
}

impl Method {
    /// In words.
    pub const fn text(self) -> &'static str {
        match self {
            Self::NotSaid => "",
            Self::Eye => "by eye",
            Self::Fruit => "by the fruit",
            Self::Marker => "by a marker test",
            Self::Instrument => "measured",
        }
    }
}

/// A person who observes or checks, as far as evidence is concerned.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Observer {
    /// The account.
    pub account: AccountId,
    /// The group: the member at the root of their chain of invitations.
    pub group: AccountId,
    /// An organiser or a steward vouched for them, or invited them, or somebody who was vouched for did.
    pub vouched: bool,
    /// May do nothing for now.
    pub suspended: bool,
    /// How often their evidence held up, 0 to 1, from the newest weight table; none without a row there.
    pub accuracy: Option<f64>,
}

impl Observer {
    /// Somebody of whom nothing is known.
    pub const fn new(account: AccountId) -> Self {
        Self { account, group: account, vouched: false, suspended: false, accuracy: None }
    }
    /// Whether their word counts by itself.
    pub const fn counts(&self) -> bool {
        self.vouched && !self.suspended
    }
    /// How often they are taken to be right.
    pub fn accuracy(&self) -> f64 {
        self.accuracy.unwrap_or(ACCURACY_PRIOR)
    }
}

/// The weight of a vote of somebody who is right so often: log-odds, 0 to [`WEIGHT_MAX`].
pub fn weight_of(accuracy: f64) -> f64 {
    let odds = accuracy.clamp(0.5, 0.999) / (1.0 - accuracy.clamp(0.5, 0.999));
    odds.ln().min(WEIGHT_MAX)
}

/// What a check says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The checker saw the same.
    BearsOut,
    /// The checker has reason to doubt it.
    Doubts,
}

/// Another grower's verdict on a piece of evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Check {
    /// Its id.
    pub id: CheckId,
    /// Whose.
    pub by: Observer,
    /// What it says.
    pub verdict: Verdict,
    /// Why.
    pub reason: String,
    /// When.
    pub at: Timestamp,
}

/// Who observed a piece, when, where, how, and what others say of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Observation {
    /// Who.
    pub by: Observer,
    /// What kind of statement.
    pub kind: Kind,
    /// Pieces entered together share it.
    pub report: ReportId,
    /// The sowing it is the tally of.
    pub sowing: Option<SowingId>,
    /// On which day.
    pub day: Option<Date>,
    /// Where, coarsely.
    pub place: Option<Place>,
    /// The tree, in the grower's words.
    pub tree: String,
    /// How.
    pub method: Method,
    /// The publication, or another reference.
    pub citation: String,
    /// When it was entered.
    pub at: Timestamp,
    /// What others say of it, oldest first.
    pub checks: Vec<Check>,
}

impl Observation {
    /// The year it belongs to: its day's, else that of its entry.
    pub fn year(&self) -> i32 {
        self.day.unwrap_or_else(|| self.at.date()).year()
    }
    /// A place that can be told from others: its grid cell, else its area.
    pub fn place_key(&self) -> String {
        match &self.place {
            Some(place) => place.grid.as_str().to_string(),
            None => String::new(),
        }
    }
}

/// Whose voice a piece is.
#[derive(Clone, Debug, PartialEq)]
pub struct Voice {
    /// The key of the voice: a source, a citation, or an account.
    pub who: String,
    /// Voices of one group are not independent.
    pub group: String,
    /// A publication speaks, not a grower.
    pub published: bool,
    /// 0 to 1: how far checks and the observer's record let it count; 0 is silence.
    pub trust: f64,
    /// How often its observer is taken to be right.
    pub accuracy: f64,
    /// Why it counts as it does, where there is something to say.
    pub why: String,
}

impl Voice {
    /// Its weight as a vote.
    pub fn weight(&self) -> f64 {
        weight_of(self.accuracy) * self.trust
    }
}

/// A citation's key: copies of one publication are one voice. A DOI tells more than the words around it.
pub fn citation_key(citation: &str) -> String {
    let lower = citation.to_lowercase();
    if let Some(at) = lower.find("10.") {
        let doi: String = lower
            .get(at..)
            .unwrap_or_default()
            .chars()
            .take_while(|c| !c.is_whitespace() && !matches!(c, ',' | ';' | ')' | ']' | '"'))
            .collect();
        if doi.contains('/') {
            return format!("doi:{}", doi.trim_end_matches('.'));
        }
    }
    format!("citation:{}", Folded::new(citation).joined)
}

/// Whether a check is independent of the piece it is on.
fn independent(check: &Check, observation: &Observation) -> bool {
    check.by.counts() && check.by.account != observation.by.account && check.by.group != observation.by.group
}

/// Bearing-out and doubting voices: one for each group, its newest.
fn verdicts(observation: &Observation) -> (f64, f64, usize, usize) {
    let mut newest: BTreeMap<AccountId, &Check> = BTreeMap::new();
    for check in observation.checks.iter().filter(|c| independent(c, observation)) {
        let kept = newest.entry(check.by.group).or_insert(check);
        if (check.at, check.id) > (kept.at, kept.id) {
            *kept = check;
        }
    }
    let (mut out, mut doubt, mut outs, mut doubts) = (0.0, 0.0, 0, 0);
    for check in newest.values() {
        // a bad record weighs less; a good one does not make one check more than one
        let weight = (weight_of(check.by.accuracy()) / weight_of(ACCURACY_PRIOR)).min(1.0);
        match check.verdict {
            Verdict::BearsOut => {
                out += weight;
                outs += 1;
            }
            Verdict::Doubts => {
                doubt += weight;
                doubts += 1;
            }
        }
    }
    (out, doubt, outs, doubts)
}

/// Whether somebody independent bears a piece out.
pub fn is_borne_out(evidence: &Evidence) -> bool {
    evidence.observed.as_ref().is_some_and(|o| verdicts(o).0 > 0.0)
}

/// Whose voice a piece is and how much it counts.
pub fn voice(evidence: &Evidence) -> Voice {
    let Some(observation) = evidence.observed.as_deref() else {
        return Voice {
            who: evidence.source.clone(),
            group: evidence.source.clone(),
            published: true,
            trust: 1.0,
            accuracy: ACCURACY_PRIOR,
            why: String::new(),
        };
    };
    let by = &observation.by;
    let copy =
        !observation.citation.is_empty() && matches!(observation.kind, Kind::Publication | Kind::Statement);
    let (out, doubt, outs, doubts) = verdicts(observation);
    // a publication is one voice, whoever copies it. But a citation is its author's own word until somebody
    // independent has looked it up, and nobody is more independent for citing much: what a grower cites belongs to
    // that grower's group
    let published = copy && outs > 0;
    let who = match (published, evidence.source.as_str()) {
        (false, _) => by.account.to_string(),
        (true, GROWER) => citation_key(&observation.citation),
        (true, source) => source.to_string(),
    };
    let group = by.group.to_string();
    let (trust, why) = if by.suspended {
        (0.0, "not weighed: its author is suspended".to_string())
    } else if !by.vouched && outs == 0 {
        (0.0, "not weighed yet: nobody has vouched for its author, and no vouched grower bore it out".into())
    } else {
        let words = |n: usize, what: &str| if n == 0 { None } else { Some(format!("{what} by {n}")) };
        let said: Vec<String> =
            [words(outs, "borne out"), words(doubts, "doubted")].into_iter().flatten().collect();
        let trust = (1.0 + out) / (1.0 + out + DOUBT * doubt);
        // one doubter alone takes some weight, never most of it
        (if doubts == 1 { trust.max(ONE_DOUBT) } else { trust }, said.join(", "))
    };
    let accuracy = if published { ACCURACY_PRIOR } else { by.accuracy() };
    Voice { who, group, published, trust, accuracy, why }
}

/// A piece with its voice among the others on the same question.
#[derive(Clone, Debug)]
pub struct Heard<'a> {
    /// The piece.
    pub evidence: &'a Arc<Evidence>,
    /// Its voice.
    pub voice: Voice,
}

/// The voices of the pieces on one question. A grower's copy of a source that is on file with its own row, and a
/// second copy of one publication, are silent: they would count the same thing twice.
pub fn listen<'a>(own: impl Iterator<Item = &'a Arc<Evidence>>) -> Vec<Heard<'a>> {
    let mut all: Vec<Heard<'a>> = own.map(|evidence| Heard { evidence, voice: voice(evidence) }).collect();
    all.sort_by_key(|h| h.evidence.id);
    let on_file: BTreeSet<&str> =
        all.iter().filter(|h| h.evidence.observed.is_none()).map(|h| h.evidence.source.as_str()).collect();
    let mut copied: BTreeSet<String> = BTreeSet::new();
    for heard in &mut all {
        if heard.evidence.observed.is_none() || heard.voice.trust <= 0.0 {
            continue;
        }
        let silent = if on_file.contains(heard.evidence.source.as_str()) {
            "not weighed: what this source says is on file itself"
        } else if heard.voice.published && !copied.insert(heard.voice.who.clone()) {
            "not weighed: the same publication is counted once"
        } else {
            continue;
        };
        heard.voice.trust = 0.0;
        heard.voice.why = silent.into();
    }
    all
}

/// How alike the voices of one group are: n of them count for n / (1 + (n - 1) * 0.5), never more than two (a
/// design effect, as for seeds of one report). A choice of ours.
const WITHIN_GROUP: f64 = 0.5;

/// Factors by which the weights of groups of several voices are cut: they are alike, and no group has more than
/// [`GROUP_SHARE_MAX`] of all weight, as far as that can be: with fewer than three groups it cannot. `weights` are
/// (group, voice, weight); the factor of each group that is cut.
pub fn group_factors(weights: &[(String, String, f64)]) -> BTreeMap<String, f64> {
    let mut of: BTreeMap<&str, (f64, BTreeSet<&str>)> = BTreeMap::new();
    for (group, who, weight) in weights.iter().filter(|w| w.2 > 0.0) {
        let entry = of.entry(group).or_default();
        entry.0 += weight;
        entry.1.insert(who);
    }
    let mut factors = BTreeMap::new();
    for (group, (weight, voices)) in &mut of {
        if voices.len() > 1 {
            let more = u32::try_from(voices.len() - 1).map_or(f64::MAX, f64::from);
            let factor = 1.0 / (1.0 + more * WITHIN_GROUP);
            *weight *= factor;
            factors.insert((*group).to_string(), factor);
        }
    }
    if of.len() < 3 {
        return factors;
    }
    let total: f64 = of.values().map(|g| g.0).sum();
    // the heaviest group of several first; at most two groups can be above two fifths
    let mut heavy: Vec<(&str, f64)> =
        of.iter().filter(|(_, g)| g.1.len() > 1).map(|(name, g)| (*name, g.0)).collect();
    heavy.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(b.0)));
    let share = |cut: usize, rest: f64| {
        let cuts = if cut == 1 { GROUP_SHARE_MAX } else { 2.0 * GROUP_SHARE_MAX };
        GROUP_SHARE_MAX * rest / (1.0 - cuts)
    };
    let Some(first) = heavy.first().filter(|first| first.1 > GROUP_SHARE_MAX * total) else {
        return factors;
    };
    let mut cut = |group: &str, by: f64| {
        if let Some(factor) = factors.get_mut(group) {
            *factor *= by.min(1.0);
        }
    };
    let alone = share(1, total - first.1);
    match heavy.get(1).filter(|second| second.1 > alone) {
        Some(second) => {
            let both = share(2, total - first.1 - second.1);
            cut(first.0, both / first.1);
            cut(second.0, both / second.1);
        }
        None => cut(first.0, alone / first.1),
    }
    factors
}

/// Values by group with every group of several held to [`GROUP_SHARE_MAX`]: of a group that is cut, values spread
/// evenly over its sorted ones stay. Sorted.
pub fn held_to_share(values: &[(String, f64)]) -> Vec<f64> {
    let rows: Vec<(String, String, f64)> =
        values.iter().enumerate().map(|(at, (group, _))| (group.clone(), at.to_string(), 1.0)).collect();
    let factors = group_factors(&rows);
    let mut of: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for (group, value) in values {
        of.entry(group).or_default().push(*value);
    }
    let mut all = Vec::new();
    for (group, mut own) in of {
        own.sort_by(f64::total_cmp);
        let keep = match factors.get(group) {
            None => own.len(),
            Some(factor) => kept(own.len(), *factor),
        };
        all.extend((0..keep).filter_map(|at| own.get((2 * at + 1) * own.len() / (2 * keep)).copied()));
    }
    all.sort_by(f64::total_cmp);
    all
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a share of a count"
)]
fn kept(of: usize, factor: f64) -> usize {
    ((of as f64 * factor) as usize).max(1)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::{evidence::Value, ids::EvidenceId};
    use proptest::prelude::*;
    use uuid::Uuid;

    /// A grower with a number for a name.
    pub(crate) fn grower(n: u128) -> Observer {
        Observer { vouched: true, ..Observer::new(AccountId::from_uuid(Uuid::from_u128(n))) }
    }
    /// Somebody's piece on a descriptor.
    pub(crate) fn piece(id: u128, by: Observer, descriptor: &str, kind: Kind, value: Value) -> Evidence {
        Evidence {
            id: EvidenceId::from_uuid(Uuid::from_u128(id)),
            crop: "plum".into(),
            cultivar: None,
            subject: String::new(),
            named_as: String::new(),
            descriptor: descriptor.into(),
            value,
            place: String::new(),
            source: "grower".into(),
            as_stated: String::new(),
            note: String::new(),
            observed: Some(Box::new(Observation {
                by,
                kind,
                report: ReportId::from_uuid(Uuid::from_u128(id)),
                sowing: None,
                day: Date::new(2026, 3, 1).ok(),
                place: None,
                tree: String::new(),
                method: Method::NotSaid,
                citation: String::new(),
                at: Timestamp::from_micros(0),
                checks: Vec::new(),
            })),
        }
    }
    /// A check by somebody.
    pub(crate) fn check(id: u128, by: Observer, verdict: Verdict) -> Check {
        Check {
            id: CheckId::from_uuid(Uuid::from_u128(id)),
            by,
            verdict,
            reason: "seen".into(),
            at: Timestamp::from_micros(i64::try_from(id).unwrap()),
        }
    }
    fn with(by: Observer, checks: Vec<Check>) -> Voice {
        let mut piece = piece(1, by, "x", Kind::Rating, Value::Grade { state: "a".into() });
        piece.observed.as_mut().unwrap().checks = checks;
        voice(&piece)
    }

    #[test]
    fn newcomers_are_heard_once_somebody_vouched_for_bears_them_out() {
        let newcomer = Observer { vouched: false, ..grower(1) };
        assert_eq!(with(newcomer, vec![]).trust, 0.0);
        let twin = Observer { vouched: false, ..grower(2) };
        assert_eq!(
            with(newcomer, vec![check(1, twin, Verdict::BearsOut)]).trust,
            0.0,
            "nor do newcomers help"
        );
        assert_eq!(with(newcomer, vec![check(1, grower(3), Verdict::BearsOut)]).trust, 1.0);
        let suspended = Observer { suspended: true, ..grower(4) };
        assert_eq!(with(suspended, vec![check(1, grower(3), Verdict::BearsOut)]).trust, 0.0);
    }

    #[test]
    fn checks_of_one_group_count_once_and_the_authors_own_group_not_at_all() {
        let group = grower(9).account;
        let mates: Vec<Check> =
            (10..20).map(|n| check(n, Observer { group, ..grower(n) }, Verdict::Doubts)).collect();
        let one = with(grower(1), vec![check(10, grower(10), Verdict::Doubts)]);
        assert_eq!(with(grower(1), mates.clone()).trust, one.trust);
        assert_eq!(with(Observer { group, ..grower(1) }, mates).trust, 1.0);
        assert_eq!(one.trust, ONE_DOUBT);
        let two =
            with(grower(1), vec![check(1, grower(2), Verdict::Doubts), check(2, grower(3), Verdict::Doubts)]);
        assert!(two.trust < TRUST_MIN, "two independent doubts silence a vote in a median");
        let balanced = with(
            grower(1),
            vec![check(1, grower(2), Verdict::Doubts), check(2, grower(3), Verdict::BearsOut)],
        );
        assert!(balanced.trust >= one.trust && balanced.trust < 1.0);
    }

    fn cited(id: u128, by: u128, citation: &str, checks: Vec<Check>) -> Arc<Evidence> {
        let mut piece = piece(id, grower(by), "x", Kind::Publication, Value::Class { state: "a".into() });
        let observed = piece.observed.as_mut().unwrap();
        observed.citation = citation.into();
        observed.checks = checks;
        Arc::new(piece)
    }

    #[test]
    fn a_citation_is_its_authors_word_until_somebody_looked_it_up() {
        let own = voice(&cited(1, 1, "Reed 1930, Fruit Notes, p. 4", vec![]));
        assert_eq!((own.who, own.published), (grower(1).account.to_string(), false));
        let looked_up = vec![check(1, grower(9), Verdict::BearsOut)];
        let reed = voice(&cited(1, 1, "Reed 1930, Fruit Notes, p. 4", looked_up.clone()));
        assert!(reed.published);
        assert_eq!(reed.who, voice(&cited(2, 2, "REED 1930. Fruit notes, p 4", looked_up.clone())).who);
        let doi = |id, by, text: &str| voice(&cited(id, by, text, looked_up.clone())).who;
        assert_eq!(
            doi(1, 1, "Words, https://doi.org/10.1000/AB.12."),
            doi(2, 2, "doi 10.1000/ab.12, others")
        );
        assert_eq!(reed.group, grower(1).group.to_string(), "nobody is more independent for citing much");
    }

    #[test]
    fn the_same_publication_counts_once() {
        let looked_up = || vec![check(1, grower(9), Verdict::BearsOut)];
        let mut row = piece(3, grower(3), "x", Kind::Publication, Value::Class { state: "a".into() });
        row.observed = None;
        row.source = "REED30".into();
        let mut copy = Evidence::clone(&cited(4, 4, "Reed 1930, Fruit Notes, p. 4", looked_up()));
        copy.source = "REED30".into();
        let pieces = [
            cited(1, 1, "Hale 1912, Orchard Papers", looked_up()),
            cited(2, 2, "hale 1912 orchard papers", looked_up()),
            Arc::new(row),
            Arc::new(copy),
        ];
        let trusts: Vec<f64> = listen(pieces.iter()).iter().map(|h| h.voice.trust).collect();
        assert_eq!(trusts, [1.0, 0.0, 1.0, 0.0]);
    }

    proptest! {
        #[test]
        fn no_group_of_several_has_more_than_its_share(
            weights in prop::collection::vec((0u8..6, 0u8..12, 0.01f64..20.0), 1..30)
        ) {
            let rows: Vec<(String, String, f64)> =
                weights.iter().map(|(g, w, x)| (format!("g{g}"), format!("g{g}-{w}"), *x)).collect();
            let factors = group_factors(&rows);
            let mut of: BTreeMap<&str, (f64, BTreeSet<&str>)> = BTreeMap::new();
            for (g, w, x) in &rows {
                let e = of.entry(g).or_default();
                e.0 += x * factors.get(g).copied().unwrap_or(1.0);
                e.1.insert(w);
            }
            let total: f64 = of.values().map(|e| e.0).sum();
            for factor in factors.values() {
                prop_assert!((0.0..=1.0).contains(factor));
            }
            if of.len() >= 3 {
                for (weight, people) in of.values() {
                    // when both of two cut groups stand beside almost nothing, each keeps two fifths
                    prop_assert!(people.len() == 1 || *weight <= GROUP_SHARE_MAX * total + 1e-9);
                }
            }
        }
    }
}
