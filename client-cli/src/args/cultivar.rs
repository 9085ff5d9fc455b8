//! Cultivars.

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Cultivars.
#[derive(Debug, Subcommand)]
pub enum CultivarCommand {
    /// Find cultivars by a name as you heard it
    Search {
        /// The name
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// Only in this crop
        #[arg(long)]
        crop: Option<String>,
        /// Hits at most
        #[arg(long, default_value_t = 10)]
        limit: i32,
    },
    /// List cultivars by name
    List {
        /// Only in this crop
        #[arg(long)]
        crop: Option<String>,
        /// Only those whose seed behaves so, such as comes-true or not-true
        #[arg(long, value_parser = words::parse_answer)]
        seed: Option<v1::SeedAnswer>,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a record: names, parentage, findings, sources
    Show {
        /// Its id, or its exact name
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, where two crops share the name
        #[arg(long)]
        crop: Option<String>,
    },
    /// What happened to a record: who, when, why
    History {
        /// Its id, or its exact name
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, where two crops share the name
        #[arg(long)]
        crop: Option<String>,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// What the rules for new cultivar names say of a name
    CheckName {
        /// The name
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// The crop
        #[arg(long)]
        crop: String,
        /// The name was given before today's rules for names
        #[arg(long)]
        historic: bool,
    },
    /// What protects a cultivar: variety rights or a patent
    Protection {
        /// Its id, or its exact name
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, where two crops share the name
        #[arg(long)]
        crop: Option<String>,
    },
    /// Say that a cultivar is protected (curators)
    Protect(ProtectArguments),
    /// Take a protection away that was entered by mistake (curators)
    Unprotect {
        /// Its id, or its exact name
        cultivar: String,
        /// The crop, where two crops share the name
        #[arg(long)]
        crop: Option<String>,
    },
    /// Lock a record against evidence and proposals (curators)
    Lock(LockArguments),
    /// Unlock a record (curators)
    Unlock(LockArguments),
    /// List the pieces of evidence of a record
    Evidence {
        /// Its id, or its exact name
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, where two crops share the name
        #[arg(long)]
        crop: Option<String>,
        /// Only on this descriptor, such as off_type_seedlings
        #[arg(long)]
        descriptor: Option<String>,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
}

/// A protection to be entered.
#[derive(Debug, Args)]
pub struct ProtectArguments {
    /// Its id, or its exact name
    pub cultivar: String,
    /// The crop, where two crops share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// variety-right or patent
    #[arg(long, value_parser = words::parse_protection)]
    pub kind: v1::ProtectionKind,
    /// The office that granted it
    #[arg(long)]
    pub office: String,
    /// Its number there
    #[arg(long)]
    pub reference: String,
    /// Where it holds, codes of ISO 3166; several with commas; everywhere if left out
    #[arg(long, value_delimiter = ',', value_name = "CODE")]
    pub area: Vec<String>,
    /// Last day, where it is known
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// Where it can be looked up
    #[arg(long)]
    pub citation: String,
}

/// A record to lock or unlock.
#[derive(Debug, Args)]
pub struct LockArguments {
    /// Its id, or its exact name
    pub cultivar: String,
    /// The crop, where two crops share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// Why; everyone can read it
    #[arg(long)]
    pub reason: String,
}
