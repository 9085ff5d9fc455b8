//! Plant names as rules use them. A name matches rules on itself and on every name above it; a hybrid has
//! several parents.

use std::collections::{BTreeMap, BTreeSet};

/// Host of a rule on any plant.
pub const ANY: &str = "*";

/// One name directly above another in the taxonomy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Above {
    /// The lower name.
    pub name: String,
    /// The higher name: genus of a species, family of a genus, accepted name of a synonym or common name, or
    /// parent of a hybrid.
    pub within: String,
    /// True if `within` is one parent of a hybrid.
    pub parent: bool,
}

/// A name directly above another, and whether it is a hybrid parent.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Up {
    name: String,
    parent: bool,
}

/// Known names, and the names directly above each.
#[derive(Clone, Debug, Default)]
pub struct Taxa {
    above: BTreeMap<String, Vec<Up>>,
    known: BTreeSet<String>,
}

/// One upward line of a plant: its name and all names above it along one parent of each hybrid.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The name in the question, in lower case.
    pub(super) name: String,
    /// The name, all names above it along one parent of each hybrid, and `*`.
    all: BTreeSet<String>,
    listed: bool,
}

impl Line {
    /// Returns true if a host is the plant or lies above it.
    pub(super) fn lies_in(&self, host: &str) -> bool {
        self.all.contains(host)
    }
    /// Returns true if the name is in no table; then only rules on any plant are evaluated.
    pub(super) fn is_unlisted(&self) -> bool {
        !self.listed
    }
    /// Returns all names in the line, `*` included.
    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        self.all.iter().map(String::as_str)
    }
}

/// Result of reading a plant name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Read {
    /// Names that the text stands for: one, or the written parents of a hybrid.
    Known(Vec<String>),
    /// Part of the text that is in no table, with similar names.
    Unknown {
        /// The unknown words.
        word: String,
        /// Up to three similar names on file, closest first.
        like: Vec<String>,
    },
}

fn key(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

fn is_cross(word: &str) -> bool {
    matches!(word, "×" | "x" | "X")
}

fn is_epithet(word: &str) -> bool {
    word.chars().count() > 1 && word.chars().all(|c| c.is_lowercase() || c == '-')
}

fn is_genus(word: &str) -> bool {
    let mut letters = word.chars();
    letters.next().is_some_and(char::is_uppercase)
        && letters.clone().count() > 1
        && letters.all(char::is_lowercase)
}

/// Returns `C` for `C.`, the abbreviation of a genus.
fn initial(word: &str) -> Option<char> {
    let mut letters = word.chars();
    let first = letters.next().filter(|c| c.is_uppercase())?;
    (letters.as_str() == ".").then_some(first)
}

/// Returns the names in a source's prose: `Citrus and other Rutaceae` contains both.
pub(super) fn within(text: &str) -> Vec<String> {
    let words: Vec<&str> = text.split_whitespace().filter(|w| !is_cross(w)).collect();
    let mut found = Vec::new();
    for (at, word) in words.iter().enumerate() {
        if is_genus(word) {
            found.push(key(word));
            if let Some(next) = words.get(at + 1).filter(|w| is_epithet(w)) {
                found.push(key(&format!("{word} {next}")));
            }
        }
    }
    found
}

impl Taxa {
    /// Builds the table from rows of a name and one name above it.
    pub fn new(rows: impl IntoIterator<Item = Above>) -> Self {
        let mut above: BTreeMap<String, Vec<Up>> = BTreeMap::new();
        let mut known = BTreeSet::new();
        for Above { name, within, parent } in rows {
            let (name, within) = (key(&name), key(&within));
            known.extend([name.clone(), within.clone()]);
            above.entry(name).or_default().push(Up { name: within, parent });
        }
        Self { above, known }
    }

    /// Adds the hosts that rules name to the known names.
    pub(super) fn and_hosts<'a>(&mut self, hosts: impl Iterator<Item = &'a String>) {
        self.known.extend(hosts.filter(|host| *host != ANY).map(|host| key(host)));
    }

    /// Reads a name as people and sources write it: `Mangifera indica L.`, `C. sinensis x P. trifoliata`,
    /// `orange`. An abbreviated genus resolves to the genus of `crop`, else to the only genus of that initial
    /// that has the species on file, else to the only one in the crop's family.
    pub fn read(&self, name: &str, crop: &str) -> Read {
        let plain: String =
            name.chars().map(|c| if matches!(c, '(' | ')' | ',') { ' ' } else { c }).collect();
        // The hybrid sign may be written without a space: `×Citroncirus`.
        let plain = plain.replace('×', " × ");
        // Text in brackets is an author or a synonym, so the name before it decides.
        let outside = name.split('(').next().unwrap_or(name);
        if let Some(known) = self.one(&key(name)).or_else(|| self.one(&key(outside))) {
            return Read::Known(vec![known]);
        }
        let words: Vec<&str> = plain.split_whitespace().collect();
        let mut parents: Vec<Vec<&str>> = vec![Vec::new()];
        for (at, word) in words.iter().enumerate() {
            let next = words.get(at + 1).copied().unwrap_or_default();
            // `Citrus × latifolia` is one name; `C. sinensis × reticulata` and `Citrus x Poncirus` are two.
            let of_name = is_epithet(next) && parents.last().is_some_and(|p| p.len() < 2);
            if is_cross(word) && at > 0 && !of_name {
                parents.push(Vec::new());
            } else if !is_cross(word)
                && let Some(last) = parents.last_mut()
            {
                last.push(word);
            }
        }
        let mut found = Vec::new();
        let mut genus = String::new();
        for words in parents.iter().filter(|words| !words.is_empty()) {
            match self.parent(words, &genus, crop) {
                Some(name) => {
                    name.split(' ').next().unwrap_or_default().clone_into(&mut genus);
                    found.push(name);
                }
                None => {
                    let word = words.join(" ");
                    return Read::Unknown { like: self.like(&word), word };
                }
            }
        }
        if found.is_empty() {
            Read::Unknown { word: name.trim().into(), like: Vec::new() }
        } else {
            Read::Known(found)
        }
    }

    /// Returns the known form of a name, trying it as written, without hybrid signs, and without a plural `s`.
    fn one(&self, name: &str) -> Option<String> {
        let plain = name.split(' ').filter(|w| !is_cross(w)).collect::<Vec<_>>().join(" ");
        [name, &plain, plain.strip_suffix('s').unwrap_or(&plain)]
            .into_iter()
            .find(|name| self.known.contains(*name))
            .map(Into::into)
    }

    /// Reads one parent or a whole name; `None` if neither its genus nor its species is on file.
    fn parent(&self, words: &[&str], before: &str, crop: &str) -> Option<String> {
        let first = words.first()?;
        let species = words.get(1).filter(|w| is_epithet(w));
        if let Some(known) = self.one(&key(&words.join(" "))) {
            return Some(known);
        }
        let genus = if let Some(letter) = initial(first) {
            self.genus(letter, species.copied(), crop)?
        } else if is_epithet(first) && words.len() == 1 && !before.is_empty() {
            // Second parent in `Citrus sinensis × reticulata`: the genus carries over.
            return Some(format!("{before} {}", key(first)));
        } else {
            key(first)
        };
        let binomial = species.map(|s| format!("{genus} {s}"));
        if let Some(binomial) = &binomial
            && self.known.contains(binomial)
        {
            return Some(binomial.clone());
        }
        // A species that is not on file still belongs to its genus.
        self.known.contains(&genus).then(|| binomial.unwrap_or(genus))
    }

    /// Returns the genus that an initial stands for, if exactly one fits.
    fn genus(&self, letter: char, species: Option<&str>, crop: &str) -> Option<String> {
        let small: String = letter.to_lowercase().collect();
        let of_crop = key(crop).split(' ').next().unwrap_or_default().to_string();
        if of_crop.starts_with(&small) {
            return Some(of_crop);
        }
        let genera = self.known.iter().filter(|name| !name.contains(' ') && name.starts_with(&small));
        let family = |name: &str| self.up(name);
        let of_crop = family(&of_crop);
        let kin: Vec<&String> = genera
            .filter(|genus| {
                let fits = species.is_some_and(|s| self.known.contains(&format!("{genus} {s}")));
                fits || family(genus).intersection(&of_crop).next().is_some()
            })
            .collect();
        let exact: Vec<&&String> = kin
            .iter()
            .filter(|genus| species.is_some_and(|s| self.known.contains(&format!("{genus} {s}"))))
            .collect();
        match (exact.as_slice(), kin.as_slice()) {
            ([one], _) => Some((**one).clone()),
            (_, [one]) => Some((*one).clone()),
            (_, _) => None,
        }
    }

    /// Returns up to three known names within an edit distance of a third of the longer name, closest first.
    fn like(&self, word: &str) -> Vec<String> {
        let asked = key(word);
        let mut near: Vec<(usize, &String)> = self
            .known
            .iter()
            .map(|name| (crate::names::distance::osa(&asked, name), name))
            .filter(|(far, name)| *far * 3 <= name.chars().count().max(asked.chars().count()))
            .collect();
        near.sort();
        near.into_iter().take(3).map(|(_, name)| Self::shown(name)).collect()
    }

    /// Returns all names above a name, hybrid parents included, without the name itself.
    pub(super) fn up(&self, name: &str) -> BTreeSet<String> {
        let mut all = BTreeSet::new();
        let mut open = vec![name.to_string()];
        while let Some(at) = open.pop() {
            for above in self.above_of(&at) {
                if all.insert(above.name.clone()) {
                    open.push(above.name);
                }
            }
        }
        all
    }

    /// Returns the names directly above a name. A species without a row belongs to the genus in its name.
    fn above_of(&self, name: &str) -> Vec<Up> {
        match (self.above.get(name), name.split_once(' ')) {
            (Some(above), _) => above.clone(),
            (None, Some((genus, _))) => vec![Up { name: genus.into(), parent: false }],
            (None, None) => Vec::new(),
        }
    }

    /// Returns the lines of a name: one, or one per parent of a hybrid; each makes its own atom.
    pub(super) fn lines(&self, name: &str) -> Vec<Line> {
        let name = key(name);
        let genus = name.split(' ').next().unwrap_or_default();
        let listed = self.known.contains(&name) || self.known.contains(genus);
        let lines = if listed { self.ways_up(&name, 0) } else { vec![BTreeSet::from([name.clone()])] };
        let mut found: Vec<Line> = Vec::new();
        for mut all in lines {
            all.insert(ANY.into());
            if !found.iter().any(|line| line.all == all) {
                found.push(Line { name: name.clone(), all, listed });
            }
        }
        found
    }

    fn ways_up(&self, name: &str, deep: usize) -> Vec<BTreeSet<String>> {
        /// Limit above the depth of any plant table; it ends cycles.
        const DEEPEST: usize = 20;
        let mut ways = vec![BTreeSet::from([name.to_string()])];
        if deep > DEEPEST {
            return ways;
        }
        let above = self.above_of(name);
        let (parents, ranks): (Vec<&Up>, Vec<&Up>) = above.iter().partition(|up| up.parent);
        let mut cross = |further: &[BTreeSet<String>]| {
            ways = ways
                .iter()
                .flat_map(|way| further.iter().map(|more| way.union(more).cloned().collect()))
                .collect();
        };
        for rank in ranks {
            cross(&self.ways_up(&rank.name, deep + 1));
        }
        if !parents.is_empty() {
            let all: Vec<BTreeSet<String>> =
                parents.iter().flat_map(|parent| self.ways_up(&parent.name, deep + 1)).collect();
            cross(&all);
        }
        ways
    }

    /// Returns a name with a capital first letter, for display.
    pub fn shown(name: &str) -> String {
        let mut letters = name.chars();
        letters.next().map(|c| c.to_uppercase().chain(letters).collect()).unwrap_or_default()
    }

    /// Returns the lookup key of a host name: single spaces, lower case.
    pub fn key(name: &str) -> String {
        key(name)
    }

    /// Returns the rows of the table.
    pub fn rows(&self) -> impl Iterator<Item = Above> + '_ {
        self.above.iter().flat_map(|(name, ups)| {
            ups.iter().map(|up| Above { name: name.clone(), within: up.name.clone(), parent: up.parent })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn taxa() -> Taxa {
        let rows = [
            ("Citrus", "Rutaceae", false),
            ("Fortunella", "Citrus", false),
            ("Fortunella", "Rutaceae", false),
            ("Poncirus", "Rutaceae", false),
            ("Poncirus trifoliata", "Poncirus", false),
            ("Calamondin", "Citrus", true),
            ("Calamondin", "Fortunella", true),
            ("Citrus microcarpa", "Calamondin", false),
            ("Mangifera indica", "Mangifera", false),
            ("Persea americana", "Persea", false),
            ("orange", "Citrus sinensis", false),
        ];
        Taxa::new(rows.map(|(a, b, parent)| Above { name: a.into(), within: b.into(), parent }))
    }

    fn known(taxa: &Taxa, name: &str) -> Vec<String> {
        match taxa.read(name, "Citrus L.") {
            Read::Known(names) => names,
            Read::Unknown { word, like } => panic!("{name}: {word} is not known, {like:?}"),
        }
    }

    #[test]
    fn names_are_read_as_people_and_sources_write_them() {
        let taxa = taxa();
        for (written, expected) in [
            ("Mangifera indica L.", vec!["mangifera indica"]),
            ("mangifera indica", vec!["mangifera indica"]),
            ("Citrus sinensis (L.) Osbeck", vec!["citrus sinensis"]),
            ("C. sinensis x P. trifoliata", vec!["citrus sinensis", "poncirus trifoliata"]),
            ("C. reticulata × C. paradisi", vec!["citrus reticulata", "citrus paradisi"]),
            ("Citrus sinensis × reticulata", vec!["citrus sinensis", "citrus reticulata"]),
            ("Citrus × latifolia", vec!["citrus latifolia"]),
            ("Citrus x microcarpa", vec!["citrus microcarpa"]),
            ("Citrus ×microcarpa", vec!["citrus microcarpa"]),
            ("Citrus x Poncirus", vec!["citrus", "poncirus"]),
            ("Citrus hybrid", vec!["citrus hybrid"]),
            ("Oranges", vec!["orange"]),
            ("Citrus trifoliata L. (syn. Poncirus trifoliata (L.) Raf.)", vec!["citrus trifoliata"]),
        ] {
            assert_eq!(known(&taxa, written), expected, "{written}");
        }
        let Read::Unknown { word, like } = taxa.read("Citrus x Ponzirus", "Citrus") else { panic!() };
        assert_eq!((word.as_str(), like), ("Ponzirus", vec!["Poncirus".to_string()]));
        assert!(matches!(taxa.read("Ficus carica", "Citrus"), Read::Unknown { .. }));
        assert!(matches!(taxa.read("Q. alba", "Citrus"), Read::Unknown { .. }));
        assert_eq!(
            taxa.read("C. sinensis", ""),
            Read::Known(vec!["citrus sinensis".into()]),
            "by its species"
        );
    }

    #[test]
    fn a_hybrid_has_a_line_for_each_parent() {
        let taxa = taxa();
        let lines = taxa.lines("Citrus microcarpa");
        assert_eq!(lines.len(), 2);
        assert!(lines.iter().all(|l| l.lies_in("calamondin") && l.lies_in("rutaceae") && l.lies_in(ANY)));
        assert_eq!(lines.iter().filter(|l| l.lies_in("fortunella")).count(), 1);
        let line = |name: &str| taxa.lines(name).remove(0);
        assert!(line("Fortunella margarita").lies_in("citrus"), "a genus that was renamed");
        assert!(line("orange").lies_in("citrus") && !line("Persea").lies_in("citrus"));
        assert!(taxa.up("calamondin").contains("rutaceae") && !taxa.up("persea").contains("rutaceae"));
        assert!(line("Ficus carica").is_unlisted() && !line("Citrus reticulata").is_unlisted());
        assert_eq!(taxa.lines("Ficus carica").len(), 1);
    }
}
