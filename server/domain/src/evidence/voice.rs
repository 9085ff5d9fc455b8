//! Whose voice a piece of evidence is, and how much it counts.
//!
//! A catalogue row and a checked copy of a publication are the source's voice; everything else is its
//! observer's. A grower for whom no one vouched counts once a vouched grower's check agrees, so accounts made
//! in bulk weigh nothing. People who joined through one member's invitations are one group: they count,
//! but not as independent of each other. The numbers here are policy, versioned with
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

/// Source key of growers' own observations.
pub const GROWER: &str = "grower";
/// Assumed accuracy of a person without a record.
pub const ACCURACY_PRIOR: f64 = 0.80;
/// Number of votes that the prior accuracy is worth.
pub const PRIOR_VOTES: f64 = 4.0;
/// Highest weight of one voice, as log-odds: right nine times in ten.
pub const WEIGHT_MAX: f64 = 2.2;
/// Largest share of the weight for a group of several people.
pub const GROUP_SHARE_MAX: f64 = 0.40;
/// Least trust for a vote where each voice has one vote whatever its weight, as in medians. Two independent
/// doubts silence a voice; one does not.
pub const TRUST_MIN: f64 = 0.30;
/// Weight of one doubt relative to one agreement.
const DOUBT: f64 = 1.5;
/// Least trust that the doubt of a single group leaves.
const ONE_DOUBT: f64 = 0.70;

/// Kind of statement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Things counted.
    Tally,
    /// Things weighed or measured.
    Measure,
    /// A grade on an ordinal scale.
    Rating,
    /// First or last day of ripe fruit.
    Sighting,
    /// A statement without a count.
    Statement,
    /// What a publication says.
    Publication,
}

/// How the grower observed it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// The grower did not say.
    #[default]
    NotSaid,
    /// By looking at it.
    Eye,
    /// By its fruit.
    Fruit,
    /// By a marker test in a laboratory.
    Marker,
    /// With a scale or a ruler.
    Instrument,
}

impl Method {
    /// Returns the method in words; empty for [`Method::NotSaid`].
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

/// What evidence needs to know about a person who observes or checks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Observer {
    /// Account of the person.
    pub account: AccountId,
    /// Group of the person: the member at the root of their chain of invitations.
    pub group: AccountId,
    /// Whether an organiser, a steward or a vouched member vouched for or invited them.
    pub vouched: bool,
    /// Whether the account is suspended.
    pub suspended: bool,
    /// How often their evidence held up, 0 to 1, from the newest weight table; `None` without a row there.
    pub accuracy: Option<f64>,
}

impl Observer {
    /// Makes an observer without a record for whom no one vouched.
    pub const fn new(account: AccountId) -> Self {
        Self { account, group: account, vouched: false, suspended: false, accuracy: None }
    }
    /// Returns whether the person's word counts without a check.
    pub const fn counts(&self) -> bool {
        self.vouched && !self.suspended
    }
    /// Returns the person's accuracy, or the prior without a record.
    pub fn accuracy(&self) -> f64 {
        self.accuracy.unwrap_or(ACCURACY_PRIOR)
    }
}

/// Returns the weight of a vote by a voice with this accuracy: log-odds, 0 to [`WEIGHT_MAX`].
pub fn weight_of(accuracy: f64) -> f64 {
    let odds = accuracy.clamp(0.5, 0.999) / (1.0 - accuracy.clamp(0.5, 0.999));
    odds.ln().min(WEIGHT_MAX)
}

/// The result of a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The checker saw the same and agrees.
    Agrees,
    /// The checker has a reason to doubt the piece.
    Doubts,
}

/// Another grower's check of a piece of evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Check {
    /// Unique id of the check.
    pub id: CheckId,
    /// The person who checked.
    pub by: Observer,
    /// Result of the check.
    pub verdict: Verdict,
    /// The checker's reason.
    pub reason: String,
    /// When the check was entered.
    pub at: Timestamp,
}

/// Origin of a piece that a grower entered: who, when, where and how, with the checks by others.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Observation {
    /// The person who observed it.
    pub by: Observer,
    /// Kind of statement.
    pub kind: Kind,
    /// Id shared by all pieces that were entered together.
    pub report: ReportId,
    /// Sowing whose tally the piece is.
    pub sowing: Option<SowingId>,
    /// Day of the observation.
    pub day: Option<Date>,
    /// Coarse place.
    pub place: Option<Place>,
    /// The tree in the grower's words.
    pub tree: String,
    /// How the grower observed it.
    pub method: Method,
    /// The publication, or another reference.
    pub citation: String,
    /// When the piece was entered.
    pub at: Timestamp,
    /// Checks by others, oldest first.
    pub checks: Vec<Check>,
}

impl Observation {
    /// Returns the year of the observation's day, or of its entry without a day.
    pub fn year(&self) -> i32 {
        self.day.unwrap_or_else(|| self.at.date()).year()
    }
    /// Returns a key that distinguishes places: the grid cell; empty without a place.
    pub fn place_key(&self) -> String {
        match &self.place {
            Some(place) => place.grid.as_str().to_string(),
            None => String::new(),
        }
    }
}

/// The voice that a piece belongs to, and its weight.
#[derive(Clone, Debug, PartialEq)]
pub struct Voice {
    /// Key of the voice: a source, a citation or an account.
    pub who: String,
    /// Group of the voice; voices of one group are not independent.
    pub group: String,
    /// Whether the voice is a publication's rather than a grower's.
    pub published: bool,
    /// Weight from 0 to 1 after checks and the observer's record; 0 silences the piece.
    pub trust: f64,
    /// Assumed accuracy of the observer, 0 to 1.
    pub accuracy: f64,
    /// Reason for the trust in words; may be empty.
    pub why: String,
}

impl Voice {
    /// Returns the weight of the voice's vote.
    pub fn weight(&self) -> f64 {
        weight_of(self.accuracy) * self.trust
    }
}

/// Returns a citation's key, so that copies of one publication are one voice. A DOI takes precedence over the
/// text.
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

/// Returns whether a check is independent of the piece: a vouched checker from another group.
fn independent(check: &Check, observation: &Observation) -> bool {
    check.by.counts() && check.by.account != observation.by.account && check.by.group != observation.by.group
}

/// Returns the weight of agreements, the weight of doubts, and the number of each. Only a group's newest
/// check counts.
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
        // A poor record reduces the weight; a good one does not make one check more than one.
        let weight = (weight_of(check.by.accuracy()) / weight_of(ACCURACY_PRIOR)).min(1.0);
        match check.verdict {
            Verdict::Agrees => {
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

/// Returns whether an independent check agrees with a piece.
pub fn is_agreed_with(evidence: &Evidence) -> bool {
    evidence.observed.as_ref().is_some_and(|o| verdicts(o).0 > 0.0)
}

/// Beginning of the key of a source that no one verified: a nursery, a forum, a list without sources. What it says
/// is shown with its mark and weighs nothing.
pub const UNVERIFIED: &str = "UNVERIFIED-";

/// Returns the voice of a piece, with its trust.
pub fn voice(evidence: &Evidence) -> Voice {
    let Some(observation) = evidence.observed.as_deref() else {
        let weak = evidence.source.starts_with(UNVERIFIED);
        return Voice {
            who: evidence.source.clone(),
            group: evidence.source.clone(),
            published: true,
            trust: if weak { 0.0 } else { 1.0 },
            accuracy: ACCURACY_PRIOR,
            why: if weak { "not weighed: this source is not verified".into() } else { String::new() },
        };
    };
    let by = &observation.by;
    let copy =
        !observation.citation.is_empty() && matches!(observation.kind, Kind::Publication | Kind::Statement);
    let (out, doubt, outs, doubts) = verdicts(observation);
    // A publication is one voice, whoever copies it. Until an independent check agrees, a citation is its
    // author's own word. Citing much makes no one more independent: a copy belongs to the group of the grower
    // who entered it.
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
        (
            0.0,
            "not weighed yet: no one has vouched for its author, and no vouched grower agreed with it".into(),
        )
    } else {
        let words = |n: usize, what: &str| if n == 0 { None } else { Some(format!("{what} by {n}")) };
        let said: Vec<String> =
            [words(outs, "agreed with"), words(doubts, "doubted")].into_iter().flatten().collect();
        let trust = (1.0 + out) / (1.0 + out + DOUBT * doubt);
        // A single doubting group takes some of the weight, never most.
        (if doubts == 1 { trust.max(ONE_DOUBT) } else { trust }, said.join(", "))
    };
    let accuracy = if published { ACCURACY_PRIOR } else { by.accuracy() };
    Voice { who, group, published, trust, accuracy, why }
}

/// A piece with its voice, among the others on the same question.
#[derive(Clone, Debug)]
pub struct Heard<'a> {
    /// The piece itself.
    pub evidence: &'a Arc<Evidence>,
    /// Voice of the piece.
    pub voice: Voice,
}

/// Returns the voices of the pieces on one question, by id. Two kinds of copies are silenced, because they
/// would count twice: a grower's copy of a source that has its own row, and a second copy of one publication.
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

/// Correlation between voices of one group: n of them count for n / (1 + (n - 1) * 0.5), never more than two
/// (a design effect, as for seeds of one report). A choice of ours.
const WITHIN_GROUP: f64 = 0.5;

/// Returns the factor for each group whose weight is cut. Voices of one group are alike, so each group of
/// several voices is cut by the design effect. A group of several voices may also have at most
/// [`GROUP_SHARE_MAX`] of all weight; that limit needs at least three groups. `weights` are (group, voice,
/// weight).
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
    // Heaviest group of several voices first; at most two groups can exceed two fifths.
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

/// Returns the values in ascending order, with each group of several held to [`GROUP_SHARE_MAX`]. From a
/// group that is cut, it keeps values spread evenly over the group's sorted ones.
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

    /// Makes a vouched grower from a number.
    pub(crate) fn grower(n: u128) -> Observer {
        Observer { vouched: true, ..Observer::new(AccountId::from_uuid(Uuid::from_u128(n))) }
    }
    /// Makes a piece of evidence on a descriptor.
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
    /// Makes a check.
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
    fn newcomers_are_heard_once_a_vouched_grower_agrees_with_them() {
        let newcomer = Observer { vouched: false, ..grower(1) };
        assert_eq!(with(newcomer, vec![]).trust, 0.0);
        let twin = Observer { vouched: false, ..grower(2) };
        assert_eq!(with(newcomer, vec![check(1, twin, Verdict::Agrees)]).trust, 0.0, "nor do newcomers help");
        assert_eq!(with(newcomer, vec![check(1, grower(3), Verdict::Agrees)]).trust, 1.0);
        let suspended = Observer { suspended: true, ..grower(4) };
        assert_eq!(with(suspended, vec![check(1, grower(3), Verdict::Agrees)]).trust, 0.0);
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
        let balanced =
            with(grower(1), vec![check(1, grower(2), Verdict::Doubts), check(2, grower(3), Verdict::Agrees)]);
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
    fn a_citation_is_its_authors_word_until_someone_looked_it_up() {
        let own = voice(&cited(1, 1, "Reed 1930, Fruit Notes, p. 4", vec![]));
        assert_eq!((own.who, own.published), (grower(1).account.to_string(), false));
        let looked_up = vec![check(1, grower(9), Verdict::Agrees)];
        let reed = voice(&cited(1, 1, "Reed 1930, Fruit Notes, p. 4", looked_up.clone()));
        assert!(reed.published);
        assert_eq!(reed.who, voice(&cited(2, 2, "REED 1930. Fruit notes, p 4", looked_up.clone())).who);
        let doi = |id, by, text: &str| voice(&cited(id, by, text, looked_up.clone())).who;
        assert_eq!(
            doi(1, 1, "Words, https://doi.org/10.1000/AB.12."),
            doi(2, 2, "doi 10.1000/ab.12, others")
        );
        assert_eq!(reed.group, grower(1).group.to_string(), "no one is more independent for citing much");
    }

    #[test]
    fn the_same_publication_counts_once() {
        let looked_up = || vec![check(1, grower(9), Verdict::Agrees)];
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
                    // When two cut groups face almost no other weight, each keeps two fifths.
                    prop_assert!(people.len() == 1 || *weight <= GROUP_SHARE_MAX * total + 1e-9);
                }
            }
        }
    }
}
