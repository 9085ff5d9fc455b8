//! Lots, alerts and the inbox.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Lots.
#[derive(Debug, Subcommand)]
pub enum LotCommand {
    /// Enter a mother plant or a lot; it gets the code for its tag
    #[command(
        after_help = "Examples: scionary lot add mother-plant --cultivar NAME --source \"from a nursery\"\n          scionary lot add scion-wood --cut-from \"H7K M4Q C\" --quantity 6\n          scionary lot add grafted-plant --scion CODE --rootstock CODE"
    )]
    Add(Box<LotArguments>),
    /// List your lots
    List {
        /// Those of which nothing is left, too
        #[arg(long)]
        all: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a lot: yours in full, of others what everyone may read
    Show {
        /// What its tag says
        code: String,
    },
    /// What a lot descends from, drawn as a tree
    Trace {
        /// What its tag says
        code: String,
        /// What descends from it instead
        #[arg(long)]
        forward: bool,
        /// Write the graph to a file, in GraphML
        #[arg(long, value_name = "FILE")]
        graph: Option<PathBuf>,
    },
    /// Note that wood was grafted onto a plant of yours that is there already
    Grafted {
        /// The plant
        plant: String,
        /// The lot of the wood
        #[arg(long, value_name = "CODE")]
        with: String,
        /// When; today if left out
        #[arg(long, value_name = "DAY", value_parser = words::parse_day)]
        on: Option<v1::CalendarDate>,
    },
    /// Note that a blade went from one plant of yours to another without being disinfected
    Blade {
        /// The plant that was cut second
        plant: String,
        /// The plant that was cut first
        #[arg(long, value_name = "CODE")]
        after: String,
        /// When; today if left out
        #[arg(long, value_name = "DAY", value_parser = words::parse_day)]
        on: Option<v1::CalendarDate>,
    },
    /// Enter a test that found nothing; one that found something is an alert
    Tested {
        /// What its tag says
        code: String,
        /// For what
        #[arg(long)]
        pest: String,
        /// The method and who did it
        #[arg(long)]
        method: String,
        /// When the sample was taken; today if left out
        #[arg(long, value_name = "DAY", value_parser = words::parse_day)]
        sampled_on: Option<v1::CalendarDate>,
        /// Days by which an infection can precede what such a test shows
        #[arg(long, default_value_t = 0, value_name = "DAYS")]
        latency_days: i32,
    },
    /// Print labels for tags to a PDF, with a QR code
    #[command(
        after_help = "Examples: scionary lot label CODE CODE --out labels.pdf --size 70x37 --paper a4\n          scionary lot label CODE --out tag.pdf --size 62x29 --paper label"
    )]
    Label(Box<LabelArguments>),
    /// Say that nothing is left of a lot
    End {
        /// What its tag says
        code: String,
        /// Why: used up, dead, thrown away
        #[arg(long)]
        why: String,
        /// When; today if left out
        #[arg(long, value_name = "DAY", value_parser = words::parse_day)]
        on: Option<v1::CalendarDate>,
    },
}

/// Labels to be printed.
#[derive(Debug, Args)]
pub struct LabelArguments {
    /// What the tags say
    #[arg(required = true, num_args = 1.., value_name = "CODE")]
    pub codes: Vec<String>,
    /// The file
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// How labels lie on paper
    #[command(flatten)]
    pub layout: LayoutArguments,
    /// Of each so many
    #[arg(long, default_value_t = 1, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=500))]
    pub copies: u16,
    /// Put this address before the code in the QR code, such as `https://swap.example/lot/`; the code alone if left out
    #[arg(long, default_value = "", hide_default_value = true, value_name = "ADDRESS")]
    pub link: String,
}

/// How labels lie on paper.
#[derive(Debug, Args)]
pub struct LayoutArguments {
    /// Width and height of a label, millimetres
    #[arg(long, default_value = "70x37", value_name = "MM", value_parser = parse_size)]
    pub size: (f32, f32),
    /// a4, letter, label (one to a page), or width and height in millimetres
    #[arg(long, default_value = "a4", value_parser = parse_paper)]
    pub paper: PaperSize,
    /// Between labels, across and down, millimetres
    #[arg(long, default_value = "0x0", value_name = "MM", value_parser = parse_size)]
    pub gap: (f32, f32),
    /// Labels of the first sheet that are used up
    #[arg(long, default_value_t = 0, value_name = "COUNT")]
    pub skip: usize,
}

impl LayoutArguments {
    /// As it is drawn.
    pub(crate) fn layout(&self) -> crate::paper::Layout {
        let Self { size, paper, gap, skip } = *self;
        crate::paper::Layout { label: size, paper: paper.0, gap, skip }
    }
}

/// Width and height of paper in millimetres; none for one label to a page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PaperSize(pub Option<(f32, f32)>);

fn parse_size(text: &str) -> Result<(f32, f32), String> {
    let parse = || {
        let (width, height) = text.split_once(['x', 'X', '×'])?;
        let pair: (f32, f32) = (width.trim().parse().ok()?, height.trim().parse().ok()?);
        let fits = |n: f32| (0.0..=2000.0).contains(&n);
        (fits(pair.0) && fits(pair.1)).then_some(pair)
    };
    parse().ok_or_else(|| "width and height in millimetres expected, such as 70x37".to_string())
}

fn parse_paper(text: &str) -> Result<PaperSize, String> {
    Ok(PaperSize(match text.trim().to_ascii_lowercase().as_str() {
        "label" => None,
        "a4" => Some((210.0, 297.0)),
        "letter" => Some((215.9, 279.4)),
        other => Some(parse_size(other).map_err(|e| format!("a4, letter, label, or {e}"))?),
    }))
}

/// A lot to be entered.
#[derive(Debug, Args)]
pub struct LotArguments {
    /// mother-plant, scion-wood, budwood, seed, seedling, rootstock, grafted-plant or fruit-for-seed
    #[arg(value_parser = words::parse_lot_kind)]
    pub kind: v1::LotKind,
    /// The cultivar: its name on file, or its id; left out where another lot gives the name, or no one knows
    #[arg(long, value_name = "NAME", default_value = "", hide_default_value = true)]
    pub cultivar: String,
    /// The crop, where nothing else says it
    #[arg(long)]
    pub crop: Option<String>,
    /// Seedlings of that cultivar of which no one knows what they are
    #[arg(long)]
    pub unknown_seedling: bool,
    /// How many or how much
    #[arg(long, default_value_t = 0, value_name = "COUNT", hide_default_value = true)]
    pub quantity: i32,
    /// When it was cut, sown, grafted, planted or got; today if left out
    #[arg(long, value_name = "DAY", value_parser = words::parse_day)]
    pub on: Option<v1::CalendarDate>,
    /// The plant that it was cut from
    #[arg(long, value_name = "CODE")]
    pub cut_from: Option<String>,
    /// The plant whose seed or fruit it is
    #[arg(long, value_name = "CODE")]
    pub seed_from: Option<String>,
    /// The seed that it was raised from
    #[arg(long, value_name = "CODE")]
    pub raised_from: Option<String>,
    /// The lot that it is a part of: divided, potted on, planted out
    #[arg(long, value_name = "CODE")]
    pub part_of: Option<String>,
    /// The wood of a graft
    #[arg(long, value_name = "CODE")]
    pub scion: Vec<String>,
    /// The plant that it was grafted onto
    #[arg(long, value_name = "CODE")]
    pub rootstock: Option<String>,
    /// Where it came from, in words, where no lot says it
    #[arg(long, default_value = "", hide_default_value = true)]
    pub source: String,
    /// Your own words; only you see them
    #[arg(long, default_value = "", hide_default_value = true)]
    pub note: String,
}

/// Alerts.
#[derive(Debug, Subcommand)]
pub enum AlertCommand {
    /// Say that a lot of yours is sick, or was never the cultivar that it is called
    #[command(
        after_help = "Example: scionary alert raise \"H7K M4Q C\" health --words \"Shoots die back from the tip.\" --trace-back"
    )]
    Raise(Box<RaiseArguments>),
    /// List your alerts, or those that you may rule on
    List {
        /// Those that you may rule on (curators, organisers, stewards)
        #[arg(long)]
        to_rule_on: bool,
        /// Those that were lifted, too
        #[arg(long)]
        all: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Show an alert, and which of your lots it reaches
    Show {
        /// Its id
        alert: String,
    },
    /// Bear an alert out: what it reaches is not offered (curators, organisers, stewards)
    Confirm {
        /// Its id
        alert: String,
        /// What was seen or tested
        #[arg(long)]
        words: String,
        /// Whether what it may have come from counts too; as the one who raised it said if left out
        #[arg(long, num_args = 0..=1, default_missing_value = "true", value_name = "true|false")]
        trace_back: Option<bool>,
    },
    /// Find that there was nothing: it goes as if it had never been (curators, organisers, stewards)
    Dismiss {
        /// Its id
        alert: String,
        /// Why: told to the one who raised it
        #[arg(long)]
        reason: String,
    },
    /// End a confirmed alert (curators, organisers, stewards)
    Lift {
        /// Its id
        alert: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Take your own alert back while no one has confirmed it
    Withdraw {
        /// Its id
        alert: String,
    },
    /// Everything that an alert reaches, with holders and chains (curators, organisers, stewards)
    Recall {
        /// Its id
        alert: String,
        /// Write it to a file, as CSV
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
}

/// An alert to be raised.
#[derive(Debug, Args)]
pub struct RaiseArguments {
    /// What the lot's tag says
    pub code: String,
    /// health or identity
    #[arg(value_parser = words::parse_alert_kind)]
    pub kind: v1::AlertKind,
    /// What you saw
    #[arg(long)]
    pub words: String,
    /// The pest or disease, where you know it
    #[arg(long, default_value = "", hide_default_value = true)]
    pub pest: String,
    /// For a name: top (what grows above the graft) or root
    #[arg(long, value_parser = words::parse_part)]
    pub part: Option<v1::PlantPart>,
    /// What carries it: graft, cutting, seed, tool; everything where no one knows
    #[arg(long, value_name = "WAY", value_parser = words::parse_carrier)]
    pub carrier: Vec<v1::Carrier>,
    /// Sick since when at the earliest, where that is known
    #[arg(long, value_name = "DAY", value_parser = words::parse_day)]
    pub since: Option<v1::CalendarDate>,
    /// When you saw it; today if left out
    #[arg(long, value_name = "DAY", value_parser = words::parse_day)]
    pub seen_on: Option<v1::CalendarDate>,
    /// Look for what it may have come from too, and for all that came of that
    #[arg(long)]
    pub trace_back: bool,
}

/// The inbox.
#[derive(Debug, Subcommand)]
pub enum InboxCommand {
    /// List what you were told
    List {
        /// What you have read, too
        #[arg(long)]
        all: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Mark what you were told as read
    Read {
        /// Up to this number; all of it if left out
        #[arg(long, value_name = "NUMBER")]
        up_to: Option<i64>,
    },
    /// Ask for notices by mail: a code comes to the address
    Mail {
        /// The address; where they go if left out
        address: Option<String>,
    },
    /// Confirm the address with the code that came there
    ConfirmMail {
        /// The code
        code: String,
    },
    /// End notices by mail, and have the address forgotten
    ForgetMail,
    /// Show what you are told as it comes, until you stop it
    Watch {
        /// What came after this number first
        #[arg(long, default_value_t = 0, value_name = "NUMBER", hide_default_value = true)]
        after: i64,
    },
}
