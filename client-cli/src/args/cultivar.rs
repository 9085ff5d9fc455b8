//! `scionary cultivar`. The `///` comments here are the help text.

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Search and show cultivars
#[derive(Debug, Subcommand)]
pub enum CultivarCommand {
    /// Find cultivars by a name as you heard it
    Search {
        /// The name
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// Only this crop
        #[arg(long)]
        crop: Option<String>,
        /// Most results to show
        #[arg(long, default_value_t = 10)]
        limit: i32,
    },
    /// List cultivars by name
    List {
        /// Only this crop
        #[arg(long)]
        crop: Option<String>,
        /// Only cultivars whose seed behaves like this, such as comes-true or not-true
        #[arg(long, value_parser = words::parse_answer)]
        seed: Option<v1::SeedAnswer>,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Enter a cultivar that is not on file, as you call it, to offer it or wish for it
    #[command(
        after_help = "It is marked as not reviewed. Curators can rename it, or merge it into another record."
    )]
    Enter {
        /// What you call it
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// Its crop, such as fig
        #[arg(long)]
        crop: String,
    },
    /// Show a record: names, parentage, findings, sources
    Show {
        /// The cultivar, as you heard its name
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, if two crops share the name
        #[arg(long)]
        crop: Option<String>,
    },
    /// Show who changed a record, when and why
    History {
        /// The cultivar, as you heard its name
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, if two crops share the name
        #[arg(long)]
        crop: Option<String>,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Check a name against the rules for new cultivar names
    CheckName {
        /// The name
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// The crop
        #[arg(long)]
        crop: String,
        /// The name is older than today's rules for names
        #[arg(long)]
        historic: bool,
    },
    /// Show variety rights and patents on a cultivar
    Protection {
        /// The cultivar, as you heard its name
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, if two crops share the name
        #[arg(long)]
        crop: Option<String>,
    },
    /// Enter a variety right or patent (curators)
    Protect(ProtectArguments),
    /// Remove a protection that was entered by mistake (curators)
    Unprotect {
        /// The cultivar, as you heard its name
        cultivar: String,
        /// The crop, if two crops share the name
        #[arg(long)]
        crop: Option<String>,
    },
    /// Lock a record: no new evidence or proposals (curators)
    Lock(LockArguments),
    /// Unlock a record (curators)
    Unlock(LockArguments),
    /// List the evidence on a record
    Evidence {
        /// The cultivar, as you heard its name
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, if two crops share the name
        #[arg(long)]
        crop: Option<String>,
        /// Only this trait, such as off_type_seedlings
        #[arg(long)]
        descriptor: Option<String>,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
}

/// The protection to enter
#[derive(Debug, Args)]
pub struct ProtectArguments {
    /// The cultivar, as you heard its name
    pub cultivar: String,
    /// The crop, if two crops share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// The kind: variety-right or patent
    #[arg(long, value_parser = words::parse_protection)]
    pub kind: v1::ProtectionKind,
    /// The office that granted it
    #[arg(long)]
    pub office: String,
    /// Its number at that office
    #[arg(long)]
    pub reference: String,
    /// Where it holds: codes of ISO 3166, separated by commas; everywhere if left out
    #[arg(long, value_delimiter = ',', value_name = "CODE")]
    pub area: Vec<String>,
    /// Its last day, if known
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// Where to look it up
    #[arg(long)]
    pub citation: String,
}

/// The record to lock or unlock
#[derive(Debug, Args)]
pub struct LockArguments {
    /// The cultivar, as you heard its name
    pub cultivar: String,
    /// The crop, if two crops share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// Why; everyone can read it
    #[arg(long)]
    pub reason: String,
}
