//! `scionary movement`. The `///` comments here are the help text.

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// The movement to check
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  scionary movement check --offer OFFER-ID --to AU-QLD\n  scionary movement check Kent --material scion-wood --from US-FL --to US-CA\n  scionary movement check --plant \"Citrus x Poncirus\" --material seedling --form in-medium --from US-TX/zapata --to US-OK"
)]
pub struct CheckArguments {
    /// The cultivar, as you heard its name
    #[arg(num_args = 0.., value_name = "NAME")]
    pub name: Vec<String>,
    /// The crop, if two share the name; or a crop alone
    #[arg(long)]
    pub crop: Option<String>,
    /// An offer's number instead; its plant, material and origins are checked
    #[arg(long, default_value = "", hide_default_value = true, value_name = "ID", conflicts_with_all = ["name", "plant"])]
    pub offer: String,
    /// A botanical name instead
    #[arg(long, default_value = "", hide_default_value = true, value_name = "NAME", conflicts_with = "name")]
    pub plant: String,
    /// The plant of --plant is in no list on file; check the rules on any plant
    #[arg(long, requires = "plant")]
    pub unlisted: bool,
    /// The rootstock of a grafted plant: a cultivar or a plant; "unknown" if no one knows
    #[arg(long, default_value = "", hide_default_value = true, value_name = "NAME")]
    pub rootstock: String,
    /// The material: scion-wood, budwood, seed, seedling, rootstock, grafted-plant or fruit-for-seed
    #[arg(long, value_parser = words::parse_material)]
    pub material: Option<v1::Material>,
    /// How it is prepared: leafless, with-leaves, bare-root, in-medium, cleaned-seed, seed-in-husk or whole-fruit
    #[arg(long, value_parser = words::parse_form)]
    pub form: Option<v1::MaterialForm>,
    /// Every place it was grown, such as AU-QLD or US-TX/zapata; leave it out if no one knows
    #[arg(long, value_name = "CODE", value_delimiter = ',')]
    pub from: Vec<String>,
    /// Where it goes; for a meeting, also the receiver's home; your own home if left out
    #[arg(long, value_name = "AREA", value_delimiter = ',')]
    pub to: Vec<String>,
    /// Places on the way
    #[arg(long, value_name = "CODE", value_delimiter = ',')]
    pub by_way_of: Vec<String>,
    /// The day it leaves; today if left out
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub leaves: Option<v1::CalendarDate>,
    /// The day it arrives; the day it leaves if left out
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub arrives: Option<v1::CalendarDate>,
    /// How many articles
    #[arg(long, default_value_t = 0, hide_default_value = true, value_name = "COUNT")]
    pub count: u32,
    /// An official document you have: the rule whose exception it opens, and its last day if it has one
    #[arg(long, value_name = "RULE[:DAY]", value_parser = document)]
    pub document: Vec<v1::DeclaredDocument>,
    /// Show conditions and addresses for every rule
    #[arg(long)]
    pub full: bool,
}

fn document(text: &str) -> Result<v1::DeclaredDocument, String> {
    let (rule, day) = text.split_once(':').unwrap_or((text, ""));
    let valid_to = if day.is_empty() { None } else { Some(crate::day::coming(day)?) };
    Ok(v1::DeclaredDocument { opens_rule_id: rule.trim().into(), valid_to })
}

/// Look up rules on moving plants
#[derive(Debug, Subcommand)]
pub enum MovementCommand {
    /// Check which rules on file apply to a movement
    Check(Box<CheckArguments>),
    /// List the rules on file
    Rules {
        /// Only rules that name this plant, such as Mangifera
        #[arg(default_value = "", hide_default_value = true)]
        plant: String,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Propose rules from a folder with rules.csv and so on; without --propose, only show the changes (stewards)
    Import {
        /// The folder to read
        folder: std::path::PathBuf,
        /// Why
        #[arg(long)]
        note: String,
        /// Propose the rules; another steward publishes them
        #[arg(long)]
        propose: bool,
    },
    /// List proposed and published releases of rules (stewards)
    Releases {
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Put a release in force that another steward proposed (stewards)
    Publish {
        /// The release's number
        release: i64,
    },
    /// Undo a release; the one before it is in force again (stewards)
    TakeBack {
        /// The release's number
        release: i64,
    },
}
