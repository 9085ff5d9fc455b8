//! `scionary round`: swap rounds. The `///` comments here are the help text.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;

/// Take part in a swap round, or run one
#[derive(Debug, Subcommand)]
pub enum RoundCommand {
    /// List the rounds of your clubs
    List {
        /// Only rounds of this club: its name, or words of it
        #[arg(long, default_value = "", hide_default_value = true, value_name = "CLUB")]
        club: String,
        /// Include closed rounds
        #[arg(long)]
        all: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a round
    Show {
        /// The round: its title, or words of it
        round: String,
    },
    /// List what members bring
    Lots {
        /// The round: its title, or words of it
        round: String,
        /// Only what is left over
        #[arg(long)]
        left: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Take part, or change how you take part
    Join {
        /// The round: its title, or words of it
        round: String,
        /// Where your plants will go, such as Queensland; your home if left out
        #[arg(long, value_name = "AREA")]
        area: Option<String>,
        /// How to reach you; shown to members you swap with; as you keep it if left out
        #[arg(long)]
        contact: Option<String>,
        /// You send and receive by post, if the round allows it
        #[arg(long)]
        post: bool,
        /// You do not come on the day
        #[arg(long)]
        not_there: bool,
        /// Packs you will give beyond what the round asks of everyone
        #[arg(long, default_value_t = 0, hide_default_value = true, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=500))]
        give_more: i32,
        /// Let organisers print how to reach you on the sheets of the day
        #[arg(long)]
        on_sheets: bool,
    },
    /// Leave a round that is not sealed; your lots and wishes go too
    Leave {
        /// The round: its title, or words of it
        round: String,
    },
    /// Bring packs of one of your offers, or change how many; the round holds them
    Bring {
        /// The round: its title, or words of it
        round: String,
        /// The offer's number
        offer: String,
        /// How many packs; everything not yet promised if left out
        #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(i32).range(1..=500))]
        packs: Option<i32>,
        /// How much is in a pack; one stick, five seeds, one plant or one fruit if left out
        #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(i32).range(1..=10_000))]
        each: Option<i32>,
        /// Give it freely; it does not count against you
        #[arg(long)]
        gift: bool,
        /// Documents that a rule on file asks for: their kind and number
        #[arg(long, default_value = "", hide_default_value = true)]
        papers: String,
    },
    /// Withdraw one of your lots from the round
    TakeBack {
        /// The round: its title, or words of it
        round: String,
        /// The lot's number, or the code on its tag
        lot: String,
    },
    /// List your wishes, the dearest first; the new list replaces the old one
    #[command(
        after_help = "A wish is a lot's number, or a cultivar and what of it; several with \"or\" between:\n  scionary round wish ROUND 12 \"7 or 9\" \"2 x Larkwater Gold scion wood\" 3,5,6\n3,5,6 are three wishes in that order. A cultivar alone means whatever is brought of it.\nNo one else sees your list."
    )]
    Wish {
        /// The round: its title, or words of it
        round: String,
        /// Your wishes, the dearest first
        #[arg(value_name = "WISH")]
        wishes: Vec<String>,
        /// Read your wishes from a file, one a line (- for standard input)
        #[arg(long, value_name = "FILE", conflicts_with = "wishes")]
        from: Option<PathBuf>,
        /// Remove all your wishes
        #[arg(long, conflicts_with_all = ["wishes", "from"])]
        none: bool,
    },
    /// Enter what many members bring and wish, from a spreadsheet (organisers)
    #[command(
        after_help = "Examples:\n  scionary round enter-list spring > swap.csv\n  scionary round enter-list spring swap.csv"
    )]
    EnterList {
        /// The round: its title, or words of it
        round: String,
        /// A CSV file, a line for each thing brought and each wish; left out, the columns are printed
        file: Option<PathBuf>,
    },
    /// Show your part: your lots, your wishes, what you get and why not more
    Mine {
        /// The round: its title, or words of it
        round: String,
        /// Give a reason for every single lot
        #[arg(long)]
        every_lot: bool,
    },
    /// Take packs that are left over, on the day
    Take {
        /// The round: its title, or words of it
        round: String,
        /// The lot's number, or the code on its tag
        lot: String,
        /// How many packs
        #[arg(long, default_value_t = 1, value_name = "COUNT", value_parser = clap::value_parser!(i32).range(1..=500))]
        packs: i32,
        /// For whom, if an organiser takes it for a member who stands there: their number or handle
        #[arg(long = "for", default_value = "", hide_default_value = true, value_name = "MEMBER")]
        member: String,
    },
    /// Create a round for a club (organisers)
    Create {
        /// The club: its name, or words of it
        club: String,
        /// The round's details and rules
        #[command(flatten)]
        says: Box<RoundArguments>,
    },
    /// Change a round that is not sealed; what you leave out stays (organisers)
    Change {
        /// The round: its title, or words of it
        round: String,
        /// What to change
        #[command(flatten)]
        parts: Box<RoundChanges>,
    },
    /// Call a round off; givers get their packs back (organisers)
    CallOff {
        /// The round: its title, or words of it
        round: String,
        /// Why; everyone who takes part sees it
        #[arg(long)]
        reason: String,
    },
    /// Note what an authority said about moving plants where no rule is on file (organisers)
    NoteAdvice {
        /// The round: its title, or words of it
        round: String,
        /// From: a state or country, such as Queensland or AU-QLD
        #[arg(long, value_name = "CODE")]
        from: String,
        /// To: a state or country, such as Queensland or AU-QLD
        #[arg(long, value_name = "CODE")]
        to: String,
        /// The office and person you asked, and the day
        #[arg(long)]
        asked: String,
        /// What they said
        #[arg(long)]
        said: String,
    },
    /// Preview the result of a round, also with other settings (organisers)
    DryRun {
        /// The round: its title, or words of it
        round: String,
        /// Other settings to compare with the round's own
        #[command(flatten)]
        tried: TriedArguments,
    },
    /// Seal a round: members can no longer change lots and wishes (organisers)
    Seal {
        /// The round: its title, or words of it
        round: String,
    },
    /// Open a sealed round again (organisers)
    Reopen {
        /// The round: its title, or words of it
        round: String,
    },
    /// Settle who gets what; on the day, settle again without absent members (organisers)
    Settle {
        /// The round: its title, or words of it
        round: String,
        /// Use only lots that were checked in
        #[arg(long)]
        only_checked_in: bool,
    },
    /// Write a file with which anyone can check a settlement (organisers)
    #[command(after_help = "Check it with any Python: deploy/verify-round FILE")]
    Audit {
        /// The round: its title, or words of it
        round: String,
        /// The file to write
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
        /// Number of the settlement; the last one if left out
        #[arg(long, default_value_t = 0, hide_default_value = true, value_name = "NUMBER")]
        run: i32,
    },
    /// Take a round along in one file, for a day without a connection (organisers)
    #[command(after_help = "In the shed: scionaryd day FILE. Afterwards: scionary round bring-home FILE")]
    TakeAlong {
        /// The round: its title, or words of it
        round: String,
        /// The file to write; named after the round if left out
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Bring home what was noted on a day without a connection (organisers)
    #[command(
        after_help = "Each step counts once, however often the file is brought home, and in however many copies."
    )]
    BringHome {
        /// The file that was taken along
        file: PathBuf,
    },
    /// Begin the day: members can hand lots over (organisers)
    Begin {
        /// The round: its title, or words of it
        round: String,
        /// Begin before the day of the round
        #[arg(long)]
        early: bool,
        /// Undo: it began by mistake, and nothing has changed hands
        #[arg(long, conflicts_with = "early")]
        undo: bool,
    },
    /// Check in lots that have arrived (organisers)
    CheckIn {
        /// The round: its title, or words of it
        round: String,
        /// The lots' numbers, or the codes on their tags
        #[arg(required = true, value_name = "LOT")]
        lots: Vec<String>,
        /// Undo: these lots have not arrived
        #[arg(long)]
        not_here: bool,
        /// How many packs came, if fewer than promised
        #[arg(long, value_name = "COUNT", conflicts_with = "not_here", value_parser = clap::value_parser!(i32).range(1..=500))]
        came: Option<i32>,
    },
    /// Enter a member of the club who walks in on the day (organisers)
    WalkIn {
        /// The round: its title, or words of it
        round: String,
        /// The members' handles
        #[arg(required = true, value_name = "MEMBER")]
        members: Vec<String>,
    },
    /// Show what was noted in a round, when and by whom (organisers)
    Log {
        /// The round: its title, or words of it
        round: String,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Mark members who did not come (organisers)
    Absent {
        /// The round: its title, or words of it
        round: String,
        /// The members' numbers or handles
        #[arg(required = true, value_name = "MEMBER")]
        members: Vec<String>,
        /// Undo: these members came
        #[arg(long)]
        came: bool,
    },
    /// Tick hand-overs off for both sides (organisers)
    #[command(
        after_help = "Without LOT and MEMBER, lines are read from standard input until its end (Ctrl-D), each a lot and a member, such as \"12 7\" or what a scanner reads from a label."
    )]
    HandOver {
        /// The round: its title, or words of it
        round: String,
        /// The lot's number, or the code on its tag
        #[arg(requires = "member")]
        lot: Option<String>,
        /// The member's number or handle
        member: Option<String>,
        /// Undo: this was ticked by mistake; both sides get a notice
        #[arg(long, requires = "member")]
        undo: bool,
    },
    /// List the members who take part (organisers)
    Members {
        /// The round: its title, or words of it
        round: String,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
        /// Write all of them to a CSV file
        #[arg(long, value_name = "FILE")]
        csv: Option<PathBuf>,
    },
    /// List what changes hands (organisers)
    Shares {
        /// The round: its title, or words of it
        round: String,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
        /// Write all of them to a CSV file
        #[arg(long, value_name = "FILE")]
        csv: Option<PathBuf>,
    },
    /// Print the day's sheets to a PDF: pick lists by table and member, and the post (organisers)
    Sheets {
        /// The round: its title, or words of it
        round: String,
        /// The file to write
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
    },
    /// Print a label to a PDF for each pack that changes hands (organisers)
    Labels {
        /// The round: its title, or words of it
        round: String,
        /// Only labels of this lot, such as one that was lost
        #[arg(long, value_name = "LOT")]
        lot: Option<String>,
        /// Only labels for this member: their number
        #[arg(long = "for", value_name = "NUMBER")]
        member: Option<i32>,
        /// The file to write
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
        /// How labels lie on the paper
        #[command(flatten)]
        layout: super::LayoutArguments,
    },
    /// Close a round; what is left over is on offer again (organisers)
    Close {
        /// The round: its title, or words of it
        round: String,
        /// Close it also while promises are not handed over; they can change hands later
        #[arg(long)]
        pending: bool,
    },
}

/// A new round's details and rules
#[derive(Debug, Args)]
pub struct RoundArguments {
    /// The round's name
    #[arg(long)]
    pub title: String,
    /// What members should know
    #[arg(long, default_value = "", hide_default_value = true)]
    pub about: String,
    /// The place to meet; members see it
    #[arg(long, default_value = "", hide_default_value = true)]
    pub place: String,
    /// The state or country you meet in, such as Queensland or AU-QLD
    #[arg(long, value_name = "CODE")]
    pub area: String,
    /// The day, such as 2027-07-31
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub day: v1::CalendarDate,
    /// Last day for lots and wishes; the day before the swap if left out
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// Most packs for one member
    #[arg(long, default_value_t = 8, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(1..=50))]
    pub most: i32,
    /// Packs a member may have to give beyond what they get
    #[arg(long, default_value_t = 1, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub slack: i32,
    /// Packs a first-time member may get beyond what they give
    #[arg(long, default_value_t = 1, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub newcomers: i32,
    /// Most packs of one cultivar for one member; 0 for no limit
    #[arg(long, default_value_t = 0, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub of_one_cultivar: i32,
    /// Share this many packs each evenly before first wishes count; if left out, share all evenly first
    #[arg(long, value_name = "PACK")]
    pub ranks_after: Option<i32>,
    /// Allow post
    #[arg(long)]
    pub post: bool,
}

/// Changes to a round
#[derive(Debug, Args)]
pub struct RoundChanges {
    /// The round's name
    #[arg(long)]
    pub title: Option<String>,
    /// What members should know
    #[arg(long)]
    pub about: Option<String>,
    /// The place to meet; members see it
    #[arg(long)]
    pub place: Option<String>,
    /// The state or country you meet in, such as Queensland or AU-QLD
    #[arg(long, value_name = "CODE")]
    pub area: Option<String>,
    /// The day, such as 2027-07-31
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub day: Option<v1::CalendarDate>,
    /// Last day for lots and wishes
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// The rules to change
    #[command(flatten)]
    pub settings: TriedArguments,
    /// Stop allowing post
    #[arg(long, conflicts_with = "post")]
    pub no_post: bool,
}

/// Rules of a round
#[derive(Debug, Args)]
pub struct TriedArguments {
    /// Most packs for one member
    #[arg(long, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(1..=50))]
    pub most: Option<i32>,
    /// Packs a member may have to give beyond what they get
    #[arg(long, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub slack: Option<i32>,
    /// Packs a first-time member may get beyond what they give
    #[arg(long, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub newcomers: Option<i32>,
    /// Most packs of one cultivar for one member; 0 for no limit
    #[arg(long, value_name = "PACKS", value_parser = clap::value_parser!(i32).range(0..=50))]
    pub of_one_cultivar: Option<i32>,
    /// Share this many packs each evenly before first wishes count
    #[arg(long, value_name = "PACK")]
    pub ranks_after: Option<i32>,
    /// Allow post
    #[arg(long)]
    pub post: bool,
}
