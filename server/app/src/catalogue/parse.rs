//! Reading a catalogue's files. Every mistake is listed with its file and line, all at once.

use std::collections::{BTreeMap, BTreeSet};

use scionary_domain::{
    crop::Crop,
    cultivar::{Parent, Source},
    evidence::Value,
    names::Folded,
};
use serde::{Deserialize, de::DeserializeOwned};
use sha2::{Digest as _, Sha256};

use super::{Catalogue, Files, Piece, Record, name_kind, parent_role, rank};

/// Everything that is wrong with a catalogue.
#[derive(Debug, thiserror::Error)]
#[error("the catalogue {name} has mistakes:\n{}", .mistakes.join("\n"))]
pub struct CatalogueError {
    /// Its name.
    pub name: String,
    /// What is wrong, each with file and line.
    pub mistakes: Vec<String>,
}

#[derive(Deserialize)]
struct SourceRow {
    id: String,
    citation: String,
    read: String,
}
#[derive(Deserialize)]
struct CultivarRow {
    crop: String,
    name: String,
    qualifier: String,
    botanical_name: String,
    rank: String,
    origin: String,
    notes: String,
}
#[derive(Deserialize)]
struct NameRow {
    crop: String,
    cultivar: String,
    qualifier: String,
    name: String,
    kind: String,
    disputed: String,
    source: String,
    note: String,
}
#[derive(Deserialize)]
struct ParentRow {
    crop: String,
    cultivar: String,
    qualifier: String,
    role: String,
    parent: String,
    disputed: String,
    source: String,
    note: String,
}
#[derive(Deserialize)]
struct EvidenceRow {
    row: String,
    crop: String,
    cultivar: String,
    qualifier: String,
    subject: String,
    named_as: String,
    descriptor: String,
    form: String,
    value: String,
    n: Option<u32>,
    x: Option<u32>,
    low: Option<f64>,
    high: Option<f64>,
    unit: String,
    place: String,
    source: String,
    as_stated: String,
    note: String,
}

/// Reads the rows of a file with their line numbers.
fn rows<T: DeserializeOwned>(file: &str, text: &str, mistakes: &mut Vec<String>) -> Vec<(u64, T)> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
    let mut all = Vec::new();
    let headers = match reader.headers() {
        Ok(headers) => headers.clone(),
        Err(error) => {
            mistakes.push(format!("{file}: {error}"));
            return all;
        }
    };
    let mut record = csv::StringRecord::new();
    loop {
        match reader.read_record(&mut record) {
            Ok(true) => {
                let line = record.position().map_or(0, csv::Position::line);
                match record.deserialize(Some(&headers)) {
                    Ok(row) => all.push((line, row)),
                    Err(error) => mistakes.push(format!("{file} line {line}: {error}")),
                }
            }
            Ok(false) => return all,
            Err(error) => {
                mistakes.push(format!("{file}: {error}"));
                return all;
            }
        }
    }
}

type RecordKey = (String, String, String);

fn key(crop: &str, name: &str, qualifier: &str) -> RecordKey {
    (crop.to_string(), Folded::new(name).key(), qualifier.to_string())
}

/// Reads and checks a catalogue. `known` are the crops that other catalogues brought.
///
/// # Errors
/// Everything that is wrong with it.
pub fn parse(files: &Files, known: &[Crop]) -> Result<Catalogue, CatalogueError> {
    let mut mistakes = Vec::new();
    let crops = parse_crops(files, &mut mistakes);
    let all_crops: BTreeMap<&str, &Crop> = known.iter().chain(&crops).map(|c| (c.slug.as_str(), c)).collect();
    let sources: Vec<Source> = rows::<SourceRow>("sources.csv", &files.sources, &mut mistakes)
        .into_iter()
        .map(|(_, r)| Source { id: r.id, citation: r.citation, read: r.read })
        .collect();
    let source_ids: BTreeSet<&str> = sources.iter().map(|s| s.id.as_str()).collect();
    let mut records = parse_records(files, &all_crops, &mut mistakes);
    parse_names(files, &mut records, &mut mistakes);
    parse_parents(files, &mut records, &mut mistakes);
    let evidence = parse_evidence(files, &all_crops, &source_ids, &records, &mut mistakes);
    if !mistakes.is_empty() {
        return Err(CatalogueError { name: files.name.clone(), mistakes });
    }
    Ok(Catalogue {
        name: files.name.clone(),
        hash: hash(files),
        crops,
        sources,
        records: records.into_values().collect(),
        evidence,
    })
}

fn hash(files: &Files) -> String {
    let Files { name, crops, sources, cultivars, names, parents, evidence } = files;
    let mut digest = Sha256::new();
    for text in [name, sources, cultivars, names, parents, evidence]
        .into_iter()
        .chain(crops.iter().flat_map(|(file, text)| [file, text]))
    {
        digest.update(text.len().to_le_bytes());
        digest.update(text.as_bytes());
    }
    digest.finalize().iter().map(|b| format!("{b:02x}")).collect()
}

/// What is wrong with one crop profile: its TOML, its parts, and the sources it names that are not in one of the
/// `sources.csv` given. The crop where it could be read.
pub fn crop_mistakes(text: &str, sources: &[&str]) -> (Option<Crop>, Vec<String>) {
    let crop = match toml::from_str::<Crop>(text) {
        Ok(crop) => crop,
        Err(error) => return (None, vec![error.to_string()]),
    };
    let mut mistakes: Vec<String> = crop.check().iter().map(ToString::to_string).collect();
    let known: Vec<SourceRow> = sources
        .iter()
        .flat_map(|text| rows::<SourceRow>("sources.csv", text, &mut mistakes))
        .map(|(_, row)| row)
        .collect();
    for (at, source) in crop.cited() {
        if !known.iter().any(|row| row.id == source) {
            mistakes.push(format!("{at}: the source {source} is in no sources.csv; add its row there"));
        }
    }
    (Some(crop), mistakes)
}

fn parse_crops(files: &Files, mistakes: &mut Vec<String>) -> Vec<Crop> {
    let mut crops = Vec::new();
    for (file, text) in &files.crops {
        match toml::from_str::<Crop>(text) {
            Ok(crop) => {
                mistakes.extend(crop.check().iter().map(|wrong| format!("{file}: {wrong}")));
                crops.push(crop);
            }
            Err(error) => mistakes.push(format!("{file}: {error}")),
        }
    }
    crops
}

fn parse_records(
    files: &Files,
    crops: &BTreeMap<&str, &Crop>,
    mistakes: &mut Vec<String>,
) -> BTreeMap<RecordKey, Record> {
    let mut records = BTreeMap::new();
    for (line, row) in rows::<CultivarRow>("cultivars.csv", &files.cultivars, mistakes) {
        let mut wrong = |what: String| mistakes.push(format!("cultivars.csv line {line}: {what}"));
        if !crops.contains_key(row.crop.as_str()) {
            wrong(format!("no crop {:?}", row.crop));
        }
        let Some(rank) = rank(&row.rank) else {
            wrong(format!("rank: cultivar or group expected, {:?} found", row.rank));
            continue;
        };
        let record_key = key(&row.crop, &row.name, &row.qualifier);
        if record_key.1.is_empty() {
            wrong("name: a name expected".into());
            continue;
        }
        let record = Record {
            crop: row.crop,
            name: row.name,
            qualifier: row.qualifier,
            botanical_name: row.botanical_name,
            rank,
            origin: row.origin,
            notes: row.notes,
            names: Vec::new(),
            parents: Vec::new(),
        };
        if let Some(twin) = records.insert(record_key, record) {
            wrong(format!("{} stands twice; set a qualifier to keep namesakes apart", twin.name));
        }
    }
    records
}

fn yes_no(word: &str) -> Option<bool> {
    match word {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

fn parse_names(files: &Files, records: &mut BTreeMap<RecordKey, Record>, mistakes: &mut Vec<String>) {
    for (line, row) in rows::<NameRow>("names.csv", &files.names, mistakes) {
        let mut wrong = |what: String| mistakes.push(format!("names.csv line {line}: {what}"));
        let (Some(kind), Some(disputed)) = (name_kind(&row.kind), yes_no(&row.disputed)) else {
            wrong("kind: synonym, spelling or regional expected; disputed: yes or no".into());
            continue;
        };
        match records.get_mut(&key(&row.crop, &row.cultivar, &row.qualifier)) {
            Some(record) => record.names.push((row.name, kind, disputed, row.source, row.note)),
            None => wrong(format!("no record {:?}", row.cultivar)),
        }
    }
}

fn parse_parents(files: &Files, records: &mut BTreeMap<RecordKey, Record>, mistakes: &mut Vec<String>) {
    for (line, row) in rows::<ParentRow>("parents.csv", &files.parents, mistakes) {
        let mut wrong = |what: String| mistakes.push(format!("parents.csv line {line}: {what}"));
        let (Some(role), Some(disputed)) = (parent_role(&row.role), yes_no(&row.disputed)) else {
            wrong("role: seed_parent, pollen_parent or unknown_parent expected; disputed: yes or no".into());
            continue;
        };
        match records.get_mut(&key(&row.crop, &row.cultivar, &row.qualifier)) {
            Some(record) => {
                record.parents.push(Parent {
                    role,
                    name: row.parent,
                    disputed,
                    source: row.source,
                    note: row.note,
                });
            }
            None => wrong(format!("no record {:?}", row.cultivar)),
        }
    }
}

fn value(row: &EvidenceRow) -> Result<Value, String> {
    let month = |v: Option<f64>| {
        (1..=12_u8)
            .find(|m| v.is_some_and(|v| (v - f64::from(*m)).abs() < f64::EPSILON))
            .ok_or("low, high: months 1 to 12 expected")
    };
    Ok(match row.form.as_str() {
        "class" => Value::Class { state: row.value.clone() },
        "grade" => Value::Grade { state: row.value.clone() },
        "tally" => Value::Tally {
            counted: row.n.ok_or("n: a count expected")?,
            of_these: row.x.ok_or("x: a count expected")?,
        },
        "rate" => Value::Rate { low: row.low, high: row.high, mean: row.value.parse().ok() },
        "quantity" => Value::Quantity {
            mean: row.value.parse().ok(),
            low: row.low,
            high: row.high,
            unit: row.unit.clone(),
            sample: None,
        },
        "period" => Value::Period { from: month(row.low)?, to: month(row.high)? },
        "text" => Value::Text { text: row.value.clone() },
        other => {
            return Err(format!(
                "form: class, grade, tally, rate, quantity, period or text expected, {other:?} found"
            ));
        }
    })
}

fn parse_evidence(
    files: &Files,
    crops: &BTreeMap<&str, &Crop>,
    sources: &BTreeSet<&str>,
    records: &BTreeMap<RecordKey, Record>,
    mistakes: &mut Vec<String>,
) -> Vec<Piece> {
    let mut all = Vec::new();
    let mut seen = BTreeSet::new();
    for (line, row) in rows::<EvidenceRow>("evidence.csv", &files.evidence, mistakes) {
        let mut wrong = |what: String| mistakes.push(format!("evidence.csv line {line}: {what}"));
        if !seen.insert(row.row.clone()) {
            wrong(format!("row: {:?} stands twice", row.row));
        }
        if !sources.contains(row.source.as_str()) {
            wrong(format!("source: no source {:?}", row.source));
        }
        let about = if row.cultivar.is_empty() {
            if row.subject.is_empty() {
                wrong("subject: what it is about expected, as there is no cultivar".into());
            }
            None
        } else {
            match records.get(&key(&row.crop, &row.cultivar, &row.qualifier)) {
                Some(record) => Some((record.name.clone(), record.qualifier.clone())),
                None => {
                    wrong(format!("cultivar: no record {:?}", row.cultivar));
                    continue;
                }
            }
        };
        let descriptor = crops.get(row.crop.as_str()).and_then(|c| c.descriptor(&row.descriptor));
        let Some(descriptor) = descriptor else {
            wrong(format!("descriptor: {} has no descriptor {:?}", row.crop, row.descriptor));
            continue;
        };
        match value(&row).and_then(|v| v.check(descriptor).map(|()| v)) {
            Ok(value) => all.push(Piece {
                row: row.row,
                crop: row.crop,
                about,
                subject: row.subject,
                named_as: row.named_as,
                descriptor: row.descriptor,
                value,
                place: row.place,
                source: row.source,
                as_stated: row.as_stated,
                note: row.note,
            }),
            Err(expected) => wrong(expected),
        }
    }
    all
}
