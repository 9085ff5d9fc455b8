//! Plants as rules name them: a name matches rules on itself and on anything above it; a hybrid has several parents.

use std::collections::{BTreeMap, BTreeSet};

/// The host of a rule on any plant.
pub const ANY: &str = "*";

/// Names and what lies directly above them: genus above species, family above genus, both parents above a hybrid, the
/// accepted name above a synonym.
#[derive(Clone, Debug, Default)]
pub struct Taxa(BTreeMap<String, Vec<String>>);

fn key(name: &str) -> String {
    name.trim().to_lowercase()
}

/// The names that a botanical name holds by itself: `Citrus × latifolia` lies in Citrus, `Citrus x Poncirus` in both.
pub(super) fn within(name: &str) -> Vec<String> {
    let words: Vec<&str> = name.split_whitespace().filter(|w| *w != "×" && *w != "x").collect();
    let mut found = Vec::new();
    for (at, word) in words.iter().enumerate() {
        // a genus is written with a capital; what follows it in small letters is its species
        if word.chars().next().is_some_and(char::is_uppercase)
            && word.chars().all(|c| c.is_alphabetic() || c == '-')
        {
            found.push(key(word));
            if let Some(next) = words.get(at + 1).filter(|w| w.chars().all(|c| c.is_lowercase() || c == '-'))
            {
                found.push(key(&format!("{word} {next}")));
            }
        }
    }
    found
}

impl Taxa {
    /// From rows of a name and one name above it.
    pub fn new(rows: impl IntoIterator<Item = (String, String)>) -> Self {
        let mut of: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for (name, above) in rows {
            of.entry(key(&name)).or_default().push(key(&above));
        }
        Self(of)
    }

    /// The name, everything above it, and `*`; small letters.
    pub fn line(&self, name: &str) -> BTreeSet<String> {
        let mut all = BTreeSet::from([ANY.to_string()]);
        let mut open = vec![key(name)];
        // an author or a rank after the species does not hide it
        open.extend(within(name));
        while let Some(at) = open.pop() {
            if at.is_empty() || !all.insert(at.clone()) {
                continue;
            }
            open.extend(self.0.get(&at).cloned().unwrap_or_default());
        }
        all
    }

    /// A host's name as rules are looked up by it.
    pub fn key(name: &str) -> String {
        key(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hybrid_matches_by_either_parent() {
        let rows = [
            ("Citrus", "Rutaceae"),
            ("Fortunella", "Citrus"),
            ("Fortunella", "Rutaceae"),
            ("Calamondin", "Citrus"),
            ("Calamondin", "Fortunella"),
        ];
        let taxa = Taxa::new(rows.map(|(a, b)| (a.to_string(), b.to_string())));
        let line = |name: &str| taxa.line(name);
        assert!(line("Calamondin").contains("fortunella") && line("calamondin").contains("rutaceae"));
        assert!(line("Citrus × latifolia").contains("rutaceae"));
        assert!(line("Citrus x Poncirus").contains("poncirus"));
        assert!(line("Mangifera indica L.").contains("mangifera indica"));
        assert!(!line("Mangifera indica L.").contains("l."));
        assert!(line("Fortunella margarita").contains("citrus"), "a genus that was renamed");
        assert!(line("Persea").contains(ANY) && !line("Persea").contains("citrus"));
    }
}
