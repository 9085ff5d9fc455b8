//! Wants.

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Wants.
#[derive(Debug, Subcommand)]
pub enum WantCommand {
    /// Seek a cultivar, or a tree with certain traits; your inbox tells you when one is on offer
    #[command(
        after_help = "Examples: scionary want add --cultivar NAME --material scion-wood --near 2CGV2200+ --within 50 --to AU-QLD\n          scionary want add --crop mango --ripe-in 10 --comes-true --trait fibre=none --near 2CGV2200+ --to AU-QLD"
    )]
    Add(Box<WantArguments>),
    /// List your wants
    List {
        /// Those that are over, too
        #[arg(long)]
        all: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Take a want back
    Withdraw {
        /// Its id
        want: String,
    },
    /// What others seek, for those with something to give
    Search {
        /// The crop
        crop: String,
        /// Only this material; give it again for more
        #[arg(long, value_parser = words::parse_material)]
        material: Vec<v1::Material>,
        /// Around here: a grid code (Open Location Code) such as 2CGV2200+, or LATITUDE,LONGITUDE
        #[arg(long, value_name = "PLACE", value_parser = words::parse_grid, allow_hyphen_values = true)]
        near: Option<String>,
        /// At most so far
        #[arg(long, value_name = "KM")]
        within: Option<i32>,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
}

/// What is sought.
#[derive(Debug, Args)]
pub struct WantArguments {
    /// The cultivar: its name on file, or its id; left out for a wish
    #[arg(long, value_name = "NAME", default_value = "", hide_default_value = true)]
    pub cultivar: String,
    /// The crop, where no cultivar says it
    #[arg(long)]
    pub crop: Option<String>,
    /// Its seed comes true, or is mostly true, counted
    #[arg(long)]
    pub comes_true: bool,
    /// Ripe in this month where you are, 1 to 12; give it again for more
    #[arg(long, value_name = "MONTH", value_parser = clap::value_parser!(i32).range(1..=12))]
    pub ripe_in: Vec<i32>,
    /// A trait: KEY=STATE, or KEY=STATE,STATE, or KEY>=NUMBER, or KEY<=NUMBER; see: scionary crop show
    #[arg(long = "trait", value_name = "WISH", value_parser = parse_trait)]
    pub traits: Vec<v1::TraitWish>,
    /// Only this material; give it again for more
    #[arg(long, value_parser = words::parse_material)]
    pub material: Vec<v1::Material>,
    /// Around here: a grid code (Open Location Code) such as 2CGV2200+, or LATITUDE,LONGITUDE
    #[arg(long, value_name = "PLACE", value_parser = words::parse_grid, allow_hyphen_values = true)]
    pub near: String,
    /// At most so far; any distance if left out
    #[arg(long, value_name = "KM", default_value_t = 0, hide_default_value = true)]
    pub within: i32,
    /// Where it would go: a country or subdivision such as AU-QLD (ISO 3166), for the rules on moving plants
    #[arg(long, value_name = "CODE")]
    pub to: String,
    /// Last day; about a year from now if left out
    #[arg(long, value_name = "DAY", value_parser = words::parse_day)]
    pub until: Option<v1::CalendarDate>,
    /// Your words, shown with the want
    #[arg(long, default_value = "", hide_default_value = true)]
    pub note: String,
}

fn parse_trait(text: &str) -> Result<v1::TraitWish, String> {
    let number = |n: &str| n.trim().parse::<f64>().map_err(|e| format!("{n:?}: {e}"));
    let wish = |key: &str| v1::TraitWish { descriptor_key: key.trim().to_string(), ..Default::default() };
    if let Some((key, least)) = text.split_once(">=") {
        Ok(v1::TraitWish { least: Some(number(least)?), ..wish(key) })
    } else if let Some((key, most)) = text.split_once("<=") {
        Ok(v1::TraitWish { most: Some(number(most)?), ..wish(key) })
    } else if let Some((key, states)) = text.split_once('=') {
        let states = states.split(',').map(|s| s.trim().to_string()).collect();
        Ok(v1::TraitWish { states, ..wish(key) })
    } else {
        Err("KEY=STATE, KEY>=NUMBER or KEY<=NUMBER expected, such as fibre=none".into())
    }
}
