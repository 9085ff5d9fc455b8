//! The vote on a class: each voice has one vote, weighted by how often that voice was right. No group of
//! several people has more than two fifths of the weight.
//!
//! There are K classes. A voice is right with probability a, and otherwise picks each other class equally
//! often. It adds ln(a / (1 - a)) + ln(K - 1) to its class. The posterior is the softmax of the sums (the
//! naive Bayes form of a weighted vote). The winner alone does not protect a conclusion; the flag does: see
//! [`Outcome::contested`].

use std::collections::{BTreeMap, BTreeSet};

use super::voice::{Voice, group_factors, weight_of};

/// Share of the weight from which an alternative with two independent groups contests the winner.
const BACKED_SHARE: f64 = 0.25;
/// Probability below which the winner is contested if there is another side.
const SURE: f64 = 0.90;

/// One voice's vote for one class.
#[derive(Clone, Debug, PartialEq)]
pub struct Ballot {
    /// The voice that votes.
    pub voice: Voice,
    /// Key of the class.
    pub class: String,
}

/// Support for one class.
#[derive(Clone, Debug, PartialEq)]
pub struct Backing {
    /// Key of the class.
    pub class: String,
    /// Total weight of the votes.
    pub weight: f64,
    /// Share of the total weight, 0 to 1.
    pub share: f64,
    /// Number of independent groups that support it.
    pub groups: usize,
}

/// Result of a vote.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Classes with support, heaviest first.
    pub sides: Vec<Backing>,
    /// Probability of the first class.
    pub probability: f64,
    /// Reason why the first class is contested; `None` if it is not.
    pub contested: Option<&'static str>,
    /// Number of independent groups in total.
    pub groups: usize,
}

/// A voice's vote for one class, after division over the classes that it named.
struct Share {
    who: String,
    group: String,
    class: String,
    /// Weight as a vote.
    weight: f64,
    /// Weight in the sum of log-odds.
    evidence: f64,
}

fn shares(ballots: &[Ballot], classes: usize) -> Vec<Share> {
    // A repeated vote counts once; a voice that names two classes gives half a vote to each.
    let mut said: BTreeMap<(&str, &str), &Voice> = BTreeMap::new();
    for ballot in ballots.iter().filter(|b| b.voice.trust > 0.0) {
        let kept = said.entry((&ballot.voice.who, &ballot.class)).or_insert(&ballot.voice);
        if ballot.voice.trust > kept.trust {
            *kept = &ballot.voice;
        }
    }
    let mut classes_of: BTreeMap<&str, f64> = BTreeMap::new();
    for (who, _) in said.keys() {
        *classes_of.entry(who).or_default() += 1.0;
    }
    let others = u32::try_from(classes.saturating_sub(1)).map_or(1.0, f64::from).max(1.0);
    let mut all: Vec<Share> = said
        .iter()
        .map(|((who, class), voice)| {
            let part = voice.trust / classes_of.get(who).copied().unwrap_or(1.0);
            let weight = weight_of(voice.accuracy);
            Share {
                who: (*who).to_string(),
                group: voice.group.clone(),
                class: (*class).to_string(),
                weight: weight * part,
                evidence: if weight > 0.0 { (weight + others.ln()) * part } else { 0.0 },
            }
        })
        .collect();
    let factors =
        group_factors(&all.iter().map(|s| (s.group.clone(), s.who.clone(), s.weight)).collect::<Vec<_>>());
    for share in &mut all {
        if let Some(factor) = factors.get(&share.group) {
            share.weight *= factor;
            share.evidence *= factor;
        }
    }
    all
}

fn backings(shares: &[Share]) -> Vec<Backing> {
    let mut of: BTreeMap<&str, (f64, BTreeSet<&str>)> = BTreeMap::new();
    for share in shares {
        let entry = of.entry(&share.class).or_default();
        entry.0 += share.weight;
        entry.1.insert(&share.group);
    }
    let total: f64 = of.values().map(|b| b.0).sum();
    let mut sides: Vec<Backing> = of
        .into_iter()
        .map(|(class, (weight, groups))| Backing {
            class: class.to_string(),
            weight,
            share: if total > 0.0 { weight / total } else { 0.0 },
            groups: groups.len(),
        })
        .collect();
    sides.sort_by(|a, b| b.weight.total_cmp(&a.weight).then_with(|| a.class.cmp(&b.class)));
    sides
}

/// Returns whether another class leads when one voice is left out.
fn hinges(shares: &[Share], sides: &[Backing], leader: &str) -> bool {
    let mut of: BTreeMap<&str, BTreeMap<&str, f64>> = BTreeMap::new();
    for share in shares {
        *of.entry(&share.who).or_default().entry(&share.class).or_default() += share.weight;
    }
    of.values().any(|own| {
        let left = |side: &Backing| side.weight - own.get(side.class.as_str()).copied().unwrap_or(0.0);
        let of_leader = sides.iter().find(|s| s.class == leader).map_or(0.0, left);
        sides.iter().any(|s| s.class != leader && left(s) > of_leader + 1e-12)
    })
}

/// Counts a vote over a descriptor with `classes` classes; `None` if no voice counts.
pub fn count(ballots: &[Ballot], classes: usize) -> Option<Outcome> {
    let shares = shares(ballots, classes);
    let sides = backings(&shares);
    let first = sides.first()?;
    let sum = |class: &str| -> f64 { shares.iter().filter(|s| s.class == class).map(|s| s.evidence).sum() };
    let top = sum(&first.class);
    let silent = classes.saturating_sub(sides.len());
    let mut against: f64 = sides.iter().skip(1).map(|s| (sum(&s.class) - top).exp()).sum();
    against += u32::try_from(silent).map_or(0.0, f64::from) * (-top).exp();
    let probability = 1.0 / (1.0 + against);

    let groups: BTreeSet<&str> = shares.iter().map(|s| s.group.as_str()).collect();
    let backed = sides.iter().skip(1).any(|s| s.groups >= 2 && s.share >= BACKED_SHARE);
    let hinges = sides.len() > 1 && hinges(&shares, &sides, &first.class);
    let contested = if backed {
        Some("two or more independent voices stand behind another answer")
    } else if hinges {
        Some("it hinges on one voice")
    } else if sides.len() > 1 && probability < SURE {
        Some("neither side has the weight to settle it")
    } else {
        None
    };
    Some(Outcome { probability, contested, groups: groups.len(), sides })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::voice::ACCURACY_PRIOR;
    use proptest::prelude::*;

    fn ballot(who: &str, class: &str, accuracy: f64) -> Ballot {
        let voice = Voice {
            who: who.into(),
            group: who.into(),
            published: false,
            trust: 1.0,
            accuracy,
            why: String::new(),
        };
        Ballot { voice, class: class.into() }
    }
    fn votes(rows: &[(&str, &str)]) -> Vec<Ballot> {
        rows.iter().map(|(w, c)| ballot(w, c, ACCURACY_PRIOR)).collect()
    }

    #[test]
    fn one_voice_is_as_sure_as_it_is_right() {
        for classes in [2, 3, 5] {
            let outcome = count(&votes(&[("a", "x")]), classes).unwrap();
            assert!((outcome.probability - ACCURACY_PRIOR).abs() < 1e-12);
        }
        // Two of three classes' votes agree: .64 / (.64 + 2 * .01).
        let two = count(&votes(&[("a", "x"), ("b", "x")]), 3).unwrap();
        assert!((two.probability - 0.64 / 0.66).abs() < 1e-12);
    }

    #[test]
    fn flags() {
        assert!(count(&votes(&[("a", "x"), ("b", "y")]), 3).unwrap().contested.is_some(), "a tie");
        let five_to_one = votes(&[("a", "x"), ("b", "x"), ("c", "x"), ("d", "x"), ("e", "x"), ("f", "y")]);
        assert_eq!(
            count(&five_to_one, 3).unwrap().contested,
            None,
            "one voice alone contests nothing settled"
        );
        let four_to_two = votes(&[("a", "x"), ("b", "x"), ("c", "x"), ("d", "x"), ("e", "y"), ("f", "y")]);
        assert!(count(&four_to_two, 3).unwrap().contested.is_some());
        assert!(count(&votes(&[("a", "x"), ("a", "x"), ("a", "y")]), 3).unwrap().contested.is_some());
    }

    /// Twenty accounts of one invitation chain against four independent growers.
    #[test]
    fn a_crowd_of_one_group_does_not_win() {
        let mut all = votes(&[("a", "x"), ("b", "x"), ("c", "x"), ("d", "x")]);
        for n in 0..20 {
            let mut crowd = ballot(&format!("m{n}"), "y", ACCURACY_PRIOR);
            crowd.voice.group = "club".into();
            all.push(crowd);
        }
        let outcome = count(&all, 3).unwrap();
        assert_eq!(outcome.sides[0].class, "x");
        // Twenty alike count for 20 / (1 + 19 / 2), against four.
        let crowd = 20.0 / 10.5;
        assert!((outcome.sides[1].share - crowd / (4.0 + crowd)).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn order_does_not_matter(rows in prop::collection::vec((0u8..8, 0u8..3, 0.5f64..0.98), 1..20)) {
            let mut all: Vec<Ballot> =
                rows.iter().map(|(w, c, a)| ballot(&format!("w{w}"), &format!("c{c}"), *a)).collect();
            // Gives each voice a single accuracy.
            for at in 0..all.len() {
                let first = all.iter().find(|b| b.voice.who == all[at].voice.who).unwrap().voice.accuracy;
                all[at].voice.accuracy = first;
            }
            let forward = count(&all, 3);
            all.reverse();
            prop_assert_eq!(forward, count(&all, 3));
        }
        #[test]
        fn probabilities_are_probabilities(rows in prop::collection::vec((0u8..8, 0u8..3), 1..20)) {
            let all: Vec<Ballot> =
                rows.iter().map(|(w, c)| ballot(&format!("w{w}"), &format!("c{c}"), 0.8)).collect();
            let outcome = count(&all, 3).unwrap();
            prop_assert!((1.0 / 3.0 - 1e-9..=1.0).contains(&outcome.probability));
            let total: f64 = outcome.sides.iter().map(|s| s.share).sum();
            prop_assert!((total - 1.0).abs() < 1e-9);
        }
    }
}
