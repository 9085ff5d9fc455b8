//! Dated plans and the grafting log.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// What a plan is for.
#[derive(Debug, Clone, Args)]
pub struct PlanArguments {
    /// The cultivar's name or id
    #[arg(required = true, num_args = 1.., value_name = "NAME")]
    pub name: Vec<String>,
    /// The crop, where two share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// grafted-tree, seed, own-rootstock or top-working; see `scionary routes` to choose
    #[arg(long, value_parser = words::parse_way)]
    pub way: v1::Way,
    /// The first day, such as 2027-03-31; today if left out
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub start: Option<v1::CalendarDate>,
    /// Where: a grid code, or latitude,longitude; only its latitude is used
    #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
    pub place: Option<String>,
    /// South of the equator
    #[arg(long, conflicts_with = "place")]
    pub south: bool,
    /// warm (no frost), mild (light frosts in some winters) or cold (hard frosts every winter); guessed from the place if left out
    #[arg(long, value_parser = words::parse_climate)]
    pub climate: Option<v1::Climate>,
    /// You have a rootstock large enough to graft
    #[arg(long)]
    pub have_rootstock: bool,
}

/// A step of a plan.
#[derive(Debug, Clone, Args)]
pub struct StepArguments {
    /// The plan's id
    pub plan: String,
    /// The step's key, as the plan shows it in brackets
    pub step: String,
}

/// A side of the equator.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Hemisphere {
    /// North of the equator
    North,
    /// South of the equator
    South,
}

/// Plans.
#[derive(Debug, Subcommand)]
pub enum PlanCommand {
    /// Show the steps and their days, without keeping them
    #[command(after_help = "Example: scionary plan draft Lantern Moth --way seed --place -27.47,153.02")]
    Draft {
        /// What it is for
        #[command(flatten)]
        plan: PlanArguments,
        /// Show every citation
        #[arg(long)]
        sources: bool,
    },
    /// Keep a plan with your account
    Keep {
        /// What it is for
        #[command(flatten)]
        plan: PlanArguments,
        /// What you call it; the cultivar's name if left out
        #[arg(long, default_value = "", hide_default_value = true)]
        title: String,
        /// Your own words
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// List your plans with what is due
    List {
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a plan: its days, and in full what is due or comes next
    Show {
        /// Its id
        plan: String,
        /// Every step in full
        #[arg(long)]
        all: bool,
        /// Show every citation
        #[arg(long)]
        sources: bool,
    },
    /// Tick a step off
    Done {
        /// Which
        #[command(flatten)]
        step: StepArguments,
        /// On which day; today if left out
        #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
        on: Option<v1::CalendarDate>,
        /// Also where a step before it is still open
        #[arg(long)]
        anyway: bool,
    },
    /// A step is to do after all
    Reopen(StepArguments),
    /// It failed: begin again with this step and do all that follows it again
    Again(StepArguments),
    /// Leave a step out
    Skip {
        /// Which
        #[command(flatten)]
        step: StepArguments,
        /// Why
        #[arg(long, default_value = "", hide_default_value = true)]
        reason: String,
    },
    /// Set the day of a step; what follows moves along
    Move {
        /// Which
        #[command(flatten)]
        step: StepArguments,
        /// The day; without one its days follow from the plan again
        #[arg(value_parser = words::parse_day, value_name = "DAY")]
        day: Option<v1::CalendarDate>,
    },
    /// Write a note on a step
    Note {
        /// Which
        #[command(flatten)]
        step: StepArguments,
        /// Your words; empty takes them away
        text: String,
    },
    /// Add a step of your own
    AddStep {
        /// The plan's id
        plan: String,
        /// A few words
        title: String,
        /// What to do
        #[arg(long, default_value = "", hide_default_value = true)]
        about: String,
        /// On this day
        #[arg(long, value_parser = words::parse_day, value_name = "DAY", required_unless_present = "days", conflicts_with = "days")]
        on: Option<v1::CalendarDate>,
        /// Or so many days after the step named by --after, or after the first day of the plan
        #[arg(long, value_name = "DAYS")]
        days: Option<i32>,
        /// The key of the step that it follows
        #[arg(long, default_value = "", value_name = "STEP", hide_default_value = true)]
        after: String,
    },
    /// Take a step of your own away
    RemoveStep(StepArguments),
    /// Change a plan's title, note or first day
    Change {
        /// Its id
        plan: String,
        /// What you call it
        #[arg(long)]
        title: Option<String>,
        /// Your own words
        #[arg(long)]
        note: Option<String>,
        /// The first day
        #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
        start: Option<v1::CalendarDate>,
        /// Where: a grid code, or latitude,longitude; the steps are made again for it, what was done stays
        #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
        place: Option<String>,
        /// On which side of the equator
        #[arg(long, value_enum, conflicts_with = "place")]
        hemisphere: Option<Hemisphere>,
        /// warm, mild or cold
        #[arg(long, value_parser = words::parse_climate)]
        climate: Option<v1::Climate>,
    },
    /// Forget a plan
    Drop {
        /// Its id
        plan: String,
    },
    /// Write a file that calendar programs open
    Calendar {
        /// The plan's id; all your plans without one
        plan: Option<String>,
        /// The file, such as trees.ics; printed if left out
        #[arg(long, short, value_name = "FILE")]
        output: Option<PathBuf>,
    },
}

/// The grafting log.
#[derive(Debug, Subcommand)]
pub enum GraftCommand {
    /// Enter grafts of one day
    #[command(
        after_help = "Example: scionary graft log Lantern Moth --method cleft --made 6 --scion-from \"the tree by the gate\" --rootstock seedling --south"
    )]
    Log {
        /// The scion's cultivar: its name or id
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// The crop, where two share the name
        #[arg(long)]
        crop: Option<String>,
        /// cleft, whip-and-tongue, splice, veneer, side, bark, approach, shield-bud, chip-bud, patch-bud or other
        #[arg(long, value_parser = words::parse_graft_method)]
        method: v1::GraftMethod,
        /// How many
        #[arg(long, default_value_t = 1, value_name = "COUNT")]
        made: u32,
        /// How many took, where you know already
        #[arg(long, value_name = "COUNT")]
        took: Option<u32>,
        /// On which day; today if left out
        #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
        day: Option<v1::CalendarDate>,
        /// Done north of the equator
        #[arg(long, conflicts_with = "south")]
        north: bool,
        /// Done south of the equator: months are counted half a year apart
        #[arg(long)]
        south: bool,
        /// The tree or lot that the scions come from
        #[arg(long, default_value = "", hide_default_value = true)]
        scion_from: String,
        /// What they were grafted on
        #[arg(long, default_value = "", hide_default_value = true)]
        rootstock: String,
        /// Your own words
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// Say how many took; again to correct it
    Report {
        /// The entry's id
        graft: String,
        /// How many took
        #[arg(long, value_name = "COUNT")]
        took: u32,
        /// Seen on which day; today if left out
        #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
        on: Option<v1::CalendarDate>,
    },
    /// List your grafting log
    List {
        /// Only those that were not reported on
        #[arg(long)]
        open: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Take an entry out of your log
    Remove {
        /// The entry's id
        graft: String,
    },
    /// How often grafts take, by method and month, over all growers
    Rates {
        /// Only scions of this cultivar: its name or id
        #[arg(num_args = 0.., value_name = "NAME")]
        name: Vec<String>,
        /// The crop; needed without a name
        #[arg(long)]
        crop: Option<String>,
        /// Months as they fall south of the equator
        #[arg(long)]
        south: bool,
        /// Show every citation
        #[arg(long)]
        sources: bool,
    },
}
