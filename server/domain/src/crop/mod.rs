//! Crops as data. A profile file holds what growers observe on a crop, what is published about its seed, and
//! what to be careful with. A new crop needs only a new file.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

mod route;
mod step;
mod storage;

pub use route::{RouteProfile, Way};
pub use step::{Climate, Fresh, Months, NEAR_EQUATOR, Only, StepProfile, Wait, WaitUnit};
pub use storage::{Kept, Storage};

use crate::{field::FieldError, offer::Material};

/// A crop's profile. Some fields appear in no reply yet; the file keeps them for the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Crop {
    /// Unique key, such as `mango`.
    pub slug: String,
    /// Common name.
    pub name: String,
    /// Botanical name with its author.
    pub botanical_name: String,
    /// EPPO code; empty if not known.
    #[serde(default)]
    pub eppo_code: String,
    /// The cultivated plant code's denomination class, within which names must be unique.
    pub denomination_class: String,
    /// How the crop's seed behaves, in two sentences.
    pub about: String,
    /// Kinds of plant material that growers exchange.
    pub materials: Vec<Material>,
    /// Published facts about its seed in general.
    pub seed: SeedFacts,
    /// Traits that growers observe on it.
    #[serde(rename = "descriptor")]
    pub descriptors: Vec<Descriptor>,
    /// Published durations, sizes and temperatures.
    #[serde(rename = "timing", default)]
    pub timings: Vec<Timing>,
    /// How long seed, wood and plants live, by how they are kept.
    #[serde(rename = "storage", default)]
    pub storages: Vec<Storage>,
    /// Ways from a wish to a tree.
    #[serde(rename = "route", default)]
    pub routes: Vec<RouteProfile>,
    /// Steps of the ways; each step comes after the steps that it follows.
    #[serde(rename = "step", default)]
    pub steps: Vec<StepProfile>,
    /// Warnings about the crop.
    #[serde(rename = "caution", default)]
    pub cautions: Vec<Caution>,
}

/// Published facts about the seed of a crop's polyembryonic cultivars.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SeedFacts {
    /// Lowest published off-type rate, percent.
    pub off_type_low_pct: Option<f64>,
    /// Highest published off-type rate, percent.
    pub off_type_high_pct: Option<f64>,
    /// Keys of the sources of both rates.
    #[serde(default)]
    pub off_type_sources: Vec<String>,
    /// Both rates in words.
    pub off_type_text: String,
    /// Set instead of sources where the text is common practice.
    #[serde(default)]
    pub off_type_basis: String,
    /// What is published about seeds that give one seedling.
    #[serde(default)]
    pub single_sprout_text: String,
    /// Keys of the sources of that text.
    #[serde(default)]
    pub single_sprout_sources: Vec<String>,
    /// Set instead of sources where the text is common practice.
    #[serde(default)]
    pub single_sprout_basis: String,
    /// What removing odd seedlings can and cannot achieve.
    #[serde(default)]
    pub roguing_text: String,
    /// Keys of the sources of that text.
    #[serde(default)]
    pub roguing_sources: Vec<String>,
    /// Set instead of sources where the text is common practice.
    #[serde(default)]
    pub roguing_basis: String,
    /// Embryony class assumed where no evidence is stored; empty for none.
    #[serde(default)]
    pub default_class: String,
}

/// The kind of value that a descriptor takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DescriptorKind {
    /// One of several states without order.
    Category,
    /// A count within a count, such as 5 of 36 seeds.
    CountRatio,
    /// One of several states in order.
    Ordinal,
    /// A number with a unit.
    Quantity,
    /// A part of the year.
    Period,
    /// Free text.
    Text,
}

/// The definition of one trait for one crop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Descriptor {
    /// Unique key within the crop, such as `embryony`.
    pub key: String,
    /// Label for display.
    pub label: String,
    /// The kind of value.
    pub kind: DescriptorKind,
    /// Question that the descriptor answers.
    pub question: String,
    /// How a grower observes the trait.
    pub observe: String,
    /// Unit of a quantity.
    #[serde(default)]
    pub unit: String,
    /// For a count ratio: the things counted, such as `seeds`.
    #[serde(default)]
    pub counted: String,
    /// For a count ratio: what some of them did, such as `gave two or more sprouts`.
    #[serde(default)]
    pub phrase: String,
    /// For a category: key of the count ratio that answers the same question. Statements alone then never
    /// settle it.
    #[serde(default)]
    pub counted_by: String,
    /// For a quantity: smallest sample in one place and year whose mean is weighed; a smaller one is only
    /// shown.
    #[serde(default)]
    pub sample_min: u32,
    /// For a quantity: largest plausible value, beyond which an entry is a slip; 0 for no bound.
    #[serde(default)]
    pub most: f64,
    /// States of a category or ordinal descriptor, in order.
    #[serde(default)]
    pub states: Vec<State>,
    /// Key of the source of the definition; empty if there is none.
    #[serde(default)]
    pub source: String,
    /// Basis of the definition without a source, such as `common practice`.
    #[serde(default)]
    pub basis: String,
}

impl Descriptor {
    /// Returns the source of the definition, or its basis without one.
    pub fn origin(&self) -> &str {
        if self.source.is_empty() { &self.basis } else { &self.source }
    }
    /// Returns the label of a state, or the key itself for an unknown state.
    pub fn state_label<'a>(&'a self, key: &'a str) -> &'a str {
        self.states.iter().find(|s| s.key == key).map_or(key, |s| s.label.as_str())
    }
}

/// One state of a descriptor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct State {
    /// Unique key within the descriptor.
    pub key: String,
    /// Label for display.
    pub label: String,
    /// What the state means.
    #[serde(default)]
    pub help: String,
}

/// A published duration, size or temperature.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Timing {
    /// Key of what is measured, such as `first_fruit_seedling`.
    pub step: String,
    /// What is measured, in words.
    pub label: String,
    /// Lower end of the range.
    pub low: Option<f64>,
    /// Upper end of the range.
    pub high: Option<f64>,
    /// Unit of both ends.
    #[serde(default)]
    pub unit: String,
    /// Key of the source; empty if there is none.
    #[serde(default)]
    pub source: String,
    /// Basis of the numbers without a source, such as `common practice`.
    #[serde(default)]
    pub basis: String,
    /// Limits and context of the numbers.
    #[serde(default)]
    pub note: String,
}

impl Timing {
    /// Returns the source of the numbers, or their basis without one.
    pub fn origin(&self) -> &str {
        if self.source.is_empty() { &self.basis } else { &self.source }
    }
    /// Returns the range in words, such as `3 to 5 years`.
    pub fn range_text(&self) -> String {
        let unit = &self.unit;
        match (self.low, self.high) {
            (Some(low), Some(high)) if (low - high).abs() < f64::EPSILON => format!("{low} {unit}"),
            (Some(low), Some(high)) => format!("{low} to {high} {unit}"),
            (Some(low), None) => format!("{low} {unit} or more"),
            (None, Some(high)) => format!("up to {high} {unit}"),
            (None, None) => String::new(),
        }
    }
}

/// A warning about the crop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// Topic: grafting, sap, seed, movement and so on.
    pub topic: String,
    /// The warning in words.
    pub text: String,
    /// Key of the source; empty if there is none.
    #[serde(default)]
    pub source: String,
    /// Basis without a source, such as `common practice`.
    #[serde(default)]
    pub basis: String,
}

impl Caution {
    /// Returns the source of the warning, or its basis without one.
    pub fn origin(&self) -> &str {
        if self.source.is_empty() { &self.basis } else { &self.source }
    }
}

impl Crop {
    /// Returns the descriptor with this key.
    pub fn descriptor(&self, key: &str) -> Option<&Descriptor> {
        self.descriptors.iter().find(|d| d.key == key)
    }

    /// Returns the timings whose step begins with this key, one for each source where sources disagree.
    pub fn timings_of<'a>(&'a self, step: &'a str) -> impl Iterator<Item = &'a Timing> {
        self.timings.iter().filter(move |t| t.step.starts_with(step))
    }

    /// Returns the ways of keeping a material.
    pub fn storages_of(&self, material: Material) -> impl Iterator<Item = &Storage> {
        self.storages.iter().filter(move |s| s.material == material)
    }

    /// Returns every source key that the profile names, each with the part of the profile that names it.
    pub fn cited(&self) -> Vec<(String, &str)> {
        let seed = &self.seed;
        let parts = [
            ("off_type_sources", &seed.off_type_sources),
            ("single_sprout_sources", &seed.single_sprout_sources),
            ("roguing_sources", &seed.roguing_sources),
        ];
        let mut all: Vec<(String, &str)> = parts
            .into_iter()
            .flat_map(|(part, keys)| keys.iter().map(move |key| (format!("seed.{part}"), key.as_str())))
            .collect();
        all.extend(self.descriptors.iter().map(|d| (format!("descriptor {}", d.key), d.source.as_str())));
        all.extend(self.timings.iter().map(|t| (format!("timing {}", t.step), t.source.as_str())));
        all.extend(self.storages.iter().map(|s| (format!("storage {}", s.key), s.source.as_str())));
        all.extend(self.routes.iter().map(|r| (format!("route {:?}", r.way), r.source.as_str())));
        all.extend(self.steps.iter().map(|s| (format!("step {}", s.key), s.source.as_str())));
        all.extend(self.cautions.iter().map(|c| (format!("caution {}", c.topic), c.source.as_str())));
        all.retain(|(_, source)| !source.is_empty());
        all
    }

    /// Returns every mistake in the profile; empty for a correct one.
    pub fn check(&self) -> Vec<FieldError> {
        let mut wrong = Vec::new();
        let mut note = |field: String, expected: &str| wrong.push(FieldError::new(field, expected));
        if self.slug.is_empty() || !self.slug.chars().all(|c| c.is_ascii_lowercase() || c == '_') {
            note("slug".into(), "lower-case letters and underscores expected");
        }
        if self.name.trim().is_empty() {
            note("name".into(), "a common name expected");
        }
        if self.materials.is_empty() {
            note("materials".into(), "at least one material expected");
        }
        let mut keys = BTreeSet::new();
        for descriptor in &self.descriptors {
            let at = |part: &str| format!("descriptor {}.{part}", descriptor.key);
            if !keys.insert(&descriptor.key) {
                note(at("key"), "a key that no other descriptor has expected");
            }
            let with_states = matches!(descriptor.kind, DescriptorKind::Category | DescriptorKind::Ordinal);
            if with_states == descriptor.states.is_empty() {
                note(at("states"), "states expected for a category or ordinal descriptor, and for no other");
            }
            if descriptor.kind == DescriptorKind::CountRatio
                && (descriptor.counted.is_empty() || descriptor.phrase.is_empty())
            {
                note(at("counted"), "a count ratio says what is counted and what they did (counted, phrase)");
            }
            if !descriptor.counted_by.is_empty()
                && !self
                    .descriptors
                    .iter()
                    .any(|d| d.key == descriptor.counted_by && d.kind == DescriptorKind::CountRatio)
            {
                note(at("counted_by"), "the key of a count ratio of this crop expected");
            }
            if descriptor.origin().is_empty() {
                note(at("source"), "a source, or basis = \"common practice\", expected");
            }
        }
        for timing in self.timings.iter().filter(|t| t.origin().is_empty()) {
            note(
                format!("timing {}.source", timing.step),
                "a source, or basis = \"common practice\", expected",
            );
        }
        let mut ways = BTreeSet::new();
        for storage in &self.storages {
            for (part, expected) in storage.check() {
                note(format!("storage {}.{part}", storage.key), expected);
            }
            if !ways.insert((storage.material, &storage.key)) {
                note(
                    format!("storage {}.key", storage.key),
                    "a key that no other way of keeping it has expected",
                );
            }
        }
        let mut ways = BTreeSet::new();
        for route in &self.routes {
            let at = |part: &str| format!("route {:?}.{part}", route.way);
            if !ways.insert(route.way) {
                note(at("way"), "each way once expected");
            }
            for (part, text) in [("title", &route.title), ("about", &route.about), ("effort", &route.effort)]
            {
                if text.trim().is_empty() {
                    note(at(part), "words expected");
                }
            }
            if route.needs.is_empty() {
                note(at("needs"), "what one needs expected");
            }
            if let Some(step) = route.steps().find(|step| !self.timings.iter().any(|t| &t.step == *step)) {
                note(at("timings"), &format!("the step of a timing of this crop expected, {step} found"));
            }
            if let Some(topic) =
                route.cautions.iter().find(|topic| !self.cautions.iter().any(|c| &c.topic == *topic))
            {
                note(at("cautions"), &format!("the topic of a caution of this crop expected, {topic} found"));
            }
            if !route.cautions.iter().any(|topic| topic == "movement") {
                note(at("cautions"), "the caution on movement expected with every way");
            }
            if route.origin().is_empty() {
                note(at("source"), "a source, or basis = \"common practice\", expected");
            }
        }
        for step in &self.steps {
            for (part, expected) in step.check(self) {
                note(format!("step {}.{part}", step.key), &expected);
            }
            if let Some(way) = step.ways.iter().find(|way| !self.routes.iter().any(|r| r.way == **way)) {
                note(
                    format!("step {}.ways", step.key),
                    &format!("a way that this crop has expected, {way:?} found"),
                );
            }
        }
        for (field, expected) in step::check_order(&self.steps) {
            note(field, &expected);
        }
        for caution in self.cautions.iter().filter(|c| c.origin().is_empty()) {
            note(
                format!("caution {}.source", caution.topic),
                "a source, or basis = \"common practice\", expected",
            );
        }
        wrong
    }
}
