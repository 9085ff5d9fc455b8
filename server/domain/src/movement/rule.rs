//! A movement rule on file, as its text states it.

use serde::{Deserialize, Serialize};

use super::Expression;
use crate::{
    offer::{Material, health::Form},
    time::Date,
};

/// What a rule says about a movement, in the strength of its text. Later variants are stricter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Nothing is on file. This is the absence of an answer, not the mildest one.
    NoRule,
    /// The rule sets conditions.
    Conditions,
    /// The rule asks for an official document.
    DocumentRequired,
    /// The rule prohibits the movement.
    Prohibited,
}

impl Verdict {
    /// Returns the headline; for [`Self::NoRule`] it names the authority to ask.
    pub fn headline(self, authority: &str) -> String {
        match self {
            Self::Prohibited => "A rule on file prohibits this".into(),
            Self::DocumentRequired => "A rule on file asks for an official document".into(),
            Self::Conditions => "A rule on file sets conditions".into(),
            Self::NoRule => format!("No rule on file: ask {authority}"),
        }
    }
    /// Parses the verdict column of a rules file.
    pub fn from_words(words: &str) -> Option<Self> {
        match words.trim() {
            "prohibited" => Some(Self::Prohibited),
            "official document required" => Some(Self::DocumentRequired),
            "allowed with conditions" | "conditions" => Some(Self::Conditions),
            "no rule on file: ask your authority" | "no rule on file" => Some(Self::NoRule),
            _ => None,
        }
    }
}

crate::offer::words! {
    /// A part of a plant, as rules name it.
    Part {
        /// Shoots for grafting or budding.
        Scion = "scion",
        /// A grafted plant.
        Graft = "graft",
        /// A plant with roots.
        Plant = "plant",
        /// Seed for sowing.
        Seed = "seed",
        /// Whole fruit.
        Fruit = "fruit",
        /// Leaves, also those left on wood.
        Leaf = "leaf",
        /// Pollen grains.
        Pollen = "pollen",
        /// Plants in glass (tissue culture).
        Invitro = "invitro",
        /// Soil or substrate around the roots.
        Medium = "medium",
    }
}

/// A set of plant parts, one bit per [`Part`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Parts(u16);

impl Parts {
    /// Builds the set from a list of parts.
    pub fn of(parts: &[Part]) -> Self {
        Self(parts.iter().fold(0, |bits, part| bits | (1 << *part as u16)))
    }
    /// Returns true if the two sets share a part.
    pub const fn meet(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }
    /// Returns true if the set contains this part.
    pub fn has(self, part: Part) -> bool {
        self.meet(Self::of(&[part]))
    }
    /// Returns each part in the set, in declaration order.
    pub fn each(self) -> impl Iterator<Item = Part> {
        Part::ALL.iter().copied().filter(move |part| self.has(*part))
    }
    /// Returns true if the set has no part.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }
    /// Returns the parts that move with an offered material in this form. A potted plant brings its medium,
    /// fruit given for its stone is also seed, and leaves on wood count as leaves.
    pub fn of_material(material: Material, form: Option<Form>) -> Self {
        let mut parts = match material {
            Material::ScionWood | Material::Budwood => vec![Part::Scion],
            Material::Seed => vec![Part::Seed],
            // A seedling counts as a plant, whatever seed it grew from.
            Material::Seedling | Material::Rootstock | Material::RootedPlant => vec![Part::Plant],
            // Rules treat shoots for rooting as shoots or as plants for planting: whichever is stricter.
            Material::Cutting => vec![Part::Scion, Part::Plant],
            Material::GraftedPlant => vec![Part::Plant, Part::Graft],
            Material::FruitForSeed => vec![Part::Fruit, Part::Seed],
        };
        match form {
            Some(Form::WithLeaves) => parts.push(Part::Leaf),
            Some(Form::InMedium) => parts.push(Part::Medium),
            Some(Form::WholeFruit) => parts.extend([Part::Fruit, Part::Seed]),
            Some(Form::Leafless | Form::BareRoot | Form::CleanedSeed | Form::SeedInHusk) | None => {}
        }
        Self::of(&parts)
    }
}

/// Group of senders that may use an exception.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OpenTo {
    /// Every sender.
    Anyone,
    /// Growers registered with the authority.
    RegisteredOperator,
    /// Holders of a permit.
    PermitOnly,
    /// Research institutions.
    ResearchOnly,
}

impl OpenTo {
    /// Returns the group in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Anyone => "anyone",
            Self::RegisteredOperator => "growers registered with the authority",
            Self::PermitOnly => "holders of a permit",
            Self::ResearchOnly => "research",
        }
    }
}

/// How well the rule's text is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A curator has read the rule's text.
    Rule,
    /// A restriction is known to exist, but its text is not on file.
    Stub,
    /// Known from memory only; it never sets the headline.
    Unverified,
}

/// One version of a rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// Id of the rule, shared by all its versions.
    pub id: String,
    /// Version number, counting up; a version never changes.
    pub version: u32,
    /// How well the text is known.
    pub kind: Kind,
    /// Host plants, at any rank; `*` means any plant.
    pub hosts: Vec<String>,
    /// Parts of the hosts that the rule covers.
    pub parts: Parts,
    /// Places where the plant was grown.
    pub from: Expression,
    /// Destinations.
    pub to: Expression,
    /// Strength of the rule.
    pub verdict: Verdict,
    /// Conditions, in words.
    pub conditions: String,
    /// Instrument that contains the rule. Exceptions work only within one instrument.
    pub instrument: String,
    /// Authority to ask.
    pub authority: String,
    /// First day in force; `None` means no start date.
    pub effective_from: Option<Date>,
    /// Last day in force; `None` means no end date.
    pub effective_to: Option<Date>,
    /// Date of the text that the curator read, as the curator wrote it.
    pub text_date: String,
    /// Day on which a curator last checked the text.
    pub checked_on: Option<Date>,
    /// Day by which a curator should check the text again.
    pub review_by: Option<Date>,
    /// Citation of the text.
    pub citation: String,
    /// URL of the text.
    pub source_url: String,
    /// Id of the rule in the same instrument to which this rule is an exception.
    pub excepts: Option<String>,
    /// Senders that may use the exception.
    pub open_to: Option<OpenTo>,
    /// Ids of rules that void the exception when they apply too.
    pub void_if: Vec<String>,
    /// Id of the rule for which this rule offers another way to meet a condition.
    pub alternative_for: Option<String>,
    /// Maximum number of articles to which the rule applies; `None` means no maximum.
    pub most: Option<u32>,
    /// The rule also covers transit places.
    pub on_the_way: bool,
    /// Remarks for the reader.
    pub note: String,
    /// How the text was read if not in full, such as "country list not seen".
    pub read_how: String,
}

impl Rule {
    /// Returns true if the rule is in force on a day.
    pub fn in_force(&self, day: Date) -> bool {
        self.effective_from.is_none_or(|from| from <= day) && self.effective_to.is_none_or(|to| day <= to)
    }
    /// Returns id and version, such as `XB-SEED 2`.
    pub fn label(&self) -> String {
        format!("{} {}", self.id, self.version)
    }
}
