//! Folding: one spelling for what people write in many ways.

use unicode_normalization::{UnicodeNormalization, char::is_combining_mark};

use super::sound;

/// A name ready to compare.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Folded {
    /// The words, lower case, a to z and 0 to 9 only, in the order given.
    pub words: Vec<String>,
    /// The words without spaces.
    pub joined: String,
    /// The words in alphabetical order, with single spaces.
    pub sorted: String,
    /// How it sounds, roughly.
    pub sound: String,
    /// Letters of another script or alphabet were written in Latin ones.
    pub transliterated: bool,
}

impl Folded {
    /// Folds a name: compatibility decomposition (NFKD), marks dropped, case dropped, apostrophes and
    /// full stops dropped, other punctuation taken as space, what is left beyond ASCII transliterated.
    pub fn new(name: &str) -> Self {
        let mut plain = String::with_capacity(name.len());
        let mut transliterated = false;
        for c in name.nfkd().filter(|c| !is_combining_mark(*c)) {
            if c.is_ascii() {
                plain.push(c.to_ascii_lowercase());
            } else if c.is_whitespace() || matches!(c, '\u{2010}'..='\u{2015}') {
                plain.push(' ');
            } else if matches!(c, '’' | '‘' | 'ʻ' | 'ʼ' | '′' | '`' | '´') {
                // apostrophes and the like leave nothing behind
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

    /// The words with single spaces: the key under which a name is unique within its crop.
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
