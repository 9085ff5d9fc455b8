//! Similarity of two folded names, from 0 to 1.

use std::collections::BTreeSet;

use super::{
    Folded,
    distance::{indel_similarity, osa, ratio, similarity},
};

/// Weights of sound key, trigram overlap and word-set overlap; edit distance has weight 1. Chosen on held-out
/// names, see the recall test in `tests/it/names.rs`.
const SOUND: f64 = 1.0;
const TRIGRAMS: f64 = 0.6;
const WORD_SET: f64 = 0.6;

/// Minimum score of a hit.
pub const NEAR: f64 = 0.52;
/// Minimum score at which a guess is shown as the answer.
pub const GUESS: f64 = 0.70;
/// Minimum lead of a guess over the next cultivar.
pub const GUESS_LEAD: f64 = 0.06;

/// Returns the trigrams of each word, padded by two spaces before and one after (PostgreSQL's convention).
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

/// Returns true if the longer name contains all words of the shorter one, and these have at least 4 letters in total.
pub fn words_within(a: &Folded, b: &Folded) -> bool {
    let (short, long) = if a.words.len() < b.words.len() { (a, b) } else { (b, a) };
    short.words.len() < long.words.len()
        && short.joined.len() >= 4
        && short.words.iter().all(|word| long.words.contains(word))
}

/// Least share of a query's letters that the words of a name must cover.
const COVERED: f64 = 0.8;

/// Returns the similarity of a query to single words of a longer name: of the query's letters nearly all must be
/// covered, each word by a word of the name that differs in one letter of six, or less. `None` if they are not.
pub fn words_near(query: &Folded, name: &Folded) -> Option<f64> {
    if query.joined.len() < 4 {
        return None;
    }
    let covers = |one: &Folded, other: &Folded| -> f64 {
        let of = |word: &String| -> f64 {
            let best = other.words.iter().map(|w| (osa(word, w), w.len().max(word.len())));
            let best = best.min_by(|a, b| a.0.cmp(&b.0));
            let fits = best.filter(|(edits, length)| *edits * 6 <= *length + 1 || *edits == 0);
            fits.map_or(0.0, |(edits, length)| (1.0 - ratio(edits, length)) * ratio(word.len(), 1))
        };
        let letters: usize = one.words.iter().map(String::len).sum();
        one.words.iter().map(of).sum::<f64>() / ratio(letters.max(1), 1)
    };
    let (typed, named) = (covers(query, name), covers(name, query));
    (typed >= COVERED).then_some(0.72 * typed + 0.25 * named)
}

/// Returns the weighted blend of all measures. It is 1 only for names that fold to the same text.
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
        // Missing or extra whole words cost less than their edit distance.
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
        // Values follow PostgreSQL's padding convention and were checked with an independent script.
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
