//! `scionary count-next` and `scionary kept`. The `///` comments here are the help text.

use clap::Args;

/// See which seedlings to judge next: where one count would teach most
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  scionary count-next --crop mango\n  scionary count-next Ferrywell Gold")]
pub struct CountArguments {
    /// One cultivar; leave it out for those whose count is worth most
    #[arg(num_args = 0.., value_name = "NAME")]
    pub name: Vec<String>,
    /// Only this crop, such as mango
    #[arg(long)]
    pub crop: Option<String>,
    /// Only what you have seed or plants of, by your lots and offers
    #[arg(long, conflicts_with = "club")]
    pub mine: bool,
    /// Only what a club of yours has seed or plants of
    #[arg(long, value_name = "CLUB")]
    pub club: Option<String>,
    /// How many to show
    #[arg(long, default_value_t = 5, value_name = "N", value_parser = clap::value_parser!(i32).range(1..=50))]
    pub limit: i32,
}

/// See how many members still keep a cultivar, and what may be lost
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  scionary kept Ferrywell Gold\n  scionary kept --crop mango")]
pub struct KeptArguments {
    /// One cultivar; leave it out for those that the fewest keep
    #[arg(num_args = 0.., value_name = "NAME")]
    pub name: Vec<String>,
    /// Only this crop, such as mango
    #[arg(long)]
    pub crop: Option<String>,
    /// Only what members of a club of yours keep: what to copy first
    #[arg(long, value_name = "CLUB")]
    pub club: Option<String>,
    /// How many to show
    #[arg(long, default_value_t = 10, value_name = "N", value_parser = clap::value_parser!(i32).range(1..=50))]
    pub limit: i32,
}

/// See what may help a cultivar to set fruit: flower types, and partners that sources name
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  scionary partners Ferrywell Gold\n  scionary partners Ferrywell Gold --limit 20"
)]
pub struct PartnersArguments {
    /// The cultivar, as you heard its name
    #[arg(required = true, num_args = 1.., value_name = "NAME")]
    pub name: Vec<String>,
    /// The crop, if two crops share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// Only what members of a club of yours keep and let be counted
    #[arg(long, value_name = "CLUB")]
    pub club: Option<String>,
    /// How many to show
    #[arg(long, default_value_t = 8, value_name = "N", value_parser = clap::value_parser!(i32).range(1..=50))]
    pub limit: i32,
}
