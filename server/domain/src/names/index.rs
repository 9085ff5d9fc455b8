//! In-memory index of names. It finds candidates by shared trigrams of letters and sound, scores and ranks
//! them, and gives the reason for each match.

use std::collections::{BTreeSet, HashMap};

use crate::limits;

use super::{
    Folded,
    distance::osa,
    score::{NEAR, blend, trigrams, words_near, words_within},
};

/// Number of candidates that are scored in full.
const CANDIDATES: usize = 200;

/// A name and its target.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry<T> {
    /// What the name belongs to, such as a cultivar.
    pub target: T,
    /// The name as written.
    pub name: String,
    /// True for the accepted name, false for a synonym.
    pub accepted: bool,
    /// True if sources disagree that the name belongs to this target.
    pub disputed: bool,
}

/// Reason why a name matched.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    /// Equals the accepted name after folding.
    Exact,
    /// Equals a synonym on file after folding.
    Synonym,
    /// Equals a name after transliteration from another script or alphabet.
    Transliterated,
    /// Has the same words joined, split or in another order.
    Spacing,
    /// All words of one name occur in the other.
    Words,
    /// Has the same sound key.
    Sound,
    /// Each typed word is a word of the name, up to a few letters.
    NearWords,
    /// Differs by this many letters (edit distance of the joined words).
    Near(usize),
}

/// A name that matched a query.
#[derive(Clone, Debug)]
pub struct Hit<T> {
    /// What the name belongs to.
    pub target: T,
    /// The matching name as written.
    pub name: String,
    /// True if this is the accepted name.
    pub accepted: bool,
    /// True if sources disagree that the name belongs to this target.
    pub disputed: bool,
    /// Why the name matched.
    pub reason: Reason,
    /// Similarity from 0 to 1.
    pub score: f64,
}

impl<T> Hit<T> {
    /// Returns true if the typed name equals this name after folding, joining and transliterating. Callers
    /// accept such a hit without asking back.
    pub fn is_exact(&self) -> bool {
        match self.reason {
            Reason::Exact | Reason::Synonym | Reason::Transliterated | Reason::Spacing => true,
            Reason::Words | Reason::Sound | Reason::NearWords | Reason::Near(_) => false,
        }
    }

    /// Returns the reason in words; `typed` is the name in the query.
    pub fn reason_text(&self, typed: &str) -> String {
        let name = &self.name;
        match self.reason {
            Reason::Exact => "the accepted name".to_string(),
            Reason::Synonym if self.disputed => format!("“{name}” is a disputed synonym"),
            Reason::Synonym => format!("“{name}” is another name for it"),
            Reason::Transliterated => format!("“{typed}” written in Latin letters gives “{name}”"),
            Reason::Spacing => format!("it is “{name}” with the words joined, split or turned round"),
            Reason::Words => format!("it shares whole words with “{name}”"),
            Reason::Sound => format!("it sounds like “{name}”"),
            Reason::NearWords => format!("it is near to words of “{name}”"),
            Reason::Near(1) => format!("one letter differs from “{name}”"),
            Reason::Near(edits) => format!("{edits} letters differ from “{name}”"),
        }
    }
}

struct Row<T> {
    entry: Entry<T>,
    folded: Folded,
    /// The name without words that many names share, such as `lemon`; `None` where nothing is left or missing.
    core: Option<Folded>,
}

/// A word is common if at least this many names have it, and at least one name in [`COMMON_SHARE`].
const COMMON_LEAST: usize = 6;
/// See [`COMMON_LEAST`].
const COMMON_SHARE: usize = 200;

/// Index over the names of a registry.
pub struct NameIndex<T> {
    rows: Vec<Row<T>>,
    exact: HashMap<String, Vec<usize>>,
    postings: HashMap<(bool, [u8; 3]), Vec<u32>>,
    /// Words that many names share: a likeness in them says little.
    common: BTreeSet<String>,
}

impl<T: Copy + Eq + Ord> NameIndex<T> {
    /// Builds the index over all entries.
    pub fn new(entries: impl IntoIterator<Item = Entry<T>>) -> Self {
        let rows: Vec<Row<T>> = entries
            .into_iter()
            .map(|entry| Row { folded: Folded::new(&entry.name), entry, core: None })
            .collect();
        let mut counts: HashMap<&str, usize> = HashMap::new();
        for word in rows.iter().flat_map(|row| row.folded.words.iter().collect::<BTreeSet<_>>()) {
            *counts.entry(word).or_default() += 1;
        }
        let least = COMMON_LEAST.max(rows.len() / COMMON_SHARE);
        let common: BTreeSet<String> = counts
            .into_iter()
            .filter(|(_, count)| *count >= least)
            .map(|(word, _)| word.to_string())
            .collect();
        let mut rows = rows;
        for row in &mut rows {
            row.core = row.folded.without(&common);
        }
        let mut exact: HashMap<String, Vec<usize>> = HashMap::new();
        let mut postings: HashMap<(bool, [u8; 3]), Vec<u32>> = HashMap::new();
        for (at, row) in rows.iter().enumerate() {
            exact.entry(row.folded.joined.clone()).or_default().push(at);
            let Ok(number) = u32::try_from(at) else { break };
            for gram in grams(&row.folded) {
                postings.entry(gram).or_default().push(number);
            }
        }
        Self { rows, exact, postings, common }
    }

    /// Returns the number of names.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Returns true if the index holds no name.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Returns the best `limit` targets for a typed name, best first, with one hit per target. `wanted` filters
    /// targets.
    pub fn find(&self, typed: &str, limit: usize, wanted: impl Fn(T) -> bool) -> Vec<Hit<T>> {
        let query = Folded::new(typed);
        // One compatibility character can expand to many letters; real names stay far below the limit.
        if query.joined.is_empty() || query.joined.len() > limits::NAME_FOLDED_MAX {
            return Vec::new();
        }
        let core = query.without(&self.meant(&query));
        let mut hits: Vec<Hit<T>> = self
            .candidates(&query, &wanted)
            .into_iter()
            .filter_map(|at| self.rows.get(at))
            .filter_map(|row| judge(&query, core.as_ref(), row))
            .collect();
        hits.sort_by(|a, b| {
            class(a.reason)
                .cmp(&class(b.reason))
                .then(a.disputed.cmp(&b.disputed))
                .then(b.score.total_cmp(&a.score))
                .then(b.accepted.cmp(&a.accepted))
                .then(a.target.cmp(&b.target))
        });
        let mut seen = BTreeSet::new();
        hits.retain(|hit| seen.insert(hit.target));
        hits.truncate(limit);
        hits
    }

    /// Returns the words of a query that are common, or a misspelt common word: one letter off from five letters on, two
    /// from eight.
    fn meant(&self, query: &Folded) -> BTreeSet<String> {
        let is_near = |word: &String| {
            let most = match word.len() {
                0..=4 => 0,
                5..=7 => 1,
                _ => 2,
            };
            self.common.contains(word) || (most > 0 && self.common.iter().any(|c| osa(c, word) <= most))
        };
        query.words.iter().filter(|word| is_near(word)).cloned().collect()
    }

    fn candidates(&self, query: &Folded, wanted: &impl Fn(T) -> bool) -> Vec<usize> {
        let mut shared: HashMap<u32, u32> = HashMap::new();
        for gram in grams(query) {
            for number in self.postings.get(&gram).into_iter().flatten() {
                *shared.entry(*number).or_default() += 1;
            }
        }
        let mut ranked: Vec<(u32, usize)> = shared
            .into_iter()
            .filter_map(|(number, count)| Some((count, usize::try_from(number).ok()?)))
            .filter(|(_, at)| self.rows.get(*at).is_some_and(|row| wanted(row.entry.target)))
            .collect();
        ranked.sort_unstable_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
        ranked.truncate(CANDIDATES);
        let mut found: Vec<usize> = ranked.into_iter().map(|(_, at)| at).collect();
        // Keeps exact matches that the candidate limit would drop.
        for at in self.exact.get(&query.joined).into_iter().flatten() {
            if !found.contains(at) && self.rows.get(*at).is_some_and(|row| wanted(row.entry.target)) {
                found.push(*at);
            }
        }
        found
    }
}

fn grams(folded: &Folded) -> BTreeSet<(bool, [u8; 3])> {
    let sound = [folded.sound.clone()];
    let mut all: BTreeSet<(bool, [u8; 3])> =
        trigrams(&folded.words).into_iter().map(|g| (false, g)).collect();
    // Includes the joined form, so that a split word still shares its inner trigrams.
    all.extend(trigrams(std::slice::from_ref(&folded.joined)).into_iter().map(|g| (false, g)));
    all.extend(trigrams(&sound).into_iter().map(|g| (true, g)));
    all
}

fn class(reason: Reason) -> u8 {
    match reason {
        Reason::Exact => 0,
        Reason::Synonym => 1,
        Reason::Transliterated | Reason::Spacing => 2,
        Reason::Words | Reason::Sound | Reason::NearWords | Reason::Near(_) => 3,
    }
}

/// Cost of words that only one of two names has, where their other words are equal: a whole name still leads.
const CORE_SHARE: f64 = 0.97;

fn judge<T: Copy>(query: &Folded, core: Option<&Folded>, row: &Row<T>) -> Option<Hit<T>> {
    let name = &row.folded;
    let (reason, score) = if query.joined == name.joined || query.sorted == name.sorted {
        let same_words = query.words == name.words;
        match (same_words, query.transliterated != name.transliterated, row.entry.accepted) {
            (true, true, _) => (Reason::Transliterated, 0.999),
            (true, false, true) => (Reason::Exact, 1.0),
            (true, false, false) => (Reason::Synonym, 1.0),
            (false, _, _) => (Reason::Spacing, 0.99),
        }
    } else {
        // Where words that many names share are left out on a side, the rest decides.
        let (own, other) = (core.unwrap_or(query), row.core.as_ref().unwrap_or(name));
        let by_core = core.is_some() || row.core.is_some();
        let whole = if by_core { CORE_SHARE * blend(own, other) } else { blend(query, name) };
        let near = words_near(own, other);
        let score = whole.max(near.unwrap_or(0.0));
        if score < NEAR {
            return None;
        }
        let edits = osa(&query.joined, &name.joined);
        let reason = if words_within(query, name) {
            Reason::Words
        } else if query.sound == name.sound && edits > 1 {
            Reason::Sound
        } else if edits > 2 && near.is_some_and(|near| near >= whole) {
            Reason::NearWords
        } else {
            Reason::Near(edits)
        };
        (reason, score)
    };
    let Entry { target, name, accepted, disputed } = &row.entry;
    Some(Hit { target: *target, name: name.clone(), accepted: *accepted, disputed: *disputed, reason, score })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn index(names: &[(&str, u32, bool)]) -> NameIndex<u32> {
        NameIndex::new(names.iter().map(|(name, target, accepted)| Entry {
            target: *target,
            name: (*name).to_string(),
            accepted: *accepted,
            disputed: false,
        }))
    }

    fn small() -> NameIndex<u32> {
        index(&[
            ("Kensington Pride", 1, true),
            ("Bowen", 1, false),
            ("Peach", 1, false),
            ("Peach", 2, true),
            ("Tommy Atkins", 3, true),
            ("Madoe", 4, true),
            ("Madu", 4, false),
            ("Itamaracá", 5, true),
            ("R2E2", 6, true),
        ])
    }

    fn check(typed: &str, target: u32, reason: Reason) {
        let hits = small().find(typed, 5, |_| true);
        let first = hits.first().unwrap_or_else(|| panic!("nothing found for {typed}"));
        assert_eq!((first.target, first.reason), (target, reason), "{typed}: {hits:?}");
    }

    #[test]
    fn reasons() {
        check("tommy atkins", 3, Reason::Exact);
        check("bowen", 1, Reason::Synonym);
        check("tommyatkins", 3, Reason::Spacing);
        check("atkins tommy", 3, Reason::Spacing);
        check("Kesington Pride", 1, Reason::Near(1));
        check("Kensigton Prid", 1, Reason::Near(2));
        check("Тоmmy Atkins", 3, Reason::Transliterated); // The first two letters are Cyrillic.
        check("atkins", 3, Reason::Words);
        check("tomi atkinz", 3, Reason::Sound);
        check("R2 E2", 6, Reason::Spacing);
    }

    #[test]
    fn namesakes_stand_together_accepted_first() {
        let hits = small().find("peach", 5, |_| true);
        assert_eq!(hits.iter().map(|h| h.target).collect::<Vec<_>>(), [2, 1]);
        assert!(hits.iter().all(Hit::is_exact));
    }

    #[test]
    fn unknown_names_find_nothing() {
        for typed in ["", "  ", "zzzzz", "Qwertyuiop", "東"] {
            assert!(small().find(typed, 5, |_| true).is_empty(), "{typed}");
        }
    }
}
