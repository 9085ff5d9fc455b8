//! Pests that are known to travel with a crop's material. Answers list them independently of the rules.

use super::{
    ANY, Part, Parts,
    taxon::{Line, within},
};

/// A pest, its host plants, and how it travels.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pest {
    /// Name of the pest.
    pub name: String,
    /// Names of host plants, at any rank; `*` means any plant.
    pub hosts: Vec<String>,
    /// What carries the pest, in the source's words.
    pub carried_by: String,
    /// What is not known to carry the pest, in the source's words.
    pub not_by: String,
    /// How the pest travels, in words.
    pub how: String,
    /// Citation of the source.
    pub source: String,
}

/// Words in `carried_by` and the plant part that each stands for.
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
    /// Returns the parts that carry the pest according to its source.
    fn parts(&self) -> Parts {
        let text = self.carried_by.to_lowercase().replace("seedling", "plant");
        let found: Vec<Part> =
            WORDS.iter().filter(|(word, _)| text.contains(word)).map(|(_, part)| *part).collect();
        Parts::of(&found)
    }

    /// Returns true if the plant is a host and at least one of the parts carries the pest.
    pub fn travels_with(&self, line: &Line, parts: Parts) -> bool {
        let is_host = |host: &String| {
            // Sources write hosts as prose, such as "Citrus and other Rutaceae".
            let plain: String =
                host.chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { ' ' }).collect();
            host == ANY || within(&plain).iter().any(|name| line.lies_in(name))
        };
        self.hosts.iter().any(is_host) && self.parts().meet(parts)
    }
}
