//! A rule on file, as its text says it.

use serde::{Deserialize, Serialize};

use super::Expression;
use crate::{
    offer::{Material, health::Form},
    time::Date,
};

/// What a rule says of a movement, in the text's own strength.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Nothing is on file: that is the absence of an answer, not the mildest one.
    NoRule,
    /// It sets conditions.
    Conditions,
    /// It asks for an official document.
    DocumentRequired,
    /// It prohibits it.
    Prohibited,
}

impl Verdict {
    /// The words of the headline, for whoever is to be asked.
    pub fn headline(self, authority: &str) -> String {
        match self {
            Self::Prohibited => "A rule on file prohibits this".into(),
            Self::DocumentRequired => "A rule on file asks for an official document".into(),
            Self::Conditions => "A rule on file sets conditions".into(),
            Self::NoRule => format!("No rule on file: ask {authority}"),
        }
    }
    /// From the words of a rule's text.
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
    /// A part of a plant as rules name them.
    Part {
        /// Shoots to graft or bud from.
        Scion = "scion",
        /// A plant that was grafted.
        Graft = "graft",
        /// A plant with roots.
        Plant = "plant",
        /// Seed to sow.
        Seed = "seed",
        /// Fruit.
        Fruit = "fruit",
        /// Leaves.
        Leaf = "leaf",
        /// Pollen.
        Pollen = "pollen",
        /// Plants in glass.
        Invitro = "invitro",
        /// What the roots sit in.
        Medium = "medium",
    }
}

/// Several parts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Parts(u16);

impl Parts {
    /// These.
    pub fn of(parts: &[Part]) -> Self {
        Self(parts.iter().fold(0, |bits, part| bits | (1 << *part as u16)))
    }
    /// Whether any is in both.
    pub const fn meet(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }
    /// Whether this part is among them.
    pub fn has(self, part: Part) -> bool {
        self.meet(Self::of(&[part]))
    }
    /// Each of them.
    pub fn each(self) -> impl Iterator<Item = Part> {
        Part::ALL.iter().copied().filter(move |part| self.has(*part))
    }
    /// None at all.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }
    /// What is moved with an offered material prepared so: a plant in its pot brings its medium, fruit for its stone is
    /// seed too, leaves on wood are leaves.
    pub fn of_material(material: Material, form: Option<Form>) -> Self {
        let mut parts = match material {
            Material::ScionWood | Material::Budwood => vec![Part::Scion],
            Material::Seed => vec![Part::Seed],
            // a seedling is a plant, whatever it grew from
            Material::Seedling | Material::Rootstock => vec![Part::Plant],
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

/// To whom an exception is open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OpenTo {
    /// Anyone.
    Anyone,
    /// Growers registered with the authority.
    RegisteredOperator,
    /// Holders of a permit.
    PermitOnly,
    /// Research.
    ResearchOnly,
}

impl OpenTo {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Anyone => "anyone",
            Self::RegisteredOperator => "growers registered with the authority",
            Self::PermitOnly => "holders of a permit",
            Self::ResearchOnly => "research",
        }
    }
}

/// What kind of record it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A rule whose text was seen.
    Rule,
    /// A restriction is known to exist; its text is not on file.
    Stub,
    /// Known from memory only: it makes no headline.
    Unverified,
}

/// A version of a rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// The rule's id; the same for all its versions.
    pub id: String,
    /// Counts up; a version is never changed.
    pub version: u32,
    /// What kind of record.
    pub kind: Kind,
    /// Plants, at any rank; `*` is any.
    pub hosts: Vec<String>,
    /// Parts of them.
    pub parts: Parts,
    /// Where it was grown.
    pub from: Expression,
    /// Where it goes.
    pub to: Expression,
    /// What it says.
    pub verdict: Verdict,
    /// Its conditions, in words.
    pub conditions: String,
    /// The instrument that it stands in: rules are compared only inside one.
    pub instrument: String,
    /// Whom to ask.
    pub authority: String,
    /// First day in force.
    pub effective_from: Option<Date>,
    /// Last day in force.
    pub effective_to: Option<Date>,
    /// The date of the text that was read, as its reader wrote it.
    pub text_date: String,
    /// When a curator last looked at the text.
    pub checked_on: Option<Date>,
    /// When to look at the text again.
    pub review_by: Option<Date>,
    /// Where the text stands.
    pub citation: String,
    /// Its address.
    pub source_url: String,
    /// The rule of the same instrument that it is an exception to.
    pub excepts: Option<String>,
    /// To whom the exception is open.
    pub open_to: Option<OpenTo>,
    /// Rules that shut the exception when they apply too.
    pub void_if: Vec<String>,
    /// The rule one of whose conditions it is another way to meet.
    pub alternative_for: Option<String>,
    /// It applies to so many articles at most.
    pub most: Option<u32>,
    /// It looks at the places on the way too.
    pub on_the_way: bool,
    /// What to bear in mind.
    pub note: String,
    /// How its text was seen, where not in full: "country list not seen".
    pub read_how: String,
}

impl Rule {
    /// Whether it is in force on a day.
    pub fn in_force(&self, day: Date) -> bool {
        self.effective_from.is_none_or(|from| from <= day) && self.effective_to.is_none_or(|to| day <= to)
    }
    /// Id and version, such as `XB-SEED 2`.
    pub fn label(&self) -> String {
        format!("{} {}", self.id, self.version)
    }
}
