//! Cultivar records: what a name stands for.

use serde::{Deserialize, Serialize};

use crate::{evidence::Pin, ids::CultivarId, time::Timestamp};

/// What a record stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rank {
    /// One cultivar.
    Cultivar,
    /// A group of cultivars, or a species named as a source named it.
    Group,
}

/// What kind of name it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NameKind {
    /// Another name of the same cultivar.
    Synonym,
    /// Another way to write it.
    Spelling,
    /// A name used in one region.
    Regional,
}

/// A further name of a record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OtherName {
    /// The name.
    pub name: String,
    /// Its kind.
    pub kind: NameKind,
    /// Sources disagree that it belongs here.
    pub disputed: bool,
    /// The source's key; may be empty for a plain spelling.
    pub source: String,
    /// What to bear in mind.
    pub note: String,
}

/// A parent's part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ParentRole {
    /// The tree that bore the fruit.
    SeedParent,
    /// The tree that gave the pollen.
    PollenParent,
    /// One of the two; which is not known.
    UnknownParent,
}

/// A parent as a source gives it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Parent {
    /// Its part.
    pub role: ParentRole,
    /// Its name.
    pub name: String,
    /// Sources disagree.
    pub disputed: bool,
    /// The source's key.
    pub source: String,
    /// What to bear in mind.
    pub note: String,
}

/// A record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cultivar {
    /// Its id.
    pub id: CultivarId,
    /// The crop's key.
    pub crop: String,
    /// The accepted name.
    pub name: String,
    /// Keeps namesakes within a crop apart; usually empty.
    pub qualifier: String,
    /// The botanical name with its author.
    pub botanical_name: String,
    /// What it stands for.
    pub rank: Rank,
    /// Where it comes from.
    pub origin: String,
    /// Notes.
    pub notes: String,
    /// Further names.
    pub names: Vec<OtherName>,
    /// Parents as sources give them.
    pub parents: Vec<Parent>,
    /// Findings set by curators on a citation.
    pub pins: Vec<Pin>,
    /// Why it takes no evidence and no proposals for now; none if it does.
    pub locked: Option<String>,
    /// The record that it was merged into.
    pub merged_into: Option<CultivarId>,
    /// Counts up with each change.
    pub version: i64,
    /// When it was last changed.
    pub updated_at: Timestamp,
}

impl Cultivar {
    /// The name with what keeps it apart: `Common (Australia)`.
    pub fn full_name(&self) -> String {
        if self.qualifier.is_empty() {
            self.name.clone()
        } else {
            format!("{} ({})", self.name, self.qualifier)
        }
    }
}

/// A source that evidence cites.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Source {
    /// Its key, such as `SCH94`.
    pub id: String,
    /// The citation.
    pub citation: String,
    /// How much of it was read.
    pub read: String,
}
