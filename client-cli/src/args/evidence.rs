//! What can be typed about evidence and sowings.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Evidence.
#[derive(Debug, Subcommand)]
pub enum EvidenceCommand {
    /// Enter what you observed of a cultivar; without options you are asked on a terminal
    Add {
        /// The cultivar: its name on file, or its id
        #[arg(num_args = 0.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, where two crops share the name
        #[arg(long)]
        crop: Option<String>,
        /// The sowing of yours that this is the tally of
        #[arg(long, value_name = "ID")]
        sowing: Option<String>,
        /// What you observed
        #[command(flatten)]
        observed: Box<ObservedArguments>,
    },
    /// Correct evidence of yours; what you said before stays in the history
    Correct {
        /// Its id
        evidence: String,
        /// Why
        #[arg(long)]
        reason: String,
        /// What you observed in truth; all that you entered on these traits together is replaced
        #[command(flatten)]
        observed: Box<ObservedArguments>,
    },
    /// Take evidence of yours back; it stays in the history
    Withdraw {
        /// Its id
        evidence: String,
        /// Why
        #[arg(long)]
        reason: String,
        /// And all that you entered together with it
        #[arg(long)]
        all: bool,
    },
    /// Show a piece: who says so, who bears it out or doubts it, what it weighs
    Show {
        /// Its id
        evidence: String,
    },
    /// List your own evidence, newest first
    List {
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Say that you saw the same
    Agree {
        /// The id of another grower's evidence
        evidence: String,
        /// What you saw
        #[arg(long)]
        reason: String,
    },
    /// Say why you doubt it
    Doubt {
        /// The id of another grower's evidence
        evidence: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Take your check back
    Uncheck {
        /// The id of the evidence that you checked
        evidence: String,
    },
    /// Import a CSV file; nothing is written if a row is wrong, unless you say --keep-good
    Import {
        /// The file; see: scionary evidence template
        file: PathBuf,
        /// Only check the rows
        #[arg(long, conflicts_with = "keep_good")]
        dry_run: bool,
        /// Write the good rows and tell the wrong ones
        #[arg(long)]
        keep_good: bool,
    },
    /// Print the columns of an import file, with an example
    Template,
    /// How far growers agree on each trait of a crop
    Agreement {
        /// Such as mango
        crop: String,
    },
    /// How well evidence held up: yours, or someone's for those who curate
    Record {
        /// Whose; yours if left out
        #[arg(default_value = "", hide_default_value = true)]
        handle: String,
    },
}

/// What was observed, when, where and how.
#[derive(Debug, Clone, Default, Args)]
pub struct ObservedArguments {
    /// Seeds sown
    #[arg(long, value_name = "N")]
    pub sown: Option<i32>,
    /// Of these, seeds that came up
    #[arg(long, value_name = "N")]
    pub sprouted: Option<i32>,
    /// Seeds with exactly one sprout
    #[arg(long, value_name = "N")]
    pub one: Option<i32>,
    /// Seeds with exactly two sprouts
    #[arg(long, value_name = "N")]
    pub two: Option<i32>,
    /// Seeds with three or more sprouts
    #[arg(long, value_name = "N")]
    pub more: Option<i32>,
    /// Seeds with two or more, if you did not count two and more apart
    #[arg(long, value_name = "N")]
    pub several: Option<i32>,
    /// Seedlings judged
    #[arg(long, value_name = "N", requires = "off_type")]
    pub judged: Option<i32>,
    /// Of these, unlike the mother tree
    #[arg(long, value_name = "N", requires = "judged")]
    pub off_type: Option<i32>,
    /// Which seedlings: as-they-came, after-roguing, alone, of-several or largest
    #[arg(long, value_parser = words::parse_judged, requires = "judged")]
    pub which: Option<v1::JudgedSeedlings>,
    /// A measure, such as fruit_mass=350g/6 (mean of 6 fruits); several times for more
    #[arg(long, value_name = "TRAIT=VALUE[UNIT][/N]")]
    pub measure: Vec<String>,
    /// A step on a scale, such as fibre=low
    #[arg(long, value_name = "TRAIT=STATE")]
    pub rating: Vec<String>,
    /// First day of ripe fruit
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub first_ripe: Option<v1::CalendarDate>,
    /// Last day of ripe fruit
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub last_ripe: Option<v1::CalendarDate>,
    /// A statement without a count, such as embryony=polyembryonic
    #[arg(long, value_name = "TRAIT=STATE OR WORDS")]
    pub says: Vec<String>,
    /// A count on another trait, such as zygotic_seeds=4/45 (4 of 45)
    #[arg(long, value_name = "TRAIT=OF THESE/COUNTED")]
    pub count: Vec<String>,
    /// When you observed it
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub day: Option<v1::CalendarDate>,
    /// Which tree, in your words
    #[arg(long, value_name = "TEXT")]
    pub tree: Option<String>,
    /// How: eye, fruit, marker or instrument
    #[arg(long, value_parser = words::parse_method)]
    pub method: Option<v1::ObservationMethod>,
    /// Where: a grid code, or latitude,longitude; it is made coarse, about 5 km
    #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
    pub place: Option<String>,
    /// Country or subdivision, such as AU-QLD (ISO 3166)
    #[arg(long, value_name = "CODE")]
    pub area: Option<String>,
    /// What you call the place
    #[arg(long, value_name = "TEXT")]
    pub place_label: Option<String>,
    /// It is what a publication says, not what you saw; needs --citation
    #[arg(long, requires = "citation")]
    pub published: bool,
    /// The publication, or another reference
    #[arg(long, value_name = "TEXT")]
    pub citation: Option<String>,
    /// The name used for it, if another
    #[arg(long, value_name = "NAME")]
    pub named_as: Option<String>,
    /// What to bear in mind
    #[arg(long)]
    pub note: Option<String>,
}

/// Sowings.
#[derive(Debug, Subcommand)]
pub enum SowingCommand {
    /// Enter a sowing on the day; it asks for its tallies when they are due
    Add {
        /// The mother's name on file, or its id
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, where two crops share the name
        #[arg(long)]
        crop: Option<String>,
        /// How many seeds
        #[arg(long)]
        seeds: i32,
        /// When; today if left out
        #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
        day: Option<v1::CalendarDate>,
        /// The mother tree, in your words
        #[arg(long, default_value = "", hide_default_value = true)]
        tree: String,
        /// What to bear in mind
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// List your sowings and what they ask for
    List {
        /// Closed ones too
        #[arg(long)]
        all: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Close a sowing: nothing more will come of it
    Close {
        /// Its id
        sowing: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
}
