//! What can be typed about proposals, complaints and exports.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Why a change is suggested, and on what.
#[derive(Debug, Clone, Args)]
pub struct Grounds {
    /// Why; everyone can read it
    #[arg(long)]
    pub reason: String,
    /// A publication or another reference
    #[arg(long, default_value = "", hide_default_value = true, value_name = "TEXT")]
    pub citation: String,
}

/// A record to change.
#[derive(Debug, Clone, Args)]
pub struct Target {
    /// The record: its id, or its exact name
    #[arg(value_name = "CULTIVAR")]
    pub cultivar: String,
    /// The crop, where two crops share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// Why, and on what
    #[command(flatten)]
    pub grounds: Grounds,
}

/// A new name.
#[derive(Debug, Clone, Args)]
pub struct Naming {
    /// Keeps namesakes apart, such as a country
    #[arg(long, default_value = "", hide_default_value = true)]
    pub qualifier: String,
    /// The name was given before today's rules for names
    #[arg(long)]
    pub historic: bool,
}

/// Proposals to make.
#[derive(Debug, Subcommand)]
pub enum ProposeCommand {
    /// Add a cultivar that is missing
    New {
        /// Its name
        name: String,
        /// Its crop
        #[arg(long)]
        crop: String,
        /// The botanical name; the crop's if left out
        #[arg(long, default_value = "", hide_default_value = true)]
        botanical_name: String,
        /// Where it comes from
        #[arg(long, default_value = "", hide_default_value = true)]
        origin: String,
        /// Notes
        #[arg(long, default_value = "", hide_default_value = true)]
        notes: String,
        /// About the name
        #[command(flatten)]
        naming: Naming,
        /// Why, and on what
        #[command(flatten)]
        grounds: Grounds,
    },
    /// Rename a record: another accepted name
    Rename {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The new name
        #[arg(long)]
        to: String,
        /// Do not keep the old name as a synonym
        #[arg(long)]
        drop_old: bool,
        /// About the name
        #[command(flatten)]
        naming: Naming,
    },
    /// Add a further name: a synonym, a spelling, a regional name
    Name {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The name
        #[arg(long)]
        name: String,
        /// synonym, spelling or regional
        #[arg(long, value_parser = words::parse_name_kind, default_value = "synonym")]
        kind: v1::NameKind,
        /// Sources disagree that it belongs here
        #[arg(long)]
        disputed: bool,
    },
    /// Remove a further name
    DropName {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The name
        #[arg(long)]
        name: String,
    },
    /// Add a parent
    Parent {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The parent's name
        #[arg(long)]
        name: String,
        /// seed, pollen or unknown
        #[arg(long, value_parser = words::parse_parent_role, default_value = "unknown")]
        role: v1::ParentRole,
        /// Sources disagree
        #[arg(long)]
        disputed: bool,
    },
    /// Remove a parent
    DropParent {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The parent's name
        #[arg(long)]
        name: String,
        /// seed, pollen or unknown
        #[arg(long, value_parser = words::parse_parent_role, default_value = "unknown")]
        role: v1::ParentRole,
    },
    /// Change botanical name, origin or notes
    Describe {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The botanical name
        #[arg(long)]
        botanical_name: Option<String>,
        /// Where it comes from
        #[arg(long)]
        origin: Option<String>,
        /// Notes
        #[arg(long)]
        notes: Option<String>,
    },
    /// Other words for a trait of a crop
    Descriptor {
        /// The crop
        crop: String,
        /// The trait's key, such as fibre
        descriptor: String,
        /// Its label
        #[arg(long)]
        label: Option<String>,
        /// The question
        #[arg(long)]
        question: Option<String>,
        /// How to observe it
        #[arg(long)]
        observe: Option<String>,
        /// Why, and on what
        #[command(flatten)]
        grounds: Grounds,
    },
    /// Set a finding on a citation, above the evidence
    Set {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The trait and what to set it to, such as embryony=both
        #[arg(long, value_name = "TRAIT=STATE OR WORDS")]
        finding: String,
    },
    /// Let a finding follow the evidence again
    Unset {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The trait's key
        #[arg(long)]
        finding: String,
    },
    /// A second cultivar hides in a record: give it its own
    Split {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The new record's name
        #[arg(long)]
        name: String,
        /// Ids of the evidence that belongs to it, with commas
        #[arg(long, value_delimiter = ',', value_name = "IDS")]
        evidence: Vec<String>,
        /// Further names that belong to it, with commas
        #[arg(long, value_delimiter = ',', value_name = "NAMES")]
        names: Vec<String>,
        /// About the name
        #[command(flatten)]
        naming: Naming,
    },
    /// Two records are one cultivar: this one goes into another
    Merge {
        /// The one that goes
        #[command(flatten)]
        target: Target,
        /// The one that stays: its id, or its exact name
        #[arg(long)]
        into: String,
    },
    /// A merge was a mistake: name the merged record by its id
    Unmerge {
        /// The one that was merged
        #[command(flatten)]
        target: Target,
    },
    /// Back to an earlier version; see: scionary cultivar history
    Revert {
        /// Which
        #[command(flatten)]
        target: Target,
        /// The version
        #[arg(long)]
        version: i64,
    },
}

/// Proposals made.
#[derive(Debug, Subcommand)]
pub enum ProposalCommand {
    /// List proposals, oldest first: the curators' queue
    List {
        /// Only of this crop
        #[arg(long)]
        crop: Option<String>,
        /// Only about this record
        #[arg(long)]
        cultivar: Option<String>,
        /// open, accepted, refused, withdrawn or all
        #[arg(long, default_value = "open", value_parser = words::parse_proposal_state)]
        state: v1::ProposalState,
        /// Only yours
        #[arg(long, conflicts_with_all = ["crop", "cultivar"])]
        mine: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a proposal: what would change, side by side
    Show {
        /// Its id
        proposal: String,
    },
    /// Accept someone's proposal (curators)
    Accept {
        /// Its id
        proposal: String,
        /// Why; everyone can read it
        #[arg(long)]
        reason: String,
    },
    /// Refuse someone's proposal (curators)
    Refuse {
        /// Its id
        proposal: String,
        /// Why; everyone can read it
        #[arg(long)]
        reason: String,
    },
    /// Take a proposal of yours back
    Withdraw {
        /// Its id
        proposal: String,
    },
}

/// Complaints.
#[derive(Debug, Subcommand)]
pub enum ReportCommand {
    /// Complain about a record, evidence, an offer or a person
    File {
        /// cultivar, evidence, offer or account
        #[arg(value_parser = words::parse_ticket_subject)]
        about: v1::TicketSubject,
        /// Its id; for a record also its name, for a person the handle
        id: String,
        /// What is wrong
        #[arg(long)]
        reason: String,
    },
    /// List complaints: those you handle, or your own
    List {
        /// Only yours
        #[arg(long)]
        mine: bool,
        /// Closed ones too
        #[arg(long)]
        all: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Close a complaint (stewards; curators for records of their crop)
    Close {
        /// Its id
        report: String,
        /// What was done about it
        #[arg(long)]
        outcome: String,
    },
}

/// What to export.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExportKind {
    /// A public file.
    File(v1::ExportFormat),
    /// All of the registry (stewards).
    Registry,
}

/// An export.
#[derive(Debug, Clone, Args)]
pub struct ExportArguments {
    /// passport (FAO/Bioversity MCPD V.2.1, CSV), findings (CSV), findings-json, or registry (all of it, for another server; stewards)
    #[arg(value_parser = parse_export)]
    pub what: ExportKind,
    /// Only this crop
    #[arg(long)]
    pub crop: Option<String>,
    /// The file to write; standard output if left out
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// A typed export.
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
