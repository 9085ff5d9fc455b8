//! `scionary want`. The `///` comments here are the help text.

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Say what you look for
#[derive(Debug, Subcommand)]
pub enum WantCommand {
    /// Look for a cultivar, or for a tree with certain traits; matching offers reach your inbox
    #[command(
        after_help = "Examples: scionary want add --cultivar NAME --material scion-wood --near 2CGV2200+ --within 50 --to AU-QLD\n          scionary want add --crop mango --ripe-in 10 --comes-true --trait fibre=none --near 2CGV2200+ --to AU-QLD"
    )]
    Add(Box<WantArguments>),
    /// List your wants
    List {
        /// Include wants that are over
        #[arg(long)]
        all: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Withdraw a want
    Withdraw {
        /// The want's number
        want: String,
    },
    /// See what others look for
    Search {
        /// The crop
        crop: String,
        /// Only this material; repeat for more
        #[arg(long, value_parser = words::parse_material)]
        material: Vec<v1::Material>,
        /// Near this place: a grid code (Open Location Code) such as 2CGV2200+, or LATITUDE,LONGITUDE
        #[arg(long, value_name = "PLACE", value_parser = words::parse_grid, allow_hyphen_values = true)]
        near: Option<String>,
        /// At most this many kilometres away
        #[arg(long, value_name = "KM")]
        within: Option<i32>,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
}

/// What you look for
#[derive(Debug, Args)]
pub struct WantArguments {
    /// The cultivar, as you heard its name; leave it out to wish for traits
    #[arg(long, value_name = "NAME", default_value = "", hide_default_value = true)]
    pub cultivar: String,
    /// The crop, if you name no cultivar
    #[arg(long)]
    pub crop: Option<String>,
    /// Growers counted that its seed comes true, or mostly true
    #[arg(long)]
    pub comes_true: bool,
    /// Ripe in this month where you are, 1 to 12; repeat for more
    #[arg(long, value_name = "MONTH", value_parser = clap::value_parser!(i32).range(1..=12))]
    pub ripe_in: Vec<i32>,
    /// A trait: KEY=STATE, KEY=STATE,STATE, KEY>=NUMBER or KEY<=NUMBER; see: scionary crop show --more
    #[arg(long = "trait", value_name = "WISH", value_parser = parse_trait)]
    pub traits: Vec<v1::TraitWish>,
    /// Only this material; repeat for more
    #[arg(long, value_parser = words::parse_material)]
    pub material: Vec<v1::Material>,
    /// Near this place: a town, or latitude,longitude; your home if left out
    #[arg(long, value_name = "PLACE", value_parser = words::parse_grid, allow_hyphen_values = true)]
    pub near: Option<String>,
    /// At most this many kilometres away; any distance if left out
    #[arg(long, value_name = "KM", default_value_t = 0, hide_default_value = true)]
    pub within: i32,
    /// Where it would go, for the rules on moving plants, such as Queensland; your home if left out
    #[arg(long, value_name = "AREA")]
    pub to: Option<String>,
    /// Last day; about a year from now if left out
    #[arg(long, value_name = "DAY", value_parser = crate::day::coming)]
    pub until: Option<v1::CalendarDate>,
    /// A note that others see with your want
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
