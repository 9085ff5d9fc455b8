//! What flowers with what: partners for pollination, by flower type and as sources name them.

use std::collections::BTreeMap;

use scionary_domain::{
    cultivar::Rank,
    evidence::{Evidence, Finding, Value, voice::UNVERIFIED},
    ids::CultivarId,
};

use super::{Record, Registry};

/// Records with something on file of their flowers, by crop.
pub(super) type Flowering = BTreeMap<String, Vec<CultivarId>>;

/// The descriptor of flower types: cultivars of different types can help each other.
const TYPE: &str = "flower_type";
/// The descriptor of what sources say in words.
const WORDS: &str = "pollination";
/// Names of fewer letters are not looked for in a source's words.
const LETTERS_MIN: usize = 4;

/// What a source says of a cultivar's or a crop's flowers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// In its words.
    pub text: String,
    /// Key of the source; empty for growers' evidence.
    pub source: String,
    /// It is said of the crop as a whole.
    pub of_crop: bool,
}

/// Why a cultivar may be a partner.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Why {
    /// Sources name it beside the other.
    Named(Vec<String>),
    /// Its flowers are of another type.
    OtherType,
}

/// A cultivar that may help another to set fruit.
pub struct Partner<'r> {
    /// The record.
    pub record: &'r Record,
    /// Why.
    pub why: Why,
    /// Its flower type, as it is shown; empty where it is not on file.
    pub flower_type: String,
}

/// What is on file of a cultivar's pollination.
pub struct Flowers<'r> {
    /// Its flower type, as it is shown; empty where it is not on file.
    pub flower_type: String,
    /// What sources say, of the cultivar first.
    pub said: Vec<Said>,
    /// Partners: those that sources name first, then by name.
    pub partners: Vec<Partner<'r>>,
}

fn words(text: &str) -> Vec<String> {
    text.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

/// Returns whether a name occurs in words, as a whole.
fn mentions(text: &[String], name: &str) -> bool {
    let name = words(name);
    let letters: usize = name.iter().map(String::len).sum();
    letters >= LETTERS_MIN && !name.is_empty() && text.windows(name.len()).any(|part| *part == *name)
}

fn said(piece: &Evidence, of_crop: bool) -> Option<Said> {
    let text = match &piece.value {
        Value::Text { text } if piece.as_stated.is_empty() => text.clone(),
        Value::Text { .. } => piece.as_stated.clone(),
        Value::Class { .. }
        | Value::Tally { .. }
        | Value::Rate { .. }
        | Value::Quantity { .. }
        | Value::Sighting { .. }
        | Value::Grade { .. }
        | Value::Period { .. } => return None,
    };
    Some(Said { text, source: piece.source.clone(), of_crop })
}

impl Record {
    /// Its flower type by the weight of the evidence; none where it is not on file or is contested.
    fn flower_type(&self) -> Option<&str> {
        let finding = self.findings.iter().find(|finding| finding.descriptor == TYPE)?;
        let weighed = |finding: &Finding| finding.pieces.iter().any(|piece| piece.weight > 0.0);
        let side = finding.sides.first().filter(|side| side.share > 0.5)?;
        weighed(finding).then_some(side.state.as_str())
    }

    fn pollination(&self) -> impl Iterator<Item = &Evidence> {
        let of_words = self.findings.iter().filter(|finding| finding.descriptor == WORDS);
        of_words.flat_map(|finding| finding.pieces.iter().map(|piece| &*piece.evidence))
    }
}

impl Registry {
    fn flowering(&self, crop: &str) -> &[CultivarId] {
        let all = self.flowering.get_or_init(|| {
            let mut all = Flowering::new();
            for record in self.records() {
                if record.findings.iter().any(|f| f.descriptor == TYPE || f.descriptor == WORDS) {
                    all.entry(record.cultivar.crop.clone()).or_default().push(record.cultivar.id);
                }
            }
            all
        });
        all.get(crop).map(Vec::as_slice).unwrap_or_default()
    }

    /// What is on file of a record's pollination, with the cultivars that may help it.
    pub fn flowers<'r>(&'r self, record: &'r Record) -> Flowers<'r> {
        let crop = &record.cultivar.crop;
        let label = |state: &str| {
            let descriptor = self.crop(crop).and_then(|c| c.descriptors.iter().find(|d| d.key == TYPE));
            let known = descriptor.and_then(|d| d.states.iter().find(|s| s.key == state));
            known.map_or_else(|| state.to_string(), |s| s.label.clone())
        };
        let own: Vec<&Evidence> = record.pollination().collect();
        let of_crop = self.on_crop(crop).filter(|piece| piece.descriptor == WORDS).map(|piece| &**piece);
        let mut all: Vec<Said> = own.iter().filter_map(|piece| said(piece, false)).collect();
        all.extend(of_crop.filter_map(|piece| said(piece, true)));
        all.sort_by_key(|said| (said.of_crop, said.source.starts_with(UNVERIFIED)));
        let own_type = record.flower_type();
        let names_of = |record: &Record| record.all_names();
        let own_names = names_of(record);
        let own_words: Vec<(Vec<String>, &str)> =
            own.iter().map(|piece| (words(&piece.as_stated), piece.source.as_str())).collect();
        let mut partners: Vec<Partner<'r>> = Vec::new();
        // Where no source names others in words about it, only those with something on file can be partners.
        let candidates: Vec<&Record> = if own.is_empty() {
            self.flowering(crop).iter().filter_map(|id| self.record(*id)).collect()
        } else {
            self.records().filter(|r| r.cultivar.crop == *crop).collect()
        };
        for other in candidates.into_iter().filter(|r| r.cultivar.rank == Rank::Cultivar) {
            if other.cultivar.id == record.cultivar.id {
                continue;
            }
            let others = names_of(other);
            let mut named: Vec<String> = own_words
                .iter()
                .filter(|(text, _)| others.iter().any(|name| mentions(text, name)))
                .map(|(_, source)| (*source).to_string())
                .collect();
            // A pair that a source names on the other's record is a pair for this one too.
            named.extend(
                other
                    .pollination()
                    .filter(|piece| own_names.iter().any(|name| mentions(&words(&piece.as_stated), name)))
                    .map(|piece| piece.source.clone()),
            );
            named.sort_unstable();
            named.dedup();
            let other_type = other.flower_type();
            let why = match (named.is_empty(), own_type, other_type) {
                (false, _, _) => Why::Named(named),
                (true, Some(own), Some(other)) if own != other => Why::OtherType,
                (true, _, _) => continue,
            };
            let flower_type = other_type.map(label).unwrap_or_default();
            partners.push(Partner { record: other, why, flower_type });
        }
        partners.sort_by_key(|p| (p.why == Why::OtherType, p.record.cultivar.full_name()));
        Flowers { flower_type: own_type.map(label).unwrap_or_default(), said: all, partners }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_found_as_whole_words() {
        let text = words("cross-pollination recommended (Algerian, Dancy, Kinnow)");
        assert!(mentions(&text, "Dancy") && mentions(&text, "kinnow"));
        assert!(!mentions(&text, "Alger") && !mentions(&text, "Dancy tangerine") && !mentions(&text, ""));
    }
}
