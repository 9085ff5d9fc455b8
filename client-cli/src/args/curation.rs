//! `scionary propose`, `proposal`, `report` and `export`. The `///` comments here are the help text.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Why you suggest a change, and your source
#[derive(Debug, Clone, Args)]
pub struct Grounds {
    /// Why; everyone can read it
    #[arg(long)]
    pub reason: String,
    /// Your source: a publication or another reference
    #[arg(long, default_value = "", hide_default_value = true, value_name = "TEXT")]
    pub citation: String,
}

/// The record to change
#[derive(Debug, Clone, Args)]
pub struct Target {
    /// The record's name
    #[arg(value_name = "CULTIVAR")]
    pub cultivar: String,
    /// The crop, if two crops share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// Why, and your source
    #[command(flatten)]
    pub grounds: Grounds,
}

/// Details of a new name
#[derive(Debug, Clone, Args)]
pub struct Naming {
    /// A word that tells two cultivars of one name apart, such as a country
    #[arg(long, default_value = "", hide_default_value = true)]
    pub qualifier: String,
    /// The name is older than today's rules for names
    #[arg(long)]
    pub historic: bool,
}

/// Propose a change
#[derive(Debug, Subcommand)]
pub enum ProposeCommand {
    /// Add a cultivar that is missing
    New {
        /// The cultivar's name
        name: String,
        /// The cultivar's crop
        #[arg(long)]
        crop: String,
        /// The botanical name; the crop's if left out
        #[arg(long, default_value = "", hide_default_value = true)]
        botanical_name: String,
        /// Where the cultivar comes from
        #[arg(long, default_value = "", hide_default_value = true)]
        origin: String,
        /// Notes on the cultivar
        #[arg(long, default_value = "", hide_default_value = true)]
        notes: String,
        /// Details of the name
        #[command(flatten)]
        naming: Naming,
        /// Why, and your source
        #[command(flatten)]
        grounds: Grounds,
    },
    /// Give a record another accepted name
    Rename {
        /// The record to rename
        #[command(flatten)]
        target: Target,
        /// The new name
        #[arg(long)]
        to: String,
        /// Do not keep the old name as a synonym
        #[arg(long)]
        drop_old: bool,
        /// Details of the name
        #[command(flatten)]
        naming: Naming,
    },
    /// Add another name: a synonym, a spelling, a regional name
    Name {
        /// The record to change
        #[command(flatten)]
        target: Target,
        /// The name to add
        #[arg(long)]
        name: String,
        /// The kind of name: synonym, spelling or regional
        #[arg(long, value_parser = words::parse_name_kind, default_value = "synonym")]
        kind: v1::NameKind,
        /// Sources disagree that this name belongs here
        #[arg(long)]
        disputed: bool,
    },
    /// Remove one of the other names
    DropName {
        /// The record to change
        #[command(flatten)]
        target: Target,
        /// The name to remove
        #[arg(long)]
        name: String,
    },
    /// Add a parent
    Parent {
        /// The record to change
        #[command(flatten)]
        target: Target,
        /// The parent's name
        #[arg(long)]
        name: String,
        /// The parent's role: seed, pollen or unknown
        #[arg(long, value_parser = words::parse_parent_role, default_value = "unknown")]
        role: v1::ParentRole,
        /// Sources disagree about this parent
        #[arg(long)]
        disputed: bool,
    },
    /// Remove a parent
    DropParent {
        /// The record to change
        #[command(flatten)]
        target: Target,
        /// The parent's name
        #[arg(long)]
        name: String,
        /// The parent's role: seed, pollen or unknown
        #[arg(long, value_parser = words::parse_parent_role, default_value = "unknown")]
        role: v1::ParentRole,
    },
    /// Change the botanical name, origin or notes
    Describe {
        /// The record to change
        #[command(flatten)]
        target: Target,
        /// The botanical name
        #[arg(long)]
        botanical_name: Option<String>,
        /// Where the cultivar comes from
        #[arg(long)]
        origin: Option<String>,
        /// Notes on the cultivar
        #[arg(long)]
        notes: Option<String>,
    },
    /// Reword a crop's trait
    Descriptor {
        /// The crop, such as mango
        crop: String,
        /// The trait's key, such as fibre
        descriptor: String,
        /// The trait's label
        #[arg(long)]
        label: Option<String>,
        /// The question that growers answer
        #[arg(long)]
        question: Option<String>,
        /// How to observe the trait
        #[arg(long)]
        observe: Option<String>,
        /// Why, and your source
        #[command(flatten)]
        grounds: Grounds,
    },
    /// Set a finding from a citation; it replaces what the evidence says
    Set {
        /// The record to change
        #[command(flatten)]
        target: Target,
        /// The trait and its value, such as embryony=both
        #[arg(long, value_name = "TRAIT=STATE OR WORDS")]
        finding: String,
    },
    /// Let a finding follow the evidence again
    Unset {
        /// The record to change
        #[command(flatten)]
        target: Target,
        /// The trait's key, such as embryony
        #[arg(long)]
        finding: String,
    },
    /// Split a record that mixes two cultivars
    Split {
        /// The record to split
        #[command(flatten)]
        target: Target,
        /// The new record's name
        #[arg(long)]
        name: String,
        /// Ids of the evidence to move to the new record, separated by commas
        #[arg(long, value_delimiter = ',', value_name = "IDS")]
        evidence: Vec<String>,
        /// Other names to move to the new record, separated by commas
        #[arg(long, value_delimiter = ',', value_name = "NAMES")]
        names: Vec<String>,
        /// Details of the name
        #[command(flatten)]
        naming: Naming,
    },
    /// Merge two records of the same cultivar
    Merge {
        /// The record that goes
        #[command(flatten)]
        target: Target,
        /// The record that stays: its id, or its exact name
        #[arg(long)]
        into: String,
    },
    /// Undo a merge; name the merged record by its id
    Unmerge {
        /// The record that was merged
        #[command(flatten)]
        target: Target,
    },
    /// Go back to an earlier version; see: scionary cultivar history
    Revert {
        /// The record to change
        #[command(flatten)]
        target: Target,
        /// The version to go back to
        #[arg(long)]
        version: i64,
    },
}

/// Show and decide proposals
#[derive(Debug, Subcommand)]
pub enum ProposalCommand {
    /// List proposals, oldest first
    List {
        /// Only this crop
        #[arg(long)]
        crop: Option<String>,
        /// Only this record: its id, or its exact name
        #[arg(long)]
        cultivar: Option<String>,
        /// The state: open, accepted, refused, withdrawn or all
        #[arg(long, default_value = "open", value_parser = words::parse_proposal_state)]
        state: v1::ProposalState,
        /// Only your proposals
        #[arg(long, conflicts_with_all = ["crop", "cultivar"])]
        mine: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a proposal: the old and the new side by side
    Show {
        /// The proposal's number
        proposal: String,
    },
    /// Accept someone's proposal (curators)
    Accept {
        /// The proposal's number
        proposal: String,
        /// Why; everyone can read it
        #[arg(long)]
        reason: String,
    },
    /// Refuse someone's proposal (curators)
    Refuse {
        /// The proposal's number
        proposal: String,
        /// Why; everyone can read it
        #[arg(long)]
        reason: String,
    },
    /// Withdraw one of your proposals
    Withdraw {
        /// The proposal's number
        proposal: String,
    },
}

/// Make and handle complaints
#[derive(Debug, Subcommand)]
pub enum ReportCommand {
    /// Complain about a record, evidence, an offer or a person
    File {
        /// What you complain about: cultivar, evidence, offer or account
        #[arg(value_parser = words::parse_ticket_subject)]
        about: v1::TicketSubject,
        /// The id; for a record the name works too, for a person the handle
        id: String,
        /// What is wrong
        #[arg(long)]
        reason: String,
    },
    /// List your complaints, or those you handle
    List {
        /// Only your complaints
        #[arg(long)]
        mine: bool,
        /// Include closed complaints
        #[arg(long)]
        all: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Close a complaint (stewards; curators for records of their crop)
    Close {
        /// The complaint's number
        report: String,
        /// What you did about it
        #[arg(long)]
        outcome: String,
    },
}

/// What to export
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExportKind {
    /// A public file
    File(v1::ExportFormat),
    /// The whole registry (stewards)
    Registry,
}

/// What to export, and where to
#[derive(Debug, Clone, Args)]
pub struct ExportArguments {
    /// What to export: passport (FAO/Bioversity MCPD V.2.1, CSV), findings (CSV), findings-json,
    /// or registry (everything, for another server; stewards)
    #[arg(value_parser = parse_export)]
    pub what: ExportKind,
    /// Only this crop
    #[arg(long)]
    pub crop: Option<String>,
    /// The file to write; standard output if left out
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// Parses the name of an export.
fn parse_export(text: &str) -> Result<ExportKind, String> {
    use ExportKind::{File, Registry};
    match words::typed(text).as_str() {
        "PASSPORT" => Ok(File(v1::ExportFormat::PassportCsv)),
        "FINDINGS" => Ok(File(v1::ExportFormat::FindingsCsv)),
        "FINDINGS_JSON" => Ok(File(v1::ExportFormat::FindingsJson)),
        "REGISTRY" => Ok(Registry),
        _ => Err("one of passport, findings, findings-json, registry expected".into()),
    }
}
