//! Checks a grower's entry against the crop's descriptors, and reports every mistake at once.

use super::{
    Kind, Method, Value,
    tally::{Seedlings, Sowing},
};
use crate::{
    crop::{Crop, Descriptor, DescriptorKind},
    field::{FieldError, Fields},
    limits,
    names::Folded,
    place::{AreaCode, Place},
    time::Date,
};

/// One observation or statement in an entry.
#[derive(Clone, Debug, PartialEq)]
pub enum Observed {
    /// Tally of a sowing.
    Sowing(Sowing),
    /// Seedlings judged as true to type or off-type.
    Seedlings(Seedlings),
    /// A count for any count-ratio descriptor, for example from a publication.
    Count {
        /// Key or label of the descriptor.
        descriptor: String,
        /// Number of things counted.
        counted: u32,
        /// Number of those that had the trait.
        of_these: u32,
    },
    /// A measured quantity.
    Measure {
        /// Key or label of the descriptor.
        descriptor: String,
        /// Mean of the measured values, in `unit`.
        value: f64,
        /// Unit of the value; the descriptor's unit if empty.
        unit: String,
        /// Number of fruits or plants behind the mean; 0 if not given.
        sample: u32,
    },
    /// A grade on an ordinal scale.
    Rating {
        /// Key or label of the descriptor.
        descriptor: String,
        /// Key or label of the state.
        state: String,
    },
    /// First and last day of ripe fruit; one may be missing.
    Sighting {
        /// Key or label of the descriptor; if empty, the crop's first period descriptor.
        descriptor: String,
        /// First day of ripe fruit.
        first: Option<Date>,
        /// Last day of ripe fruit.
        last: Option<Date>,
    },
    /// A class or a text, without a count.
    Statement {
        /// Key or label of the descriptor.
        descriptor: String,
        /// Key or label of the state; empty for a text.
        state: String,
        /// The text, for descriptors other than categories.
        text: String,
    },
}

/// What a grower enters together: one visit, one tree or one publication. Unchecked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// The observations and statements.
    pub observed: Vec<Observed>,
    /// Day of the observation.
    pub day: Option<Date>,
    /// Country or subdivision: an ISO 3166 code; may be empty.
    pub area_code: String,
    /// Grid code of the place; may be empty.
    pub grid_code: String,
    /// The place in the grower's words.
    pub place_label: String,
    /// The tree in the grower's words.
    pub tree: String,
    /// How the grower observed it.
    pub method: Method,
    /// Whether the entry reports what a publication says.
    pub published: bool,
    /// The publication, or another reference; required if `published`.
    pub citation: String,
    /// Name that the grower or publication uses, if different from the record's.
    pub named_as: String,
    /// Limits and context.
    pub note: String,
}

/// One checked statement on one descriptor.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Key of the descriptor.
    pub descriptor: String,
    /// What was observed or stated.
    pub value: Value,
    /// Kind of statement.
    pub kind: Kind,
    /// The value in words.
    pub as_stated: String,
}

/// A draft that passed every check.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// The statements, one for each descriptor.
    pub entries: Vec<Entry>,
    /// Day of the observation.
    pub day: Option<Date>,
    /// Coarse place; `None` without a grid code.
    pub place: Option<Place>,
    /// The place in words, as other members see it.
    pub place_text: String,
    /// The tree in the grower's words.
    pub tree: String,
    /// How the grower observed it.
    pub method: Method,
    /// The publication, or another reference.
    pub citation: String,
    /// Name that the grower or publication uses, if different from the record's.
    pub named_as: String,
    /// Limits and context.
    pub note: String,
}

/// Factors to grams, from the international avoirdupois pound (exactly 453.59237 g) and its ounce.
const TO_GRAMS: [(&str, f64); 8] = [
    ("g", 1.0),
    ("gram", 1.0),
    ("grams", 1.0),
    ("kg", 1000.0),
    ("oz", 28.349_523_125),
    ("ounces", 28.349_523_125),
    ("lb", 453.592_37),
    ("pounds", 453.592_37),
];

/// Converts a value to the descriptor's unit, or returns a message for an unknown unit.
fn in_unit(descriptor: &Descriptor, value: f64, unit: &str) -> Result<f64, String> {
    let unit = unit.trim().to_lowercase();
    if unit.is_empty() || unit == descriptor.unit.to_lowercase() {
        return Ok(value);
    }
    if descriptor.unit == "g" {
        if let Some((_, factor)) = TO_GRAMS.iter().find(|(name, _)| *name == unit) {
            return Ok(value * factor);
        }
        return Err(format!("g, kg, oz or lb expected, {unit:?} found"));
    }
    Err(format!("{} expected, {unit:?} found", descriptor.unit))
}

/// Finds a state by its key or label, ignoring case, hyphens and underscores.
fn state_of<'a>(descriptor: &'a Descriptor, typed: &str) -> Result<&'a str, String> {
    let plain = |text: &str| text.trim().to_lowercase().replace(['-', '_'], " ");
    let wanted = plain(typed);
    descriptor
        .states
        .iter()
        .find(|s| plain(&s.key) == wanted || plain(&s.label) == wanted)
        .map(|s| s.key.as_str())
        .ok_or_else(|| {
            let known: Vec<&str> = descriptor.states.iter().map(|s| s.key.as_str()).collect();
            format!(
                "one of {} expected, {:?} found",
                known.join(", "),
                typed.chars().take(40).collect::<String>()
            )
        })
}

/// Finds descriptors, and collects the mistakes.
struct Reader<'a> {
    crop: &'a Crop,
    wrong: Vec<FieldError>,
}

impl<'a> Reader<'a> {
    fn say(&mut self, field: String, expected: impl Into<String>) {
        self.wrong.push(FieldError::new(field, expected));
    }
    fn descriptor(&mut self, path: &str, key: &str, kinds: &[DescriptorKind]) -> Option<&'a Descriptor> {
        // A descriptor matches by key or label, whatever the spacing.
        let wanted = Folded::new(key).joined;
        let named =
            |d: &&Descriptor| Folded::new(&d.key).joined == wanted || Folded::new(&d.label).joined == wanted;
        let found = self.crop.descriptors.iter().filter(|d| kinds.contains(&d.kind)).find(named);
        if found.is_none() {
            let other = self.crop.descriptors.iter().find(named);
            if let Some(other) = other {
                self.say(
                    format!("{path}.descriptor_key"),
                    format!("{} is {}", other.label, Self::takes(other.kind)),
                );
                return None;
            }
            let known: Vec<&str> = self
                .crop
                .descriptors
                .iter()
                .filter(|d| kinds.contains(&d.kind))
                .map(|d| d.key.as_str())
                .collect();
            self.say(
                format!("{path}.descriptor_key"),
                format!(
                    "a trait of {} expected, one of {}; {:?} found",
                    self.crop.slug,
                    known.join(", "),
                    key.chars().take(40).collect::<String>()
                ),
            );
        }
        found
    }

    /// Returns the kind of entry that a descriptor takes, in words.
    const fn takes(kind: DescriptorKind) -> &'static str {
        match kind {
            DescriptorKind::Category => "stated, not measured: enter it as a statement",
            DescriptorKind::CountRatio => "counted: enter so many of so many",
            DescriptorKind::Ordinal => "a step on a scale: enter it as a rating",
            DescriptorKind::Quantity => "measured: enter a number with its unit",
            DescriptorKind::Period => "seen on the calendar: enter the first and the last ripe day",
            DescriptorKind::Text => "words: enter it as a statement",
        }
    }

    /// Returns the statements in one observation: descriptor key, value, kind. Mistakes go to `wrong`.
    fn read(&mut self, path: &str, observed: &Observed) -> Vec<(String, Value, Kind)> {
        match observed {
            Observed::Sowing(sowing) => match sowing.rows(&format!("{path}.sowing")) {
                Ok(rows) => rows
                    .into_iter()
                    .filter(|(key, _)| self.crop.descriptor(key).is_some())
                    .map(|(key, value)| (key.to_string(), value, Kind::Tally))
                    .collect(),
                Err(wrong) => {
                    self.wrong.extend(wrong);
                    Vec::new()
                }
            },
            Observed::Seedlings(seedlings) => match seedlings.row(&format!("{path}.seedlings")) {
                Ok((key, value)) => {
                    if self.crop.descriptor(key).is_none() {
                        self.say(
                            format!("{path}.seedlings"),
                            format!("{} keeps no record of such seedlings", self.crop.slug),
                        );
                    }
                    vec![(key.to_string(), value, Kind::Tally)]
                }
                Err(wrong) => {
                    self.wrong.extend(wrong);
                    Vec::new()
                }
            },
            Observed::Count { descriptor, counted, of_these } => {
                let found = self.descriptor(path, descriptor, &[DescriptorKind::CountRatio]);
                if *counted == 0 || of_these > counted {
                    self.say(
                        format!("{path}.count"),
                        "a count of at least one, and of these at most as many, expected",
                    );
                }
                found
                    .map(|d| {
                        let value = Value::Tally { counted: *counted, of_these: *of_these };
                        (d.key.clone(), value, Kind::Tally)
                    })
                    .into_iter()
                    .collect()
            }
            Observed::Measure { descriptor, value, unit, sample } => {
                let Some(found) = self.descriptor(path, descriptor, &[DescriptorKind::Quantity]) else {
                    return Vec::new();
                };
                if !value.is_finite() || *value <= 0.0 || *value > limits::MEASURE_MAX {
                    self.say(format!("{path}.value"), "a number above 0 expected");
                    return Vec::new();
                }
                match in_unit(found, *value, unit) {
                    Ok(value) if found.most > 0.0 && value > found.most => {
                        self.say(
                            format!("{path}.value"),
                            format!(
                                "at most {} {} expected, {value} found: check number and unit",
                                found.most, found.unit
                            ),
                        );
                        Vec::new()
                    }
                    Ok(value) => {
                        let value = Value::Quantity {
                            mean: Some(value),
                            low: None,
                            high: None,
                            unit: found.unit.clone(),
                            sample: (*sample > 0).then_some(*sample),
                        };
                        vec![(found.key.clone(), value, Kind::Measure)]
                    }
                    Err(expected) => {
                        self.say(format!("{path}.unit"), expected);
                        Vec::new()
                    }
                }
            }
            Observed::Rating { descriptor, state } => {
                let Some(found) = self.descriptor(path, descriptor, &[DescriptorKind::Ordinal]) else {
                    return Vec::new();
                };
                match state_of(found, state) {
                    Ok(key) => {
                        vec![(found.key.clone(), Value::Grade { state: key.into() }, Kind::Rating)]
                    }
                    Err(expected) => {
                        self.say(format!("{path}.state"), expected);
                        Vec::new()
                    }
                }
            }
            Observed::Sighting { descriptor, first, last } => self.sighting(path, descriptor, *first, *last),
            Observed::Statement { descriptor, state, text } => self.statement(path, descriptor, state, text),
        }
    }

    fn sighting(
        &mut self,
        path: &str,
        descriptor: &str,
        first: Option<Date>,
        last: Option<Date>,
    ) -> Vec<(String, Value, Kind)> {
        let found = if descriptor.is_empty() {
            let only = self.crop.descriptors.iter().find(|d| d.kind == DescriptorKind::Period);
            if only.is_none() {
                self.say(format!("{path}.descriptor_key"), format!("{} keeps no season", self.crop.slug));
            }
            only
        } else {
            self.descriptor(path, descriptor, &[DescriptorKind::Period])
        };
        let Some(found) = found else { return Vec::new() };
        let value = Value::Sighting { first, last };
        if value.check(found).is_err() {
            self.say(
                format!("{path}.first_ripe"),
                "a first or a last day of ripe fruit expected; of both, the last within a year after the first",
            );
            return Vec::new();
        }
        vec![(found.key.clone(), value, Kind::Sighting)]
    }

    fn statement(
        &mut self,
        path: &str,
        descriptor: &str,
        state: &str,
        text: &str,
    ) -> Vec<(String, Value, Kind)> {
        let kinds = [DescriptorKind::Category, DescriptorKind::Text, DescriptorKind::Period];
        let Some(found) = self.descriptor(path, descriptor, &kinds) else { return Vec::new() };
        if found.kind == DescriptorKind::Category {
            return match state_of(found, state) {
                Ok(key) => vec![(found.key.clone(), Value::Class { state: key.into() }, Kind::Statement)],
                Err(expected) => {
                    self.say(format!("{path}.state"), expected);
                    Vec::new()
                }
            };
        }
        let mut fields = Fields::new();
        let text = fields.line(&format!("{path}.text"), text, 1, limits::EVIDENCE_TEXT_CHARS_MAX);
        match fields.finish(text) {
            Ok(text) => vec![(found.key.clone(), Value::Text { text }, Kind::Statement)],
            Err(wrong) => {
                self.wrong.extend(wrong);
                Vec::new()
            }
        }
    }
}

/// Checks a draft. Days may lie one day after `today`, because of time zones.
///
/// # Errors
/// Returns every wrong field.
pub fn check(draft: &Draft, crop: &Crop, today: Date) -> Result<Checked, Vec<FieldError>> {
    let mut reader = Reader { crop, wrong: Vec::new() };
    if draft.observed.is_empty() {
        reader.say(
            "observed".into(),
            "something observed expected: a count, a measure, a rating, a sighting or a statement",
        );
    }
    if draft.observed.len() > limits::OBSERVED_TOGETHER_MAX {
        reader.say(
            "observed".into(),
            format!(
                "1 to {} things observed expected, {} found",
                limits::OBSERVED_TOGETHER_MAX,
                draft.observed.len()
            ),
        );
    }
    let mut entries = Vec::new();
    let mut seen = std::collections::BTreeSet::new();
    for (at, observed) in draft.observed.iter().enumerate().take(limits::OBSERVED_TOGETHER_MAX) {
        let path = format!("observed[{at}]");
        for (key, value, kind) in reader.read(&path, observed) {
            if !seen.insert(key.clone()) {
                reader.say(path.clone(), format!("{key} is said twice; enter the second by itself"));
            }
            let Some(descriptor) = crop.descriptor(&key) else { continue };
            let latest = match &value {
                Value::Sighting { first, last } => (*last).max(*first),
                Value::Class { .. }
                | Value::Tally { .. }
                | Value::Rate { .. }
                | Value::Quantity { .. }
                | Value::Grade { .. }
                | Value::Period { .. }
                | Value::Text { .. } => None,
            };
            if latest.is_some_and(|day| day > today.plus_days(1)) {
                reader.say(path.clone(), "that day has not come yet");
            }
            entries.push(Entry {
                as_stated: value.text(descriptor),
                kind: if draft.published { Kind::Publication } else { kind },
                descriptor: key,
                value,
            });
        }
    }
    let mut fields = Fields::new();
    if draft.day.is_some_and(|day| day > today.plus_days(1) || day.year() < limits::EVIDENCE_YEAR_MIN) {
        fields.wrong("day", format!("a day from {} to today expected", limits::EVIDENCE_YEAR_MIN));
    }
    let tree = fields.line("tree", &draft.tree, 0, limits::TREE_CHARS_MAX);
    let note = fields.text("note", &draft.note, 0, limits::EVIDENCE_NOTE_CHARS_MAX);
    let named_as = fields.line("named_as", &draft.named_as, 0, limits::NAME_CHARS_MAX);
    let least = if draft.published { limits::CITATION_CHARS_MIN } else { 0 };
    let citation = fields.line("citation", &draft.citation, least, limits::CITATION_CHARS_MAX);
    let (place, place_text) = place_of(&mut fields, draft);
    let rest = tree.zip(note).zip(named_as.zip(citation));
    match fields.finish(rest) {
        Ok(((tree, note), (named_as, citation))) if reader.wrong.is_empty() => Ok(Checked {
            entries,
            day: draft.day,
            place,
            place_text,
            tree,
            method: draft.method,
            citation,
            named_as,
            note,
        }),
        Ok(_) => Err(reader.wrong),
        Err(more) => {
            reader.wrong.extend(more);
            Err(reader.wrong)
        }
    }
}

/// Returns the place, if the draft has a grid code, and the place in words.
fn place_of(fields: &mut Fields, draft: &Draft) -> (Option<Place>, String) {
    let words = |area: &str, label: &str| match (label.is_empty(), area.is_empty()) {
        (true, _) => area.to_string(),
        (false, true) => label.to_string(),
        (false, false) => format!("{label}, {area}"),
    };
    if draft.grid_code.trim().is_empty() {
        let area = if draft.area_code.trim().is_empty() {
            String::new()
        } else {
            fields
                .take("place.area_code", AreaCode::parse(&draft.area_code))
                .map(|a| a.as_str().to_string())
                .unwrap_or_default()
        };
        let label = fields
            .line("place.label", &draft.place_label, 0, limits::PLACE_LABEL_CHARS_MAX)
            .unwrap_or_default();
        return (None, words(&area, &label));
    }
    let place = Place::parse(fields, "place", &draft.area_code, &draft.grid_code, &draft.place_label);
    let text = place
        .as_ref()
        .map(|p| words(p.area.as_ref().map_or("", AreaCode::as_str), &p.label))
        .unwrap_or_default();
    (place, text)
}
