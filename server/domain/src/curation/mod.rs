//! Curation: proposed changes to records, their effect, and the curators' decisions.
//!
//! [`apply`] changes a record's [`Content`] and refuses what does not fit. The difference that curators see
//! and the version that the store keeps both come from it. It never changes evidence: a split moves pieces,
//! and a merge only points from one record to the other, so both can be undone.

mod difference;

pub use difference::{Difference, difference};

use serde::{Deserialize, Serialize};

use crate::{
    cultivar::{Cultivar, NameKind, OtherName, Parent, ParentRole, Rank},
    evidence::Pin,
    field::Fields,
    ids::{AccountId, CultivarId, EvidenceId, ProposalId},
    limits,
    names::Folded,
    time::Timestamp,
};

/// What a record says apart from its evidence; versions store this.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Content {
    /// Accepted name.
    pub name: String,
    /// Distinguishes records with the same name.
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
    /// Findings that curators set on a citation.
    pub pins: Vec<Pin>,
}

impl From<&Cultivar> for Content {
    fn from(c: &Cultivar) -> Self {
        Self {
            name: c.name.clone(),
            qualifier: c.qualifier.clone(),
            botanical_name: c.botanical_name.clone(),
            rank: c.rank,
            origin: c.origin.clone(),
            notes: c.notes.clone(),
            names: c.names.clone(),
            parents: c.parents.clone(),
            pins: c.pins.clone(),
        }
    }
}

/// A proposed change.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "snake_case")]
pub enum Change {
    /// Adds a missing record.
    NewCultivar {
        /// Accepted name.
        name: String,
        /// Distinguishes records with the same name.
        qualifier: String,
        /// Botanical name; the crop's if empty.
        botanical_name: String,
        /// Where the cultivar originated, in words.
        origin: String,
        /// Free notes.
        notes: String,
        /// Whether the name is older than today's naming rules.
        historic: bool,
    },
    /// Changes the accepted name.
    Rename {
        /// New accepted name.
        name: String,
        /// Distinguishes records with the same name.
        qualifier: String,
        /// Whether the old name stays as a further name.
        keep_old: bool,
        /// Whether the name is older than today's naming rules.
        historic: bool,
    },
    /// Adds a further name.
    AddName {
        /// The name to add.
        name: String,
        /// Kind of the name.
        kind: NameKind,
        /// Whether sources disagree that the name belongs to this record.
        disputed: bool,
    },
    /// Removes a further name.
    RemoveName {
        /// The name to remove.
        name: String,
    },
    /// Adds a parent.
    AddParent {
        /// Role in the cross.
        role: ParentRole,
        /// Name of the parent.
        name: String,
        /// Whether sources disagree about this parent.
        disputed: bool,
    },
    /// Removes a parent.
    RemoveParent {
        /// Role in the cross.
        role: ParentRole,
        /// Name of the parent.
        name: String,
    },
    /// Changes botanical name, origin or notes; `None` leaves a field unchanged.
    Describe {
        /// New botanical name.
        botanical_name: Option<String>,
        /// New text on the origin.
        origin: Option<String>,
        /// New notes.
        notes: Option<String>,
    },
    /// Rewords a descriptor of the crop; `None` leaves a field unchanged.
    DescriptorText {
        /// Key of the descriptor.
        descriptor: String,
        /// New label.
        label: Option<String>,
        /// New question.
        question: Option<String>,
        /// New text on how to observe it.
        observe: Option<String>,
    },
    /// Sets a finding on a citation, which overrides the evidence.
    Pin {
        /// The finding to set.
        pin: Pin,
    },
    /// Removes a set finding.
    Unpin {
        /// Key of the descriptor.
        descriptor: String,
    },
    /// Moves a second cultivar, with its evidence, from this record to a new one.
    Split {
        /// Accepted name of the new record.
        name: String,
        /// Distinguishes records with the same name.
        qualifier: String,
        /// Pieces of evidence that move to the new record.
        evidence: Vec<EvidenceId>,
        /// Further names that move to the new record.
        names: Vec<String>,
        /// Whether the name is older than today's naming rules.
        historic: bool,
    },
    /// Merges this record into another one for the same cultivar.
    Merge {
        /// The record that stays.
        into: CultivarId,
    },
    /// Undoes a merge.
    Unmerge,
    /// Restores an earlier version.
    Revert {
        /// Number of the version.
        to_version: i64,
    },
}

impl Change {
    /// Returns the words for the kind of change, as sent to clients.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::NewCultivar { .. } => "new cultivar",
            Self::Rename { .. } => "rename",
            Self::AddName { .. } => "add name",
            Self::RemoveName { .. } => "remove name",
            Self::AddParent { .. } => "add parent",
            Self::RemoveParent { .. } => "remove parent",
            Self::Describe { .. } => "describe",
            Self::DescriptorText { .. } => "reword trait",
            Self::Pin { .. } => "set finding",
            Self::Unpin { .. } => "unset finding",
            Self::Split { .. } => "split",
            Self::Merge { .. } => "merge",
            Self::Unmerge => "undo merge",
            Self::Revert { .. } => "revert",
        }
    }
    /// Returns the new accepted name and qualifier that the change introduces, and whether the name is
    /// historic.
    pub fn new_name(&self) -> Option<(&str, &str, bool)> {
        match self {
            Self::NewCultivar { name, qualifier, historic, .. }
            | Self::Rename { name, qualifier, historic, .. }
            | Self::Split { name, qualifier, historic, .. } => Some((name, qualifier, *historic)),
            Self::AddName { .. }
            | Self::RemoveName { .. }
            | Self::AddParent { .. }
            | Self::RemoveParent { .. }
            | Self::Describe { .. }
            | Self::DescriptorText { .. }
            | Self::Pin { .. }
            | Self::Unpin { .. }
            | Self::Merge { .. }
            | Self::Unmerge
            | Self::Revert { .. } => None,
        }
    }
    /// Returns whether the change needs a citation.
    pub const fn needs_citation(&self) -> bool {
        matches!(self, Self::Pin { .. })
    }

    /// Checks the texts and trims them; mistakes go to `fields`.
    pub fn check(&mut self, fields: &mut Fields) {
        let name = |fields: &mut Fields, field: &str, text: &mut String| {
            if let Some(clean) = fields.line(field, text, 1, limits::NAME_CHARS_MAX) {
                *text = clean;
            }
            if Folded::new(text).joined.is_empty() {
                fields.wrong(field, "a name with letters or digits expected");
            }
        };
        let line = |fields: &mut Fields, field: &str, text: &mut String, max: usize| {
            if let Some(clean) = fields.line(field, text, 0, max) {
                *text = clean;
            }
        };
        let words = |fields: &mut Fields, field: &str, text: &mut String, max: usize| {
            if let Some(clean) = fields.text(field, text, 0, max) {
                *text = clean;
            }
        };
        match self {
            Self::NewCultivar { name: n, qualifier, botanical_name, origin, notes, historic: _ } => {
                name(fields, "change.name", n);
                line(fields, "change.qualifier", qualifier, limits::NAME_CHARS_MAX);
                line(fields, "change.botanical_name", botanical_name, limits::NAME_CHARS_MAX);
                words(fields, "change.origin", origin, limits::ORIGIN_CHARS_MAX);
                words(fields, "change.notes", notes, limits::RECORD_NOTES_CHARS_MAX);
            }
            Self::Rename { name: n, qualifier, .. } => {
                name(fields, "change.name", n);
                line(fields, "change.qualifier", qualifier, limits::NAME_CHARS_MAX);
            }
            Self::AddName { name: n, .. }
            | Self::RemoveName { name: n }
            | Self::AddParent { name: n, .. }
            | Self::RemoveParent { name: n, .. } => name(fields, "change.name", n),
            Self::Describe { botanical_name, origin, notes } => {
                if botanical_name.is_none() && origin.is_none() && notes.is_none() {
                    fields.wrong("change", "a botanical name, an origin or notes expected");
                }
                if let Some(text) = botanical_name {
                    line(fields, "change.botanical_name", text, limits::NAME_CHARS_MAX);
                }
                if let Some(text) = origin {
                    words(fields, "change.origin", text, limits::ORIGIN_CHARS_MAX);
                }
                if let Some(text) = notes {
                    words(fields, "change.notes", text, limits::RECORD_NOTES_CHARS_MAX);
                }
            }
            Self::DescriptorText { descriptor: _, label, question, observe } => {
                if label.is_none() && question.is_none() && observe.is_none() {
                    fields.wrong("change", "a label, a question or how to observe it expected");
                }
                for (field, text) in
                    [("change.label", label), ("change.question", question), ("change.observe", observe)]
                {
                    if let Some(text) = text
                        && let Some(clean) = fields.line(field, text, 1, limits::EVIDENCE_TEXT_CHARS_MAX)
                    {
                        *text = clean;
                    }
                }
            }
            Self::Split { name: n, qualifier, evidence, names, historic: _ } => {
                name(fields, "change.name", n);
                line(fields, "change.qualifier", qualifier, limits::NAME_CHARS_MAX);
                evidence.sort_unstable();
                evidence.dedup();
                if evidence.len() > limits::SPLIT_EVIDENCE_MAX {
                    fields.wrong(
                        "change.evidence_ids",
                        format!("at most {} pieces expected", limits::SPLIT_EVIDENCE_MAX),
                    );
                }
                if names.len() > limits::RECORD_NAMES_MAX {
                    fields.wrong(
                        "change.names",
                        format!("at most {} names expected", limits::RECORD_NAMES_MAX),
                    );
                    names.clear();
                }
                for other in names.iter_mut() {
                    name(fields, "change.names", other);
                }
                names.sort_unstable();
                names.dedup();
            }
            Self::Pin { pin } => {
                words(fields, "reason", &mut pin.reason, limits::REASON_CHARS_MAX);
                if let crate::evidence::Value::Text { text } = &mut pin.value
                    && let Some(clean) = fields.line("change.text", text, 1, limits::EVIDENCE_TEXT_CHARS_MAX)
                {
                    *text = clean;
                }
            }
            Self::Revert { to_version } => {
                if *to_version < 1 {
                    fields.wrong("change.to_version", "a version from 1 expected");
                }
            }
            Self::Unpin { .. } | Self::Merge { .. } | Self::Unmerge => {}
        }
    }
}

/// State of a proposal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// It waits for a curator's decision.
    Open,
    /// A curator accepted it, and the change was made.
    Accepted,
    /// A curator refused it.
    Refused,
    /// Its author withdrew it.
    Withdrawn,
}

/// A curator's decision, or the author's withdrawal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ruling {
    /// Account that decided.
    pub by: AccountId,
    /// When they decided.
    pub at: Timestamp,
    /// Their reason.
    pub reason: String,
}

/// A proposed change to a record, with its state.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// Unique id of the proposal.
    pub id: ProposalId,
    /// Key of the crop.
    pub crop: String,
    /// The record; `None` for a new cultivar and for the texts of a descriptor.
    pub cultivar: Option<CultivarId>,
    /// The proposed change.
    pub change: Change,
    /// The author's reason.
    pub reason: String,
    /// Citation that the change is based on; may be empty.
    pub citation: String,
    /// Account that proposes it.
    pub author: AccountId,
    /// When it was proposed.
    pub at: Timestamp,
    /// Current state.
    pub state: State,
    /// The decision or withdrawal; `None` while open.
    pub ruling: Option<Ruling>,
    /// What the decision changed, in words; empty when nothing changed.
    pub outcome: String,
}

fn same(a: &str, b: &str) -> bool {
    Folded::new(a).key() == Folded::new(b).key()
}

/// Returns a record's content after a change. For changes that involve other records (split, merge, unmerge,
/// revert) the caller, who knows those records, completes the work.
///
/// # Errors
/// Returns the reason when the change does not fit this record.
pub fn apply(change: &Change, before: &Content, citation: &str) -> Result<Content, String> {
    let mut after = before.clone();
    match change {
        Change::Rename { name, qualifier, keep_old, historic: _ } => {
            if before.name == *name && before.qualifier == *qualifier {
                return Err("the record bears that name already".into());
            }
            after.names.retain(|n| !same(&n.name, name));
            if *keep_old && !same(&before.name, name) {
                after.names.push(OtherName {
                    name: before.name.clone(),
                    kind: NameKind::Synonym,
                    disputed: false,
                    source: String::new(),
                    note: "accepted name before a ruling of the curators".into(),
                });
            }
            after.name.clone_from(name);
            after.qualifier.clone_from(qualifier);
        }
        Change::AddName { name, kind, disputed } => {
            if same(&before.name, name) || before.names.iter().any(|n| n.name == *name) {
                return Err(format!("{name} is a name of this record already"));
            }
            if before.names.len() >= limits::RECORD_NAMES_MAX {
                return Err(format!("a record has at most {} further names", limits::RECORD_NAMES_MAX));
            }
            after.names.push(OtherName {
                name: name.clone(),
                kind: *kind,
                disputed: *disputed,
                source: String::new(),
                note: citation.to_string(),
            });
        }
        Change::RemoveName { name } => {
            after.names.retain(|n| !same(&n.name, name));
            if after.names.len() == before.names.len() {
                return Err(format!("{name} is no further name of this record"));
            }
        }
        Change::AddParent { role, name, disputed } => {
            if before.parents.iter().any(|p| p.role == *role && same(&p.name, name)) {
                return Err(format!("{name} is on file as that parent already"));
            }
            after.parents.push(Parent {
                role: *role,
                name: name.clone(),
                disputed: *disputed,
                source: String::new(),
                note: citation.to_string(),
            });
        }
        Change::RemoveParent { role, name } => {
            after.parents.retain(|p| !(p.role == *role && same(&p.name, name)));
            if after.parents.len() == before.parents.len() {
                return Err(format!("{name} is not on file as that parent"));
            }
        }
        Change::Describe { botanical_name, origin, notes } => {
            let set = |to: &mut String, from: &Option<String>| {
                if let Some(text) = from {
                    to.clone_from(text);
                }
            };
            set(&mut after.botanical_name, botanical_name);
            set(&mut after.origin, origin);
            set(&mut after.notes, notes);
            if after == *before {
                return Err("it says so already".into());
            }
        }
        Change::Pin { pin } => {
            after.pins.retain(|p| p.descriptor != pin.descriptor);
            after.pins.push(Pin { citation: citation.to_string(), ..pin.clone() });
            after.pins.sort_by(|a, b| a.descriptor.cmp(&b.descriptor));
        }
        Change::Unpin { descriptor } => {
            after.pins.retain(|p| p.descriptor != *descriptor);
            if after.pins.len() == before.pins.len() {
                return Err("that finding is not set by curators".into());
            }
        }
        Change::Split { name, qualifier, evidence: _, names, historic: _ } => {
            if same(&before.name, name) && before.qualifier == *qualifier {
                return Err("the new record needs another name, or another qualifier".into());
            }
            for other in names {
                if !before.names.iter().any(|n| same(&n.name, other)) {
                    return Err(format!("{other} is no further name of this record"));
                }
            }
            after.names.retain(|n| !names.iter().any(|o| same(&n.name, o)) && !same(&n.name, name));
        }
        Change::NewCultivar { .. }
        | Change::DescriptorText { .. }
        | Change::Merge { .. }
        | Change::Unmerge
        | Change::Revert { .. } => {}
    }
    Ok(after)
}

/// Returns the content of the record that a new cultivar or a split creates; `None` for other changes.
pub fn founded(change: &Change, botanical_name: &str, from: Option<&Content>) -> Option<Content> {
    let blank = |name: &str, qualifier: &str| Content {
        name: name.to_string(),
        qualifier: qualifier.to_string(),
        botanical_name: botanical_name.to_string(),
        rank: Rank::Cultivar,
        origin: String::new(),
        notes: String::new(),
        names: Vec::new(),
        parents: Vec::new(),
        pins: Vec::new(),
    };
    match change {
        Change::NewCultivar { name, qualifier, botanical_name: botanical, origin, notes, historic: _ } => {
            let mut content = blank(name, qualifier);
            if !botanical.is_empty() {
                content.botanical_name.clone_from(botanical);
            }
            content.origin.clone_from(origin);
            content.notes.clone_from(notes);
            Some(content)
        }
        Change::Split { name, qualifier, evidence: _, names, historic: _ } => {
            let mut content = blank(name, qualifier);
            if let Some(from) = from {
                content.botanical_name.clone_from(&from.botanical_name);
                content.names = from
                    .names
                    .iter()
                    .filter(|n| names.iter().any(|o| same(&n.name, o)) && !same(&n.name, name))
                    .cloned()
                    .collect();
            }
            Some(content)
        }
        Change::Rename { .. }
        | Change::AddName { .. }
        | Change::RemoveName { .. }
        | Change::AddParent { .. }
        | Change::RemoveParent { .. }
        | Change::Describe { .. }
        | Change::DescriptorText { .. }
        | Change::Pin { .. }
        | Change::Unpin { .. }
        | Change::Merge { .. }
        | Change::Unmerge
        | Change::Revert { .. } => None,
    }
}
