//! `scionary plan` and `scionary graft`. The `///` comments here are the help text.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// What to plan
#[derive(Debug, Clone, Args)]
pub struct PlanArguments {
    /// The cultivar, as you heard its name
    #[arg(required = true, num_args = 1.., value_name = "NAME")]
    pub name: Vec<String>,
    /// The crop, if two share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// The way: grafted-tree, seed, own-rootstock or top-working; see `scionary routes` to choose
    #[arg(long, value_parser = words::parse_way)]
    pub way: v1::Way,
    /// The first day, such as 2027-03-31; today if left out
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub start: Option<v1::CalendarDate>,
    /// Where you grow: a town, or latitude,longitude; only the latitude is used
    #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
    pub place: Option<String>,
    /// You are south of the equator
    #[arg(long, conflicts_with = "place")]
    pub south: bool,
    /// The climate: warm (no frost), mild (light frosts in some winters) or cold (hard frosts every winter);
    /// estimated from the place if left out
    #[arg(long, value_parser = words::parse_climate)]
    pub climate: Option<v1::Climate>,
    /// You have a rootstock large enough to graft
    #[arg(long)]
    pub have_rootstock: bool,
}

/// A step of a plan
#[derive(Debug, Clone, Args)]
pub struct StepArguments {
    /// The plan's number
    pub plan: String,
    /// The step's key, as the plan shows it in brackets
    pub step: String,
}

/// A side of the equator
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Hemisphere {
    /// North of the equator
    North,
    /// South of the equator
    South,
}

/// Make and follow dated plans
#[derive(Debug, Subcommand)]
pub enum PlanCommand {
    /// Show the steps and their days, without saving them
    #[command(after_help = "Example: scionary plan draft Lantern Moth --way seed --place -27.47,153.02")]
    Draft {
        /// What to plan
        #[command(flatten)]
        plan: PlanArguments,
        /// Show every step in full, with all cautions
        #[arg(long)]
        all: bool,
        /// Show every citation
        #[arg(long)]
        sources: bool,
    },
    /// Save a plan to your account
    Keep {
        /// What to plan
        #[command(flatten)]
        plan: PlanArguments,
        /// The plan's title; the cultivar's name if left out
        #[arg(long, default_value = "", hide_default_value = true)]
        title: String,
        /// A note for yourself
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// List your plans and what is due
    List {
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a plan: all days, and details of what is due or next
    Show {
        /// The plan's number
        plan: String,
        /// Show every step in full
        #[arg(long)]
        all: bool,
        /// Show every citation
        #[arg(long)]
        sources: bool,
    },
    /// Tick a step off
    Done {
        /// The step
        #[command(flatten)]
        step: StepArguments,
        /// The day you did it; today if left out
        #[arg(long, value_parser = crate::day::past, value_name = "DAY")]
        on: Option<v1::CalendarDate>,
        /// Tick it off even if an earlier step is open
        #[arg(long)]
        anyway: bool,
    },
    /// Untick a step
    Reopen(StepArguments),
    /// Start again at a step that failed; the steps after it open again
    Again(StepArguments),
    /// Leave a step out
    Skip {
        /// The step
        #[command(flatten)]
        step: StepArguments,
        /// Why
        #[arg(long, default_value = "", hide_default_value = true)]
        reason: String,
    },
    /// Set the day of a step; later steps move along
    Move {
        /// The step
        #[command(flatten)]
        step: StepArguments,
        /// The day; if left out, the plan sets the day again
        #[arg(value_parser = crate::day::coming, value_name = "DAY")]
        day: Option<v1::CalendarDate>,
    },
    /// Write a note on a step
    Note {
        /// The step
        #[command(flatten)]
        step: StepArguments,
        /// Your note; empty text removes it
        text: String,
    },
    /// Add your own step
    AddStep {
        /// The plan's number
        plan: String,
        /// The step's title, in a few words
        title: String,
        /// What to do
        #[arg(long, default_value = "", hide_default_value = true)]
        about: String,
        /// The day of the step
        #[arg(long, value_parser = crate::day::coming, value_name = "DAY", required_unless_present = "days", conflicts_with = "days")]
        on: Option<v1::CalendarDate>,
        /// Days after the step named by --after, or after the plan's first day
        #[arg(long, value_name = "DAYS")]
        days: Option<i32>,
        /// The key of the step before it
        #[arg(long, default_value = "", value_name = "STEP", hide_default_value = true)]
        after: String,
    },
    /// Remove one of your own steps
    RemoveStep(StepArguments),
    /// Change a plan
    Change {
        /// The plan's number
        plan: String,
        /// The plan's title
        #[arg(long)]
        title: Option<String>,
        /// A note for yourself
        #[arg(long)]
        note: Option<String>,
        /// The first day
        #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
        start: Option<v1::CalendarDate>,
        /// Where you grow: a town, or latitude,longitude; the steps are made again, what is done stays
        #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
        place: Option<String>,
        /// Your side of the equator
        #[arg(long, value_enum, conflicts_with = "place")]
        hemisphere: Option<Hemisphere>,
        /// The climate: warm, mild or cold
        #[arg(long, value_parser = words::parse_climate)]
        climate: Option<v1::Climate>,
    },
    /// Delete a plan
    Drop {
        /// The plan's number
        plan: String,
    },
    /// Write a file for your calendar program
    Calendar {
        /// The plan's number; all your plans if left out
        plan: Option<String>,
        /// The file, such as trees.ics; printed if left out
        #[arg(long, short, value_name = "FILE")]
        output: Option<PathBuf>,
    },
}

/// Keep a log of your grafts
#[derive(Debug, Subcommand)]
pub enum GraftCommand {
    /// Enter the grafts of one day
    #[command(
        after_help = "Example: scionary graft log Lantern Moth --method cleft --made 6 --scion-from \"the tree by the gate\" --rootstock seedling --south"
    )]
    Log {
        /// The scion's cultivar: its name
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// The crop, if two share the name
        #[arg(long)]
        crop: Option<String>,
        /// The method: cleft, whip-and-tongue, splice, veneer, side, bark, approach, shield-bud, chip-bud,
        /// patch-bud or other
        #[arg(long, value_parser = words::parse_graft_method)]
        method: v1::GraftMethod,
        /// How many grafts you made
        #[arg(long, default_value_t = 1, value_name = "COUNT")]
        made: u32,
        /// How many took, if you know already
        #[arg(long, value_name = "COUNT")]
        took: Option<u32>,
        /// The day; today if left out
        #[arg(long, value_parser = crate::day::past, value_name = "DAY")]
        day: Option<v1::CalendarDate>,
        /// You grafted north of the equator
        #[arg(long, conflicts_with = "south")]
        north: bool,
        /// You grafted south of the equator; months are shifted by half a year
        #[arg(long)]
        south: bool,
        /// The tree or lot the scions come from
        #[arg(long, default_value = "", hide_default_value = true)]
        scion_from: String,
        /// What you grafted onto
        #[arg(long, default_value = "", hide_default_value = true)]
        rootstock: String,
        /// A note for yourself
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// Report how many took; report again to correct it
    Report {
        /// The entry's number
        graft: String,
        /// How many took
        #[arg(long, value_name = "COUNT")]
        took: u32,
        /// The day you looked; today if left out
        #[arg(long, value_parser = crate::day::past, value_name = "DAY")]
        on: Option<v1::CalendarDate>,
    },
    /// List your grafting log
    List {
        /// Only entries without a report
        #[arg(long)]
        open: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Remove an entry from your log
    Remove {
        /// The entry's number
        graft: String,
    },
    /// Show how often grafts take, by method and month, for all growers
    Rates {
        /// Only scions of this cultivar: its name
        #[arg(num_args = 0.., value_name = "NAME")]
        name: Vec<String>,
        /// The crop; required without a name
        #[arg(long)]
        crop: Option<String>,
        /// Show months for the south of the equator
        #[arg(long)]
        south: bool,
        /// Show every citation
        #[arg(long)]
        sources: bool,
    },
}
