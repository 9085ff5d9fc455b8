//! What a grower enters, checked against the crop's descriptors: all that is wrong at once.

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

/// One thing observed.
#[derive(Clone, Debug, PartialEq)]
pub enum Observed {
    /// A sowing's tally.
    Sowing(Sowing),
    /// Seedlings judged.
    Seedlings(Seedlings),
    /// Something counted by a descriptor's key: for publications and further count ratios.
    Count {
        /// The descriptor's key.
        descriptor: String,
        /// Counted.
        counted: u32,
        /// Of these.
        of_these: u32,
    },
    /// A quantity.
    Measure {
        /// The descriptor's key.
        descriptor: String,
        /// The mean.
        value: f64,
        /// Its unit; the descriptor's if empty.
        unit: String,
        /// Of how many fruits or plants; 0 if not said.
        sample: u32,
    },
    /// A step on a scale.
    Rating {
        /// The descriptor's key.
        descriptor: String,
        /// The state's key or label.
        state: String,
    },
    /// First and last ripe fruit.
    Sighting {
        /// The descriptor's key; the crop's only period if empty.
        descriptor: String,
        /// First ripe.
        first: Option<Date>,
        /// Last ripe.
        last: Option<Date>,
    },
    /// A class or words without a count.
    Statement {
        /// The descriptor's key.
        descriptor: String,
        /// The state's key or label; empty for words.
        state: String,
        /// Words, where the descriptor takes words.
        text: String,
    },
}

/// What a grower enters together: one visit, one tree, one publication.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// What was observed.
    pub observed: Vec<Observed>,
    /// When.
    pub day: Option<Date>,
    /// Country or subdivision; may be empty.
    pub area_code: String,
    /// Grid code; may be empty.
    pub grid_code: String,
    /// The place in words.
    pub place_label: String,
    /// The tree, in the grower's words.
    pub tree: String,
    /// How.
    pub method: Method,
    /// It is what a publication says.
    pub published: bool,
    /// The publication, or another reference.
    pub citation: String,
    /// The name used for it, if another.
    pub named_as: String,
    /// What to bear in mind.
    pub note: String,
}

/// One statement on one descriptor.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The descriptor's key.
    pub descriptor: String,
    /// What was observed or stated.
    pub value: Value,
    /// What kind of statement.
    pub kind: Kind,
    /// In words.
    pub as_stated: String,
}

/// A checked draft.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// The statements.
    pub entries: Vec<Entry>,
    /// When.
    pub day: Option<Date>,
    /// Where, coarsely.
    pub place: Option<Place>,
    /// Where, in words, as others see it.
    pub place_text: String,
    /// The tree.
    pub tree: String,
    /// How.
    pub method: Method,
    /// The publication or another reference.
    pub citation: String,
    /// The name used for it.
    pub named_as: String,
    /// What to bear in mind.
    pub note: String,
}

/// Factors to grams: the international avoirdupois pound (exactly 453.59237 g) and its ounce.
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

/// A value in the descriptor's unit.
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

/// A state by its key or its label, however written.
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

/// Finds descriptors and notes what is wrong.
struct Reader<'a> {
    crop: &'a Crop,
    wrong: Vec<FieldError>,
}

impl<'a> Reader<'a> {
    fn say(&mut self, field: String, expected: impl Into<String>) {
        self.wrong.push(FieldError::new(field, expected));
    }
    fn descriptor(&mut self, path: &str, key: &str, kinds: &[DescriptorKind]) -> Option<&'a Descriptor> {
        // by its key or its label, however spaced
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

    /// What a kind of trait takes, in words.
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

    /// The statements of one thing observed.
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

/// Checks a draft.
///
/// # Errors
/// All wrong fields.
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

/// The place, where a grid code is given; and its words.
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
