//! How alike two folded names are, from 0 to 1.

use std::collections::BTreeSet;

use super::{
    Folded,
    distance::{indel_similarity, ratio, similarity},
};

/// Weight of the sound key, of trigram overlap and of word-set overlap beside edit distance (weight 1).
/// Chosen on held-out names; see the module's recall test.
const SOUND: f64 = 1.0;
const TRIGRAMS: f64 = 0.6;
const WORD_SET: f64 = 0.6;

/// Below this nothing counts as near.
pub const NEAR: f64 = 0.52;
/// A guess is shown as the answer only from here on…
pub const GUESS: f64 = 0.70;
/// …and only when no other cultivar comes this close to it.
pub const GUESS_LEAD: f64 = 0.06;

/// The trigrams of each word, padded by two spaces before and one after.
pub fn trigrams(words: &[String]) -> BTreeSet<[u8; 3]> {
    let mut grams = BTreeSet::new();
    for word in words {
        let padded: Vec<u8> =
            b"  ".iter().copied().chain(word.bytes()).chain(std::iter::once(b' ')).collect();
        grams.extend(padded.windows(3).filter_map(|w| <[u8; 3]>::try_from(w).ok()));
    }
    grams
}

fn jaccard<T: Ord>(a: &BTreeSet<T>, b: &BTreeSet<T>) -> f64 {
    let shared = a.intersection(b).count();
    ratio(shared, a.len() + b.len() - shared)
}

fn word_set(a: &Folded, b: &Folded) -> f64 {
    let set = |f: &Folded| f.words.iter().cloned().collect::<BTreeSet<String>>();
    let (a, b) = (set(a), set(b));
    let join = |words: Vec<&String>| words.into_iter().cloned().collect::<Vec<_>>().join(" ");
    let shared: Vec<&String> = a.intersection(&b).collect();
    let with = |other: &BTreeSet<String>, own: &BTreeSet<String>| {
        join(shared.iter().copied().chain(own.difference(other)).collect())
    };
    let (base, whole_a, whole_b) = (join(shared.clone()), with(&b, &a), with(&a, &b));
    let mut best = indel_similarity(&whole_a, &whole_b);
    if !base.is_empty() {
        best = best.max(indel_similarity(&base, &whole_a)).max(indel_similarity(&base, &whole_b));
    }
    best
}

/// All words of the shorter name stand in the longer one, and they are long enough to mean something.
pub fn words_within(a: &Folded, b: &Folded) -> bool {
    let (short, long) = if a.words.len() < b.words.len() { (a, b) } else { (b, a) };
    short.words.len() < long.words.len()
        && short.joined.len() >= 4
        && short.words.iter().all(|word| long.words.contains(word))
}

/// The blend of all measures. 1 only for names that fold to the same text.
pub fn blend(query: &Folded, name: &Folded) -> f64 {
    if query.key() == name.key() {
        return 1.0;
    }
    let letters = similarity(&query.joined, &name.joined).max(similarity(&query.sorted, &name.sorted));
    let sound = similarity(&query.sound, &name.sound);
    let grams = jaccard(&trigrams(&query.words), &trigrams(&name.words));
    let score = (letters + SOUND * sound + TRIGRAMS * grams + WORD_SET * word_set(query, name))
        / (1.0 + SOUND + TRIGRAMS + WORD_SET);
    let score = if words_within(query, name) {
        // whole words missing or too many: worth more than their letters' distance
        score.max(
            0.72 + 0.2
                * ratio(query.joined.len().min(name.joined.len()), query.joined.len().max(name.joined.len())),
        )
    } else if query.joined.len() >= 4 && name.joined.starts_with(&query.joined) {
        score.max(0.64)
    } else {
        score
    };
    score.min(0.999)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn trigram_check_values() {
        // Computed with PostgreSQL's padding convention; values checked with an independent script.
        let jac =
            |a: &str, b: &str| jaccard(&trigrams(&Folded::new(a).words), &trigrams(&Folded::new(b).words));
        assert!((jac("word", "two words") - 4.0 / 11.0).abs() < 1e-9);
        assert!((jac("kesar", "kesari") - 0.625).abs() < 1e-9);
        assert!((jac("banganapalli", "banganpali") - 0.5).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn stays_between_0_and_1(a in "[a-z ]{1,20}", b in "[a-z ]{1,20}") {
            let score = blend(&Folded::new(&a), &Folded::new(&b));
            prop_assert!((0.0..=1.0).contains(&score));
        }
        #[test]
        fn a_name_is_itself(a in "[A-Za-z]{2,12}( [A-Za-z]{2,9})?") {
            prop_assert!((blend(&Folded::new(&a), &Folded::new(&a.to_uppercase())) - 1.0).abs() < 1e-12);
        }
    }
}
