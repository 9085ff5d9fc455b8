//! Catalogues: folders of plain files that bring crops, sources, records and evidence, each row with its
//! source. The reference catalogue ships with the server; a club may add its own.

mod load;
mod parse;

pub use load::Loaded;
pub use parse::{CatalogueError, crop_mistakes, parse};

use scionary_domain::{
    crop::Crop,
    cultivar::{NameKind, Parent, ParentRole, Rank, Source},
    evidence::Value,
};

/// The files of a catalogue, as text. An empty file brings nothing.
#[derive(Clone, Debug, Default)]
pub struct Files {
    /// The catalogue's name: a prefix of its evidence's keys.
    pub name: String,
    /// Crop profiles: file name and TOML.
    pub crops: Vec<(String, String)>,
    /// `sources.csv`.
    pub sources: String,
    /// `cultivars.csv`.
    pub cultivars: String,
    /// `names.csv`.
    pub names: String,
    /// `parents.csv`.
    pub parents: String,
    /// `evidence.csv`.
    pub evidence: String,
}

/// What a catalogue brings, checked.
#[derive(Clone, Debug)]
pub struct Catalogue {
    /// Its name.
    pub name: String,
    /// A hash of its files.
    pub hash: String,
    /// Crops.
    pub crops: Vec<Crop>,
    /// Sources.
    pub sources: Vec<Source>,
    /// Records.
    pub records: Vec<Record>,
    /// Evidence.
    pub evidence: Vec<Piece>,
}

/// A record of a catalogue.
#[derive(Clone, Debug)]
pub struct Record {
    /// The crop's key.
    pub crop: String,
    /// The accepted name.
    pub name: String,
    /// Keeps namesakes apart.
    pub qualifier: String,
    /// The botanical name.
    pub botanical_name: String,
    /// What it stands for.
    pub rank: Rank,
    /// Where it comes from.
    pub origin: String,
    /// Notes.
    pub notes: String,
    /// Further names: name, kind, disputed, source, note.
    pub names: Vec<(String, NameKind, bool, String, String)>,
    /// Parents.
    pub parents: Vec<Parent>,
}

/// A piece of evidence of a catalogue.
#[derive(Clone, Debug)]
pub struct Piece {
    /// The row's key within the catalogue.
    pub row: String,
    /// The crop's key.
    pub crop: String,
    /// The record's name and qualifier; none for the crop as a whole.
    pub about: Option<(String, String)>,
    /// What it is about, where there is no record.
    pub subject: String,
    /// The name that the source used.
    pub named_as: String,
    /// The descriptor's key.
    pub descriptor: String,
    /// What was observed or stated.
    pub value: Value,
    /// Where.
    pub place: String,
    /// The source's key.
    pub source: String,
    /// As the source put it.
    pub as_stated: String,
    /// What to bear in mind.
    pub note: String,
}

/// A parent role from its word.
fn parent_role(word: &str) -> Option<ParentRole> {
    match word {
        "seed_parent" => Some(ParentRole::SeedParent),
        "pollen_parent" => Some(ParentRole::PollenParent),
        "unknown_parent" => Some(ParentRole::UnknownParent),
        _ => None,
    }
}

/// A name's kind from its word.
fn name_kind(word: &str) -> Option<NameKind> {
    match word {
        "synonym" => Some(NameKind::Synonym),
        "spelling" => Some(NameKind::Spelling),
        "regional" => Some(NameKind::Regional),
        _ => None,
    }
}

/// A rank from its word.
fn rank(word: &str) -> Option<Rank> {
    match word {
        "cultivar" => Some(Rank::Cultivar),
        "group" => Some(Rank::Group),
        _ => None,
    }
}
