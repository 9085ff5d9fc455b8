//! Movement of plants.

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// A movement to be looked at.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  scionary movement check --offer OFFER-ID --to AU-QLD\n  scionary movement check Kent --material scion-wood --from US-FL --to US-CA\n  scionary movement check --plant \"Citrus x Poncirus\" --material seedling --form in-medium --from US-TX/zapata --to US-OK"
)]
pub struct CheckArguments {
    /// The cultivar's name or id
    #[arg(num_args = 0.., value_name = "NAME")]
    pub name: Vec<String>,
    /// The crop, where two share the name; or a crop alone
    #[arg(long)]
    pub crop: Option<String>,
    /// Or an offer: its plant, material and origins are looked at
    #[arg(long, default_value = "", hide_default_value = true, value_name = "ID", conflicts_with_all = ["name", "plant"])]
    pub offer: String,
    /// Or a botanical name
    #[arg(long, default_value = "", hide_default_value = true, value_name = "NAME", conflicts_with = "name")]
    pub plant: String,
    /// The plant of --plant is in no list on file: look at rules on any plant
    #[arg(long, requires = "plant")]
    pub unlisted: bool,
    /// The rootstock of a grafted plant, a cultivar or a plant; "unknown" if no one knows
    #[arg(long, default_value = "", hide_default_value = true, value_name = "NAME")]
    pub rootstock: String,
    /// scion-wood, budwood, seed, seedling, rootstock, grafted-plant or fruit-for-seed
    #[arg(long, value_parser = words::parse_material)]
    pub material: Option<v1::Material>,
    /// leafless, with-leaves, bare-root, in-medium, cleaned-seed, seed-in-husk or whole-fruit
    #[arg(long, value_parser = words::parse_form)]
    pub form: Option<v1::MaterialForm>,
    /// Where it was grown, each place where it stood: AU-QLD, US-TX/zapata; leave it out if no one knows
    #[arg(long, value_name = "CODE", value_delimiter = ',')]
    pub from: Vec<String>,
    /// Where it goes; of a meeting, the receiver's home too
    #[arg(long, value_name = "CODE", value_delimiter = ',', required = true)]
    pub to: Vec<String>,
    /// Places on the way
    #[arg(long, value_name = "CODE", value_delimiter = ',')]
    pub by_way_of: Vec<String>,
    /// When it leaves; today if left out
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub leaves: Option<v1::CalendarDate>,
    /// When it arrives; the same day if left out
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub arrives: Option<v1::CalendarDate>,
    /// How many articles
    #[arg(long, default_value_t = 0, hide_default_value = true, value_name = "COUNT")]
    pub count: u32,
    /// An official paper that is there: the rule whose exception it opens, with its last day: RULE or RULE:2027-03-31
    #[arg(long, value_name = "RULE[:DAY]", value_parser = document)]
    pub document: Vec<v1::DeclaredDocument>,
    /// Show conditions and addresses of every rule
    #[arg(long)]
    pub full: bool,
}

fn document(text: &str) -> Result<v1::DeclaredDocument, String> {
    let (rule, day) = text.split_once(':').unwrap_or((text, ""));
    let valid_to = if day.is_empty() { None } else { Some(words::parse_day(day)?) };
    Ok(v1::DeclaredDocument { opens_rule_id: rule.trim().into(), valid_to })
}

/// Movement of plants.
#[derive(Debug, Subcommand)]
pub enum MovementCommand {
    /// What is on file for a movement
    Check(Box<CheckArguments>),
    /// List the rules on file
    Rules {
        /// Only those that name this plant, such as Mangifera
        #[arg(default_value = "", hide_default_value = true)]
        plant: String,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Propose rules from a folder with rules.csv and so on; without --propose it only tells what would change (stewards)
    Import {
        /// The folder
        folder: std::path::PathBuf,
        /// Why
        #[arg(long)]
        note: String,
        /// Propose them: another steward publishes
        #[arg(long)]
        propose: bool,
    },
    /// List proposed and published releases of rules (stewards)
    Releases {
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Put a release in force that another steward proposed (stewards)
    Publish {
        /// Its number
        release: i64,
    },
    /// Take a release back; the one before is in force again (stewards)
    TakeBack {
        /// Its number
        release: i64,
    },
}
