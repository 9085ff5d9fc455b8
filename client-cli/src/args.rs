//! The command line: global options and top-level commands. The `///` comments here are the help text.

mod claim;
mod club;
mod cultivar;
mod curation;
mod dated;
mod evidence;
mod lot;
mod me;
mod missing;
mod movement;
mod plan;
mod round;
mod want;

use std::path::PathBuf;

pub use crate::draft::{DraftArguments, Seen};
pub use claim::ClaimCommand;
pub use club::{ClubArguments, ClubChanges, ClubCommand};
pub use cultivar::{CultivarCommand, LockArguments, ProtectArguments};
pub use curation::{
    ExportArguments, ExportKind, Grounds, Naming, ProposalCommand, ProposeCommand, ReportCommand, Target,
};
pub use dated::{GraftCommand, Hemisphere, PlanArguments, PlanCommand};
pub use evidence::{EvidenceCommand, ObservedArguments, SowingCommand};
pub use lot::{
    AlertCommand, InboxCommand, LabelArguments, LayoutArguments, LotArguments, LotCommand, PaperSize,
    RaiseArguments,
};
pub use me::{Kept, MeArguments, Units};
pub use missing::{CountArguments, KeptArguments, PartnersArguments};
pub use movement::{CheckArguments, MovementCommand};
pub use plan::{OddsArguments, RoutesArguments, SeasonArguments, TypedShare};
pub use round::{RoundArguments, RoundChanges, RoundCommand, TriedArguments};
pub use want::{WantArguments, WantCommand};

use clap::{Args, Parser, Subcommand};
use scionary_proto::v1;

use crate::words;

const EXIT_CODES: &str = "Exit codes: 0 done, 1 refused by a rule, 2 typed wrongly or a field is wrong, 3 not signed in or not allowed, 4 not found, 5 server not reachable, 70 a bug.\nEnvironment: SCIONARY_SERVER, SCIONARY_TOKEN (a session for scripts), SCIONARY_CONFIG_DIR, PAGER, NO_COLOR.";

/// Look up whether a cultivar's seed comes true, and swap scions, seed and seedlings
#[derive(Debug, Parser)]
#[command(name = "scionary", version, after_help = EXIT_CODES)]
pub struct Arguments {
    /// Print replies as JSON
    #[arg(long, global = true, help_heading = "Options of every command")]
    pub json: bool,
    /// Show feet, pounds and Fahrenheit
    #[arg(long, global = true, help_heading = "Options of every command")]
    pub imperial: bool,
    /// How to reach the server, for this command only
    #[command(flatten)]
    pub connection: Connection,
    /// The command to run; without one, the client shows what you can do
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// How to reach the server
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Options of every command")]
pub struct Connection {
    /// The server to use, for this command only
    #[arg(long, global = true, env = "SCIONARY_SERVER", value_name = "ADDRESS", hide_env_values = true)]
    pub server: Option<String>,
    /// PEM file with the certificate authority you trust
    #[arg(long, global = true, value_name = "FILE")]
    pub ca: Option<PathBuf>,
    /// Connect to another machine without TLS; your password is then sent in the clear
    #[arg(long, global = true)]
    pub plaintext: bool,
    /// Act for a club member who agreed to it: their handle (organisers)
    #[arg(long, global = true, value_name = "ACCOUNT")]
    pub on_behalf_of: Option<String>,
    /// Seconds to wait for an answer
    #[arg(long, global = true, default_value_t = 30, value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..=600))]
    pub timeout: u64,
}

/// The top-level commands
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Find out whether a cultivar's seed comes true, and what to do next
    Lookup {
        /// The name as you heard it; close spellings are found too
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// Search only this crop, such as mango
        #[arg(long)]
        crop: Option<String>,
        /// Show how sure each part is, all advice and all cautions
        #[arg(long)]
        more: bool,
        /// Show every piece of evidence and every source
        #[arg(long)]
        evidence: bool,
    },
    /// See and set what the client remembers of you: home, contact, units
    Me(MeArguments),
    /// Work out how many seeds to sow and seedlings to keep, and how likely they are true
    Odds(OddsArguments),
    /// Compare the ways to get a tree: odds, years to fruit, work, cautions
    Routes(RoutesArguments),
    /// See when cultivars are ripe, where the gaps are, and which offers fill them
    Season(SeasonArguments),
    /// See what may help a cultivar to set fruit: flower types, partners
    Partners(PartnersArguments),
    /// See which seedlings to judge next: where one count would teach most
    CountNext(CountArguments),
    /// See how many members still keep a cultivar, and what may be lost
    Kept(KeptArguments),
    /// Make a dated plan, tick its steps off, put it into your calendar
    #[command(subcommand)]
    Plan(PlanCommand),
    /// Keep a grafting log, and see how often grafts take
    #[command(subcommand)]
    Graft(GraftCommand),
    /// See which rules on file apply to moving plants, and whom to ask
    #[command(subcommand)]
    Movement(MovementCommand),
    /// Search and show cultivars
    #[command(subcommand)]
    Cultivar(CultivarCommand),
    /// Show crops: the traits to observe and what is published
    #[command(subcommand)]
    Crop(CropCommand),
    /// Post and find offers of scion wood, seed, seedlings and rootstock
    #[command(subcommand)]
    Offer(OfferCommand),
    /// Ask for an offer; promise, decline and confirm hand-overs
    #[command(subcommand)]
    Claim(ClaimCommand),
    /// Say what you look for; your inbox shows matching offers
    #[command(subcommand)]
    Want(WantCommand),
    /// Find, join and run clubs: groups of people who swap
    #[command(subcommand)]
    Club(ClubCommand),
    /// Take part in a swap round: a club's planned swap day
    #[command(subcommand)]
    Round(Box<RoundCommand>),
    /// Enter mother plants and lots, label them, trace their descent
    #[command(subcommand)]
    Lot(LotCommand),
    /// Warn holders of plants that are sick or wrongly named
    #[command(subcommand)]
    Alert(AlertCommand),
    /// Read your notices: claims, alerts, wants that were met
    #[command(subcommand)]
    Inbox(InboxCommand),
    /// Enter, check, correct and import what growers observed
    #[command(subcommand)]
    Evidence(EvidenceCommand),
    /// Enter sowings; each asks for its counts when they are due
    #[command(subcommand)]
    Sowing(SowingCommand),
    /// Propose a change to the registry
    #[command(subcommand)]
    Propose(Box<ProposeCommand>),
    /// Show proposals, and accept or refuse them
    #[command(subcommand)]
    Proposal(ProposalCommand),
    /// Complain about a record, evidence, an offer or a person
    #[command(subcommand)]
    Report(ReportCommand),
    /// Write the registry to a file in an open format
    Export(ExportArguments),
    /// See what waits for you to decide: alerts, complaints, proposals (curators, stewards)
    Waiting,
    /// Manage your account, invitations and roles
    #[command(subcommand)]
    Account(AccountCommand),
    /// Save the address of your server
    Connect {
        /// The address, such as `https://swap.example:50740`
        address: String,
    },
    /// Show which server you use and whether you are signed in
    Status,
    /// Print a completion script for your shell
    Completions {
        /// Your shell: bash, zsh, fish, elvish or powershell
        shell: clap_complete::Shell,
    },
    /// Write the manual pages to a folder
    Manual {
        /// The folder to write to
        folder: PathBuf,
    },
}

/// Which page of a list to show
#[derive(Debug, Clone, Default, Args)]
pub struct Paging {
    /// Rows on a page, at most 100
    #[arg(long, default_value_t = 0, value_name = "ROWS", hide_default_value = true)]
    pub page_size: i32,
    /// Show another page: its number, or a token from JSON
    #[arg(long, default_value = "", value_name = "PAGE", hide_default_value = true)]
    pub page: String,
}

/// Show crops
#[derive(Debug, Subcommand)]
pub enum CropCommand {
    /// List the crops on file
    List,
    /// Show a crop's traits, timings, cautions and sources
    Show {
        /// The crop, such as mango
        crop: String,
        /// Show what growers observe and every citation too
        #[arg(long)]
        more: bool,
    },
}

/// Manage your account
#[derive(Debug, Subcommand)]
pub enum AccountCommand {
    /// Create an account
    SignUp {
        /// The name you will sign in with
        handle: String,
        /// The name that others see
        #[arg(long)]
        name: Option<String>,
        /// Your invitation code, if the server asks for one
        #[arg(long)]
        code: Option<String>,
    },
    /// Sign in; later commands use this session
    SignIn {
        /// The name you sign in with
        handle: String,
    },
    /// Sign out
    SignOut {
        /// Sign out on every machine
        #[arg(long)]
        everywhere: bool,
    },
    /// Show who you are signed in as
    Whoami,
    /// Change your password; your other sessions end
    Password,
    /// Create an invitation code
    Invite {
        /// A note for yourself, such as the guest's name
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// List your invitations
    Invitations {
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Withdraw an invitation
    Uninvite {
        /// The invitation's number
        invitation: String,
    },
    /// Give someone a role (stewards)
    Grant(RoleArguments),
    /// Remove a role from someone (stewards)
    Revoke(RoleArguments),
    /// Vouch that you know someone: their evidence then counts by itself (organisers, stewards)
    Vouch(PersonArguments),
    /// Stop vouching for someone (organisers, stewards)
    Unvouch(PersonArguments),
    /// Block someone: neither of you can claim from the other; open claims between you end
    Block {
        /// Their handle, or the number that `scionary claim show` or `scionary offer show` prints
        account: String,
    },
    /// Unblock someone
    Unblock {
        /// Their handle
        account: String,
    },
    /// List the people you block
    Blocked,
    /// Suspend an account (stewards)
    Suspend(PersonArguments),
    /// Restore a suspended account (stewards)
    Restore(PersonArguments),
}

/// A person, and why
#[derive(Debug, Args)]
pub struct PersonArguments {
    /// Their handle
    pub handle: String,
    /// Why; required to suspend or restore
    #[arg(long, default_value = "", hide_default_value = true)]
    pub reason: String,
}

/// A person and a role
#[derive(Debug, Args)]
pub struct RoleArguments {
    /// Their handle
    pub handle: String,
    /// The role: curator, organiser or steward
    #[arg(value_parser = words::parse_role)]
    pub role: v1::Role,
    /// The crop that a curator looks after
    #[arg(long, default_value = "", hide_default_value = true)]
    pub crop: String,
}

/// Post, find and change offers
#[derive(Debug, Subcommand)]
pub enum OfferCommand {
    /// Post an offer; on a terminal you are asked for what is missing
    Post(Box<DraftArguments>),
    /// Find open offers
    Search(Box<SearchArguments>),
    /// List your offers
    List {
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Show an offer
    Show {
        /// The offer's number
        offer: String,
        /// Show rules on file for moving it here: a state or country, such as Queensland or AU-QLD
        #[arg(long, value_name = "CODE", default_value = "", hide_default_value = true)]
        to: String,
    },
    /// Change one of your offers; what you leave out stays
    Change {
        /// The offer's number
        offer: String,
        /// The version you saw; the newest if left out
        #[arg(long)]
        version: Option<i64>,
        /// What to change
        #[command(flatten)]
        draft: Box<DraftArguments>,
    },
    /// Withdraw one of your offers
    Withdraw {
        /// The offer's number
        offer: String,
        /// The version you saw; the newest if left out
        #[arg(long)]
        version: Option<i64>,
    },
}

/// What to search for
#[derive(Debug, Clone, Args)]
pub struct SearchArguments {
    /// The cultivar's name as you heard it
    #[arg(value_name = "NAME")]
    pub name: Vec<String>,
    /// Only this crop
    #[arg(long)]
    pub crop: Option<String>,
    /// Only these materials, separated by commas
    #[arg(long, value_delimiter = ',', value_parser = words::parse_material)]
    pub material: Vec<v1::Material>,
    /// Near this place: a town, or latitude,longitude
    #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
    pub near: Option<String>,
    /// At most this many kilometres away
    #[arg(long, value_name = "KM")]
    pub within: Option<i32>,
    /// Anywhere, not only near your home
    #[arg(long, conflicts_with_all = ["near", "within"])]
    pub anywhere: bool,
    /// Available on or after this day
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub from: Option<v1::CalendarDate>,
    /// Available on or before this day
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// Words in the giver's note
    #[arg(long)]
    pub text: Option<String>,
    /// Only these terms, separated by commas
    #[arg(long, value_delimiter = ',', value_parser = words::parse_terms)]
    pub terms: Vec<v1::Terms>,
    /// Only these ways to hand over, separated by commas
    #[arg(long, value_delimiter = ',', value_parser = words::parse_hand_over)]
    pub by: Vec<v1::HandOver>,
    /// Show rules on file for moving each offer here: a state or country, such as Queensland or AU-QLD
    #[arg(long, value_name = "CODE", default_value = "", hide_default_value = true)]
    pub to: String,
    /// Newest first, even with --near
    #[arg(long)]
    pub newest: bool,
    /// Which page to show
    #[command(flatten)]
    pub paging: Paging,
}
