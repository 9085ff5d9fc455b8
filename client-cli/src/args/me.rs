//! `scionary me`. The `///` comments here are the help text.

use clap::{Args, ValueEnum};
use scionary_proto::v1;

use crate::words;

/// What the client remembers of you
#[derive(Debug, Clone, Default, Args)]
#[command(
    after_help = "Examples:\n  scionary me --home Brisbane --contact \"0400 000 000, evenings\"\n  scionary me --units imperial --crop mango"
)]
pub struct MeArguments {
    /// Where you grow: a town, or latitude,longitude; kept to about five kilometres
    #[arg(long, value_name = "TOWN", value_parser = words::parse_grid, allow_hyphen_values = true)]
    pub home: Option<String>,
    /// How others reach you; a giver or taker sees it once a claim is accepted
    #[arg(long, value_name = "TEXT")]
    pub contact: Option<String>,
    /// Units to read
    #[arg(long, value_enum)]
    pub units: Option<Units>,
    /// The crop that you mostly grow, such as mango
    #[arg(long, value_name = "CROP")]
    pub crop: Option<String>,
    /// Your winters: warm (no frost), mild (light frosts), cold (hard frosts) or rains (near the equator)
    #[arg(long, value_parser = words::parse_climate)]
    pub climate: Option<v1::Climate>,
    /// Whether your plants may be counted among those that still keep a cultivar: by country, never by name
    #[arg(long, value_name = "YES|NO", value_parser = clap::builder::BoolishValueParser::new())]
    pub count_plants: Option<bool>,
    /// Forget these: home, contact, crop or climate, separated by commas
    #[arg(long, value_delimiter = ',', value_name = "WHAT")]
    pub forget: Vec<Kept>,
}

/// Units of measure
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Units {
    /// Metres, grams and Celsius
    Metric,
    /// Feet, pounds and Fahrenheit
    Imperial,
}

/// Something that is kept
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Kept {
    /// Where you grow
    Home,
    /// How others reach you
    Contact,
    /// The crop that you mostly grow
    Crop,
    /// Your winters
    Climate,
}
