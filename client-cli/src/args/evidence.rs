//! `scionary evidence` and `scionary sowing`. The `///` comments here are the help text.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Enter and check evidence
#[derive(Debug, Subcommand)]
pub enum EvidenceCommand {
    /// Enter what you observed; on a terminal, without options, you are asked
    Add {
        /// The cultivar, as you heard its name
        #[arg(num_args = 0.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, if two crops share the name
        #[arg(long)]
        crop: Option<String>,
        /// The sowing that you counted
        #[arg(long, value_name = "ID")]
        sowing: Option<String>,
        /// What you observed
        #[command(flatten)]
        observed: Box<ObservedArguments>,
    },
    /// Correct your evidence; the old entry stays in the history
    Correct {
        /// The evidence's number
        evidence: String,
        /// Why
        #[arg(long)]
        reason: String,
        /// What you really observed; replaces everything you entered together on these traits
        #[command(flatten)]
        observed: Box<ObservedArguments>,
    },
    /// Withdraw your evidence; it stays in the history
    Withdraw {
        /// The evidence's number
        evidence: String,
        /// Why
        #[arg(long)]
        reason: String,
        /// Also withdraw everything you entered with it
        #[arg(long)]
        all: bool,
    },
    /// Show one piece: who observed it, who agrees or doubts, how much it counts
    Show {
        /// The evidence's number
        evidence: String,
    },
    /// List your evidence, newest first
    List {
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Agree with another grower: you saw the same
    Agree {
        /// The id of another grower's evidence
        evidence: String,
        /// What you saw
        #[arg(long)]
        reason: String,
    },
    /// Doubt another grower's evidence
    Doubt {
        /// The id of another grower's evidence
        evidence: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Withdraw your agreement or doubt
    Uncheck {
        /// The id of the evidence you checked
        evidence: String,
    },
    /// Import a CSV file; one wrong row stops it all, unless you add --keep-good
    Import {
        /// The file; see: scionary evidence template
        file: PathBuf,
        /// Only check the rows
        #[arg(long, conflicts_with = "keep_good")]
        dry_run: bool,
        /// Write the good rows and list the wrong ones
        #[arg(long)]
        keep_good: bool,
    },
    /// Print the columns of an import file, with an example
    Template,
    /// Show how far growers agree on each trait of a crop
    Agreement {
        /// The crop, such as mango
        crop: String,
    },
    /// Show how well your evidence held up; curators can ask for others
    Record {
        /// The person's handle; yours if left out
        #[arg(default_value = "", hide_default_value = true)]
        handle: String,
    },
}

/// What was observed, when, where and how
#[derive(Debug, Clone, Default, Args)]
pub struct ObservedArguments {
    /// Seeds sown
    #[arg(long, value_name = "N")]
    pub sown: Option<i32>,
    /// Seeds that came up, of those sown
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
    /// Seeds with two or more sprouts, if you did not count two and more apart
    #[arg(long, value_name = "N")]
    pub several: Option<i32>,
    /// Seedlings you judged
    #[arg(long, value_name = "N", requires = "off_type")]
    pub judged: Option<i32>,
    /// Seedlings unlike the mother tree, of those judged
    #[arg(long, value_name = "N", requires = "judged")]
    pub off_type: Option<i32>,
    /// Which seedlings: as-they-came, after-roguing, alone, of-several or largest
    #[arg(long, value_parser = words::parse_judged, requires = "judged")]
    pub which: Option<v1::JudgedSeedlings>,
    /// A measurement, such as fruit_mass=350g/6 (mean of 6 fruits); repeat for more
    #[arg(long, value_name = "TRAIT=VALUE[UNIT][/N]")]
    pub measure: Vec<String>,
    /// A step on a scale, such as fibre=low
    #[arg(long, value_name = "TRAIT=STATE")]
    pub rating: Vec<String>,
    /// First day of ripe fruit
    #[arg(long, value_parser = crate::day::past, value_name = "DAY")]
    pub first_ripe: Option<v1::CalendarDate>,
    /// Last day of ripe fruit
    #[arg(long, value_parser = crate::day::past, value_name = "DAY")]
    pub last_ripe: Option<v1::CalendarDate>,
    /// A statement without a count, such as embryony=polyembryonic
    #[arg(long, value_name = "TRAIT=STATE OR WORDS")]
    pub says: Vec<String>,
    /// A count on another trait, such as zygotic_seeds=4/45 (4 of 45)
    #[arg(long, value_name = "TRAIT=OF THESE/COUNTED")]
    pub count: Vec<String>,
    /// The day you observed it
    #[arg(long, value_parser = crate::day::past, value_name = "DAY")]
    pub day: Option<v1::CalendarDate>,
    /// Which tree, in your words
    #[arg(long, value_name = "TEXT")]
    pub tree: Option<String>,
    /// How you observed it: eye, fruit, marker or instrument
    #[arg(long, value_parser = words::parse_method)]
    pub method: Option<v1::ObservationMethod>,
    /// Where: a town, or latitude,longitude; stored only to about 5 km
    #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
    pub place: Option<String>,
    /// State or country, such as Queensland or AU-QLD
    #[arg(long, value_name = "CODE")]
    pub area: Option<String>,
    /// What you call the place
    #[arg(long, value_name = "TEXT")]
    pub place_label: Option<String>,
    /// A publication says this and you did not see it; needs --citation
    #[arg(long, requires = "citation")]
    pub published: bool,
    /// The publication, or another reference
    #[arg(long, value_name = "TEXT")]
    pub citation: Option<String>,
    /// The name the source uses, if different
    #[arg(long, value_name = "NAME")]
    pub named_as: Option<String>,
    /// Anything a reader should know
    #[arg(long)]
    pub note: Option<String>,
}

/// Enter and follow sowings
#[derive(Debug, Subcommand)]
pub enum SowingCommand {
    /// Enter a sowing on its day; it asks for your counts when they are due
    Add {
        /// The mother tree's cultivar: its name
        #[arg(required = true, num_args = 1.., value_name = "CULTIVAR")]
        cultivar: Vec<String>,
        /// The crop, if two crops share the name
        #[arg(long)]
        crop: Option<String>,
        /// How many seeds
        #[arg(long)]
        seeds: i32,
        /// The day you sowed; today if left out
        #[arg(long, value_parser = crate::day::past, value_name = "DAY")]
        day: Option<v1::CalendarDate>,
        /// The mother tree, in your words
        #[arg(long, default_value = "", hide_default_value = true)]
        tree: String,
        /// Anything a reader should know
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// List your sowings and the counts they need
    List {
        /// Include closed sowings
        #[arg(long)]
        all: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Close a sowing that you will not count any more
    Close {
        /// The sowing's number
        sowing: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
}
