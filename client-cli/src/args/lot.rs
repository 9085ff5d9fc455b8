//! `scionary lot`, `alert` and `inbox`. The `///` comments here are the help text.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use scionary_proto::v1;

use super::Paging;
use crate::words;

/// Enter and trace lots
#[derive(Debug, Subcommand)]
pub enum LotCommand {
    /// Enter a mother plant or a lot; you get the code for its tag
    #[command(
        after_help = "Examples: scionary lot add mother-plant --cultivar NAME --source \"from a nursery\"\n          scionary lot add scion-wood --cut-from \"H7K M4Q C\" --quantity 6\n          scionary lot add grafted-plant --scion CODE --rootstock CODE"
    )]
    Add(Box<LotArguments>),
    /// List your lots
    List {
        /// Include lots of which nothing is left
        #[arg(long)]
        all: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a lot; of another member's lot you see what everyone may read
    Show {
        /// The code on its tag
        code: String,
    },
    /// Show what a lot descends from, as a tree
    Trace {
        /// The code on its tag
        code: String,
        /// Show what descends from the lot instead
        #[arg(long)]
        forward: bool,
        /// Write the graph to a file, in GraphML
        #[arg(long, value_name = "FILE")]
        graph: Option<PathBuf>,
    },
    /// Note that you grafted wood onto one of your plants
    Grafted {
        /// The code of the plant
        plant: String,
        /// The code of the wood's lot
        #[arg(long, value_name = "CODE")]
        with: String,
        /// The day; today if left out
        #[arg(long, value_name = "DAY", value_parser = crate::day::past)]
        on: Option<v1::CalendarDate>,
    },
    /// Note that you cut two of your plants with one blade without disinfecting it between
    Blade {
        /// The code of the plant you cut second
        plant: String,
        /// The code of the plant you cut first
        #[arg(long, value_name = "CODE")]
        after: String,
        /// The day; today if left out
        #[arg(long, value_name = "DAY", value_parser = crate::day::past)]
        on: Option<v1::CalendarDate>,
    },
    /// Enter a test that found nothing; if it found something, raise an alert
    Tested {
        /// The code on its tag
        code: String,
        /// The pest or disease you tested for
        #[arg(long)]
        pest: String,
        /// The method and who did the test
        #[arg(long)]
        method: String,
        /// The day the sample was taken; today if left out
        #[arg(long, value_name = "DAY", value_parser = crate::day::past)]
        sampled_on: Option<v1::CalendarDate>,
        /// Days for which an infection can stay hidden from this test
        #[arg(long, default_value_t = 0, value_name = "DAYS")]
        latency_days: i32,
    },
    /// Print labels with QR codes to a PDF
    #[command(
        after_help = "Examples: scionary lot label CODE CODE --out labels.pdf --size 70x37 --paper a4\n          scionary lot label CODE --out tag.pdf --size 62x29 --paper label"
    )]
    Label(Box<LabelArguments>),
    /// Say that nothing is left of a lot
    End {
        /// The code on its tag
        code: String,
        /// Why: used up, dead, thrown away
        #[arg(long)]
        why: String,
        /// The day; today if left out
        #[arg(long, value_name = "DAY", value_parser = crate::day::past)]
        on: Option<v1::CalendarDate>,
    },
}

/// The labels to print
#[derive(Debug, Args)]
pub struct LabelArguments {
    /// The codes on the tags
    #[arg(required = true, num_args = 1.., value_name = "CODE")]
    pub codes: Vec<String>,
    /// The file to write
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// How labels lie on the paper
    #[command(flatten)]
    pub layout: LayoutArguments,
    /// Copies of each label
    #[arg(long, default_value_t = 1, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=500))]
    pub copies: u16,
    /// Put this address before the code in the QR code, such as `https://swap.example/lot/`; only the code if left out
    #[arg(long, default_value = "", hide_default_value = true, value_name = "ADDRESS")]
    pub link: String,
}

/// How labels lie on the paper
#[derive(Debug, Args)]
pub struct LayoutArguments {
    /// Width and height of a label in millimetres
    #[arg(long, default_value = "70x37", value_name = "MM", value_parser = parse_size)]
    pub size: (f32, f32),
    /// The paper: a4, letter, label (one to a page), or width and height in millimetres
    #[arg(long, default_value = "a4", value_parser = parse_paper)]
    pub paper: PaperSize,
    /// Gaps between labels, across and down, in millimetres
    #[arg(long, default_value = "0x0", value_name = "MM", value_parser = parse_size)]
    pub gap: (f32, f32),
    /// Labels already used on the first sheet
    #[arg(long, default_value_t = 0, value_name = "COUNT")]
    pub skip: usize,
}

impl LayoutArguments {
    /// Returns the layout in the form that the printer of labels takes.
    pub(crate) fn layout(&self) -> crate::paper::Layout {
        let Self { size, paper, gap, skip } = *self;
        crate::paper::Layout { label: size, paper: paper.0, gap, skip }
    }
}

/// Width and height of the paper in millimetres; `None` prints one label to a page.
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

/// The lot to enter
#[derive(Debug, Args)]
pub struct LotArguments {
    /// The kind: mother-plant, scion-wood, budwood, seed, seedling, rootstock, grafted-plant or fruit-for-seed
    #[arg(value_parser = words::parse_lot_kind)]
    pub kind: v1::LotKind,
    /// The cultivar, as you heard its name; leave it out if another lot gives the name, or no one knows
    #[arg(long, value_name = "NAME", default_value = "", hide_default_value = true)]
    pub cultivar: String,
    /// The crop, if nothing else says it
    #[arg(long)]
    pub crop: Option<String>,
    /// These are seedlings of that cultivar, and no one knows what they are
    #[arg(long)]
    pub unknown_seedling: bool,
    /// How many or how much
    #[arg(long, default_value_t = 0, value_name = "COUNT", hide_default_value = true)]
    pub quantity: i32,
    /// The day you cut, sowed, grafted, planted or got it; today if left out
    #[arg(long, value_name = "DAY", value_parser = crate::day::past)]
    pub on: Option<v1::CalendarDate>,
    /// The code of the plant you cut it from
    #[arg(long, value_name = "CODE")]
    pub cut_from: Option<String>,
    /// The code of the plant whose seed or fruit it is
    #[arg(long, value_name = "CODE")]
    pub seed_from: Option<String>,
    /// The code of the seed you raised it from
    #[arg(long, value_name = "CODE")]
    pub raised_from: Option<String>,
    /// The code of the lot it is part of: divided, potted on, planted out
    #[arg(long, value_name = "CODE")]
    pub part_of: Option<String>,
    /// The code of the wood in a graft
    #[arg(long, value_name = "CODE")]
    pub scion: Vec<String>,
    /// The code of the plant you grafted onto
    #[arg(long, value_name = "CODE")]
    pub rootstock: Option<String>,
    /// Where it came from, in words, if no lot says so
    #[arg(long, default_value = "", hide_default_value = true)]
    pub source: String,
    /// A note that only you see
    #[arg(long, default_value = "", hide_default_value = true)]
    pub note: String,
}

/// Raise, read and decide alerts
#[derive(Debug, Subcommand)]
pub enum AlertCommand {
    /// Warn that one of your lots is sick, or is not the cultivar on its tag
    #[command(
        after_help = "Example: scionary alert raise \"H7K M4Q C\" health --words \"Shoots die back from the tip.\" --trace-back"
    )]
    Raise(Box<RaiseArguments>),
    /// List your alerts, or those you may decide
    List {
        /// List the alerts you may decide (curators, organisers, stewards)
        #[arg(long)]
        to_rule_on: bool,
        /// Include lifted alerts
        #[arg(long)]
        all: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Show an alert and which of your lots it reaches
    Show {
        /// The alert's number
        alert: String,
    },
    /// Confirm an alert; no one can offer what it reaches (curators, organisers, stewards)
    Confirm {
        /// The alert's number
        alert: String,
        /// What you saw or tested
        #[arg(long)]
        words: String,
        /// Also count the plants it may have come from; as the alert says if left out
        #[arg(long, num_args = 0..=1, default_missing_value = "true", value_name = "true|false")]
        trace_back: Option<bool>,
    },
    /// Dismiss a wrong alert; it disappears (curators, organisers, stewards)
    Dismiss {
        /// The alert's number
        alert: String,
        /// Why; the person who raised it sees this
        #[arg(long)]
        reason: String,
    },
    /// End a confirmed alert (curators, organisers, stewards)
    Lift {
        /// The alert's number
        alert: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Withdraw your alert before anyone confirms it
    Withdraw {
        /// The alert's number
        alert: String,
    },
    /// List everything an alert reaches, with holders and chains (curators, organisers, stewards)
    Recall {
        /// The alert's number
        alert: String,
        /// Write the list to a CSV file
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
}

/// The alert to raise
#[derive(Debug, Args)]
pub struct RaiseArguments {
    /// The code on the lot's tag
    pub code: String,
    /// The kind: health or identity
    #[arg(value_parser = words::parse_alert_kind)]
    pub kind: v1::AlertKind,
    /// What you saw
    #[arg(long)]
    pub words: String,
    /// The pest or disease, if you know it
    #[arg(long, default_value = "", hide_default_value = true)]
    pub pest: String,
    /// For a wrong name: top (above the graft) or root
    #[arg(long, value_parser = words::parse_part)]
    pub part: Option<v1::PlantPart>,
    /// How it spreads: graft, cutting, seed, tool; all of them if left out
    #[arg(long, value_name = "WAY", value_parser = words::parse_carrier)]
    pub carrier: Vec<v1::Carrier>,
    /// The earliest day it can have been sick, if you know it
    #[arg(long, value_name = "DAY", value_parser = crate::day::past)]
    pub since: Option<v1::CalendarDate>,
    /// The day you saw it; today if left out
    #[arg(long, value_name = "DAY", value_parser = crate::day::past)]
    pub seen_on: Option<v1::CalendarDate>,
    /// Also reach what it may have come from, and everything descended from that
    #[arg(long)]
    pub trace_back: bool,
}

/// Read your notices
#[derive(Debug, Subcommand)]
pub enum InboxCommand {
    /// List your notices
    List {
        /// Include notices you have read
        #[arg(long)]
        all: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Mark your notices as read
    Read {
        /// Mark notices up to this number; all if left out
        #[arg(long, value_name = "NUMBER")]
        up_to: Option<i64>,
    },
    /// Get notices by mail; the server mails you a code to confirm
    Mail {
        /// Your mail address; without one, show the address in use
        address: Option<String>,
    },
    /// Confirm your mail address with the code from the mail
    ConfirmMail {
        /// The code in the mail
        code: String,
    },
    /// Stop notices by mail and delete your address
    ForgetMail,
    /// Show notices as they arrive, until you stop it
    Watch {
        /// Start after this notice number
        #[arg(long, default_value_t = 0, value_name = "NUMBER", hide_default_value = true)]
        after: i64,
    },
}
