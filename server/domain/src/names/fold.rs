//! Folds names to one comparable spelling.

use unicode_normalization::{UnicodeNormalization, char::is_combining_mark};

use super::sound;

/// A name folded for comparison.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Folded {
    /// Words in lower case, only a to z and 0 to 9, in the given order.
    pub words: Vec<String>,
    /// The words joined without spaces.
    pub joined: String,
    /// The words in alphabetical order, separated by single spaces.
    pub sorted: String,
    /// Sound key of the joined words; see [`sound::key`].
    pub sound: String,
    /// True if letters of another script or alphabet were transliterated.
    pub transliterated: bool,
}

impl Folded {
    /// Folds a name: NFKD decomposition, no marks, lower case. Apostrophes and full stops are dropped, other
    /// punctuation becomes a space, and the remaining non-ASCII characters are transliterated.
    pub fn new(name: &str) -> Self {
        let mut plain = String::with_capacity(name.len());
        let mut transliterated = false;
        for c in name.nfkd().filter(|c| !is_combining_mark(*c)) {
            if c.is_ascii() {
                plain.push(c.to_ascii_lowercase());
            } else if c.is_whitespace() || matches!(c, '\u{2010}'..='\u{2015}') {
                plain.push(' ');
            } else if matches!(c, '’' | '‘' | 'ʻ' | 'ʼ' | '′' | '`' | '´') {
                // Apostrophe-like marks are dropped without a space.
            } else {
                transliterated |= c.is_alphanumeric();
                plain.extend(any_ascii::any_ascii_char(c).chars().map(|c| c.to_ascii_lowercase()));
            }
        }
        let words: Vec<String> = plain
            .replace(['\'', '.'], "")
            .split(|c: char| !c.is_ascii_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(str::to_string)
            .collect();
        let joined = words.concat();
        let mut in_order = words.clone();
        in_order.sort_unstable();
        let sound = sound::key(&joined);
        Self { words, joined, sorted: in_order.join(" "), sound, transliterated }
    }

    /// Returns the name without some words; `None` if it has none of them, or nothing else.
    pub(super) fn without(&self, words: &std::collections::BTreeSet<String>) -> Option<Self> {
        let kept: Vec<&str> =
            self.words.iter().filter(|word| !words.contains(*word)).map(String::as_str).collect();
        let some = !kept.is_empty() && kept.len() < self.words.len();
        some.then(|| Self { transliterated: self.transliterated, ..Self::new(&kept.join(" ")) })
    }

    /// Returns the words with single spaces. A name is unique within its crop by this key.
    pub fn key(&self) -> String {
        self.words.join(" ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn spellings_meet() {
        for (a, b) in [
            ("Tommy Atkins", "  tommy   ATKINS "),
            ("Pêssego", "pessego"),
            ("J. F. da Silva", "J F da Silva"),
            ("Nam-Dok", "nam dok"),
            ("O'Brien", "OBrien"),
            ("Ｋent", "kent"),
        ] {
            assert_eq!(Folded::new(a).key(), Folded::new(b).key(), "{a} {b}");
        }
        let cyrillic = Folded::new("Кент");
        assert_eq!(cyrillic.joined, "kent");
        assert!(cyrillic.transliterated);
        assert!(!Folded::new("Itamaracá").transliterated);
    }

    proptest! {
        #[test]
        fn folding_twice_changes_nothing(name in "\\PC{0,30}") {
            let once = Folded::new(&name);
            prop_assert_eq!(Folded::new(&once.key()).key(), once.key());
            prop_assert!(once.joined.bytes().all(|b| b.is_ascii_alphanumeric()));
        }
    }
}
