//! Cultivar records: what a name stands for.

use serde::{Deserialize, Serialize};

use crate::{evidence::Pin, ids::CultivarId, time::Timestamp};

/// What a record stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rank {
    /// One cultivar.
    Cultivar,
    /// A group of cultivars, or a species under the name that a source uses.
    Group,
}

/// Kind of a further name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NameKind {
    /// Another name of the same cultivar.
    Synonym,
    /// Another spelling of a name.
    Spelling,
    /// A name used in one region.
    Regional,
}

/// A further name of a record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OtherName {
    /// The name as written.
    pub name: String,
    /// Kind of the name.
    pub kind: NameKind,
    /// Whether sources disagree that the name belongs to this record.
    pub disputed: bool,
    /// Key of the source; may be empty for a plain spelling.
    pub source: String,
    /// Limits and context.
    pub note: String,
}

/// A parent's role in the cross.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ParentRole {
    /// The tree that bore the seed.
    SeedParent,
    /// The tree that gave the pollen.
    PollenParent,
    /// One of the two; the source does not say which.
    UnknownParent,
}

/// A parent as a source gives it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Parent {
    /// Role in the cross.
    pub role: ParentRole,
    /// Name of the parent.
    pub name: String,
    /// Whether sources disagree about this parent.
    pub disputed: bool,
    /// Key of the source.
    pub source: String,
    /// Limits and context.
    pub note: String,
}

/// A cultivar record, without its evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cultivar {
    /// Unique id of the record.
    pub id: CultivarId,
    /// Key of the crop.
    pub crop: String,
    /// Accepted name.
    pub name: String,
    /// Distinguishes records with the same name within a crop; usually empty.
    pub qualifier: String,
    /// Botanical name with its author.
    pub botanical_name: String,
    /// What the record stands for.
    pub rank: Rank,
    /// Where the cultivar originated, in words.
    pub origin: String,
    /// Free notes.
    pub notes: String,
    /// Further names.
    pub names: Vec<OtherName>,
    /// Parents as sources give them.
    pub parents: Vec<Parent>,
    /// Findings that curators set on a citation; they override the evidence.
    pub pins: Vec<Pin>,
    /// Reason for the lock, which blocks evidence and proposals; `None` if unlocked.
    pub locked: Option<String>,
    /// Record that this one was merged into.
    pub merged_into: Option<CultivarId>,
    /// Increases by one with each change, for optimistic locking.
    pub version: i64,
    /// When the record last changed.
    pub updated_at: Timestamp,
}

impl Cultivar {
    /// Returns the name with its qualifier, such as `Common (Australia)`.
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
    /// Unique key, such as `SCH94`.
    pub id: String,
    /// Full citation.
    pub citation: String,
    /// How much of the source was read.
    pub read: String,
}
