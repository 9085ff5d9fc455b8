//! Pests that are known to travel with a crop's material: shown whatever the rules say.

use super::{
    ANY, Part, Parts,
    taxon::{Line, within},
};

/// A pest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pest {
    /// Its name.
    pub name: String,
    /// Plants that it lives on.
    pub hosts: Vec<String>,
    /// What carries it, in words.
    pub carried_by: String,
    /// What is not known to carry it, in words.
    pub not_by: String,
    /// How it travels, in words.
    pub how: String,
    /// The source.
    pub source: String,
}

/// Words of a source that stand for a part.
const WORDS: &[(&str, Part)] = &[
    ("scion", Part::Scion),
    ("budwood", Part::Scion),
    ("graft", Part::Graft),
    ("cutting", Part::Scion),
    ("shoot", Part::Scion),
    ("seedling", Part::Plant),
    ("plant", Part::Plant),
    ("seed", Part::Seed),
    ("fruit", Part::Fruit),
    ("stone", Part::Seed),
    ("lea", Part::Leaf),
    ("pollen", Part::Pollen),
    ("soil", Part::Medium),
    ("root", Part::Plant),
];

impl Pest {
    /// The parts that its source says carry it.
    fn parts(&self) -> Parts {
        let text = self.carried_by.to_lowercase().replace("seedling", "plant");
        let found: Vec<Part> =
            WORDS.iter().filter(|(word, _)| text.contains(word)).map(|(_, part)| *part).collect();
        Parts::of(&found)
    }

    /// Whether it travels with parts of a plant.
    pub fn travels_with(&self, line: &Line, parts: Parts) -> bool {
        let is_host = |host: &String| {
            // sources write hosts in words: "Citrus and other Rutaceae"
            let plain: String =
                host.chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { ' ' }).collect();
            host == ANY || within(&plain).iter().any(|name| line.lies_in(name))
        };
        self.hosts.iter().any(is_host) && self.parts().meet(parts)
    }
}
