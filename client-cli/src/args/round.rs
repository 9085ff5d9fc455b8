//! Swap rounds.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Swap rounds.
#[derive(Debug, Subcommand)]
pub enum RoundCommand {
    /// List the rounds of your clubs
    List {
        /// Of this club alone: its id
        #[arg(long, default_value = "", hide_default_value = true, value_name = "CLUB")]
        club: String,
        /// Closed ones, too
        #[arg(long)]
        all: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a round
    Show {
        /// Its id
        round: String,
    },
    /// List what members bring
    Lots {
        /// The round's id
        round: String,
        /// Only what is left over
        #[arg(long)]
        left: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Take part, or change how
    Join {
        /// The round's id
        round: String,
        /// Where what you get will be: a country or subdivision such as AU-QLD (ISO 3166)
        #[arg(long, value_name = "CODE")]
        area: String,
        /// How you can be reached: told to those with whom something is allotted
        #[arg(long)]
        contact: String,
        /// You send and take by post, where the round has it
        #[arg(long)]
        post: bool,
        /// You do not come to the day
        #[arg(long)]
        not_there: bool,
        /// Packs that you give beyond what the round asks of everyone
        #[arg(long, default_value_t = 0, hide_default_value = true, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=500))]
        give_more: i32,
    },
    /// Leave a round with all lots and wishes, while it gathers
    Leave {
        /// Its id
        round: String,
    },
    /// Bring packs of one of your offers, or another number of them; they are held back for the round
    Bring {
        /// The round's id
        round: String,
        /// The offer's id
        offer: String,
        /// How many packs; all that is not promised if left out
        #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(i32).range(1..=500))]
        packs: Option<i32>,
        /// How much is in a pack; if left out a stick, five seeds, a plant, a fruit
        #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(i32).range(1..=10_000))]
        each: Option<i32>,
        /// Give it freely: it is not counted against you
        #[arg(long)]
        gift: bool,
        /// Documents that go with it, where a rule on file asks for one: which, and their numbers
        #[arg(long, default_value = "", hide_default_value = true)]
        papers: String,
    },
    /// Take one of your lots out of the round again
    TakeBack {
        /// The round's id
        round: String,
        /// Its number, the code on its tag, or its id
        lot: String,
    },
    /// Say what you wish for, the dearest first; the list takes the place of the one before
    #[command(
        after_help = "A wish is a lot's number, or a cultivar with its material; several with \"or\" between:\n  scionary round wish ID 12 \"7 or 9\" \"2 x Larkwater Gold, scion wood\"\nNo one else sees your list."
    )]
    Wish {
        /// The round's id
        round: String,
        /// The wishes, the dearest first
        #[arg(value_name = "WISH")]
        wishes: Vec<String>,
        /// Read them from a file, one a line (- for standard input)
        #[arg(long, value_name = "FILE", conflicts_with = "wishes")]
        from: Option<PathBuf>,
        /// Wish for nothing any more
        #[arg(long, conflicts_with_all = ["wishes", "from"])]
        none: bool,
    },
    /// Show your part: lots, wishes, what you get and why not more
    Mine {
        /// The round's id
        round: String,
        /// Reasons for every single lot
        #[arg(long)]
        every_lot: bool,
    },
    /// Take some of what is left over, on the day
    Take {
        /// The round's id
        round: String,
        /// Its number, the code on its tag, or its id
        lot: String,
        /// How many packs
        #[arg(long, default_value_t = 1, value_name = "COUNT", value_parser = clap::value_parser!(i32).range(1..=500))]
        packs: i32,
    },
    /// Make a round of a club (organisers)
    Create {
        /// The club's id
        club: String,
        /// What it says of itself
        #[command(flatten)]
        says: Box<RoundArguments>,
    },
    /// Change what a round says of itself, while it gathers: the named parts (organisers)
    Change {
        /// Its id
        round: String,
        /// The parts
        #[command(flatten)]
        parts: Box<RoundChanges>,
    },
    /// Call a round off: what was brought is its givers' again (organisers)
    CallOff {
        /// Its id
        round: String,
        /// Why: told to who takes part
        #[arg(long)]
        reason: String,
    },
    /// Note what an authority said of moving things from one place to another, where no rule is on file (organisers)
    NoteAdvice {
        /// The round's id
        round: String,
        /// From: a country or subdivision (ISO 3166)
        #[arg(long, value_name = "CODE")]
        from: String,
        /// To
        #[arg(long, value_name = "CODE")]
        to: String,
        /// Who was asked: office, name, day
        #[arg(long)]
        asked: String,
        /// What was said
        #[arg(long)]
        said: String,
    },
    /// See what the round would come to, and with other settings beside it (organisers)
    DryRun {
        /// Its id
        round: String,
        /// Settings to be tried beside the round's own; what is left out stays as it is in the round
        #[command(flatten)]
        tried: TriedArguments,
    },
    /// Seal a round: lots and wishes stand as they are (organisers)
    Seal {
        /// Its id
        round: String,
    },
    /// Open a sealed round again (organisers)
    Reopen {
        /// Its id
        round: String,
    },
    /// Settle who gets what; on the day also again, without who is not there (organisers)
    Settle {
        /// Its id
        round: String,
        /// Only lots that were checked in
        #[arg(long)]
        only_checked_in: bool,
    },
    /// Write what anyone needs to check a settling to a file (organisers)
    #[command(after_help = "Check it with any Python: deploy/verify-round FILE")]
    Audit {
        /// The round's id
        round: String,
        /// The file
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
        /// Which settling; the last if left out
        #[arg(long, default_value_t = 0, hide_default_value = true, value_name = "NUMBER")]
        run: i32,
    },
    /// Begin the day: lots change hands (organisers)
    Begin {
        /// The round's id
        round: String,
    },
    /// Note lots that are there (organisers)
    CheckIn {
        /// The round's id
        round: String,
        /// Their numbers, or the codes on their tags
        #[arg(required = true, value_name = "LOT")]
        lots: Vec<String>,
        /// They are not there after all
        #[arg(long)]
        not_here: bool,
    },
    /// Note members who did not come (organisers)
    Absent {
        /// The round's id
        round: String,
        /// Their numbers or handles
        #[arg(required = true, value_name = "MEMBER")]
        members: Vec<String>,
        /// They came after all
        #[arg(long)]
        came: bool,
    },
    /// Tick hand-overs off, for both sides (organisers)
    #[command(
        after_help = "Without LOT and MEMBER, lines are read from standard input until its end (Ctrl-D), each a lot and a member, such as \"12 7\" or what a scanner reads from a label."
    )]
    HandOver {
        /// The round's id
        round: String,
        /// The lot's number, or the code on its tag
        #[arg(requires = "member")]
        lot: Option<String>,
        /// The member's number or handle
        member: Option<String>,
    },
    /// List who takes part (organisers)
    Members {
        /// The round's id
        round: String,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// List what changes hands (organisers)
    Shares {
        /// The round's id
        round: String,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Print the sheets of the day to a PDF: pick lists by table and by member, what goes by post (organisers)
    Sheets {
        /// The round's id
        round: String,
        /// The file
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
    },
    /// Print a label for each pack that changes hands to a PDF (organisers)
    Labels {
        /// The round's id
        round: String,
        /// The file
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
        /// How labels lie on paper
        #[command(flatten)]
        layout: super::LayoutArguments,
    },
    /// Close a round: what is left over is on offer again (organisers)
    Close {
        /// Its id
        round: String,
    },
}

/// What a round says of itself.
#[derive(Debug, Args)]
pub struct RoundArguments {
    /// What it is called
    #[arg(long)]
    pub title: String,
    /// What members should know
    #[arg(long, default_value = "", hide_default_value = true)]
    pub about: String,
    /// Where the day is: told to members
    #[arg(long, default_value = "", hide_default_value = true)]
    pub place: String,
    /// Where that is: a country or subdivision such as AU-QLD (ISO 3166)
    #[arg(long, value_name = "CODE")]
    pub area: String,
    /// The day, such as 2027-07-31
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub day: v1::CalendarDate,
    /// The last day for lots and wishes; the day before if left out
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// The most packs that anyone takes
    #[arg(long, default_value_t = 8, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(1..=50))]
    pub most: i32,
    /// Packs that anyone may be asked to give beyond what they get
    #[arg(long, default_value_t = 1, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub slack: i32,
    /// Packs that someone gets beyond what they give who never took part before
    #[arg(long, default_value_t = 1, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub newcomers: i32,
    /// The most packs of one cultivar that anyone takes; 0 for no limit
    #[arg(long, default_value_t = 0, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub of_one_cultivar: i32,
    /// First wishes count before anyone's pack beyond this one; left out, everyone's packs come first
    #[arg(long, value_name = "PACK")]
    pub ranks_after: Option<i32>,
    /// Things may go by post
    #[arg(long)]
    pub post: bool,
}

/// Parts of what a round says of itself.
#[derive(Debug, Args)]
pub struct RoundChanges {
    /// What it is called
    #[arg(long)]
    pub title: Option<String>,
    /// What members should know
    #[arg(long)]
    pub about: Option<String>,
    /// Where the day is: told to members
    #[arg(long)]
    pub place: Option<String>,
    /// Where that is: a country or subdivision (ISO 3166)
    #[arg(long, value_name = "CODE")]
    pub area: Option<String>,
    /// The day
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub day: Option<v1::CalendarDate>,
    /// The last day for lots and wishes
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// Rules
    #[command(flatten)]
    pub settings: TriedArguments,
    /// Nothing goes by post any more
    #[arg(long, conflicts_with = "post")]
    pub no_post: bool,
}

/// Settings to be tried.
#[derive(Debug, Args)]
pub struct TriedArguments {
    /// The most packs that anyone takes
    #[arg(long, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(1..=50))]
    pub most: Option<i32>,
    /// Packs that anyone may be asked to give beyond what they get
    #[arg(long, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub slack: Option<i32>,
    /// Packs that someone gets beyond what they give who never took part before
    #[arg(long, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub newcomers: Option<i32>,
    /// The most packs of one cultivar that anyone takes
    #[arg(long, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub of_one_cultivar: Option<i32>,
    /// First wishes count before anyone's pack beyond this one
    #[arg(long, value_name = "PACK")]
    pub ranks_after: Option<i32>,
    /// Things may go by post
    #[arg(long)]
    pub post: bool,
}
