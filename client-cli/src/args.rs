//! What can be typed.

mod claim;
mod club;
mod cultivar;
mod curation;
mod dated;
mod evidence;
mod lot;
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
pub use movement::{CheckArguments, MovementCommand};
pub use plan::{OddsArguments, RoutesArguments, SeasonArguments, TypedShare};
pub use round::{RoundArguments, RoundChanges, RoundCommand, TriedArguments};
pub use want::{WantArguments, WantCommand};

use clap::{Args, Parser, Subcommand};
use scionary_proto::v1;

use crate::words;

const EXIT_CODES: &str = "Exit codes: 0 done, 1 refused by a rule, 2 typed wrongly or a field is wrong, 3 not signed in or not allowed, 4 not found, 5 server not reachable, 70 a bug.\nEnvironment: SCIONARY_SERVER, SCIONARY_TOKEN (a session for scripts), SCIONARY_CONFIG_DIR, NO_COLOR.";

/// Look up how a cultivar's seed behaves, and swap scions, seed and seedlings.
#[derive(Debug, Parser)]
#[command(name = "scionary", version, arg_required_else_help = true, after_help = EXIT_CODES)]
pub struct Arguments {
    /// Print replies as JSON
    #[arg(long, global = true, help_heading = "Options of every command")]
    pub json: bool,
    /// Show feet, pounds and Fahrenheit
    #[arg(long, global = true, help_heading = "Options of every command")]
    pub imperial: bool,
    /// Which server, for this command
    #[command(flatten)]
    pub connection: Connection,
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

/// Which server.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Options of every command")]
pub struct Connection {
    /// The server, for this command only
    #[arg(long, global = true, env = "SCIONARY_SERVER", value_name = "ADDRESS", hide_env_values = true)]
    pub server: Option<String>,
    /// A PEM file with the certificate authority to trust
    #[arg(long, global = true, value_name = "FILE")]
    pub ca: Option<PathBuf>,
    /// Go without TLS beyond this machine, although passwords travel in the clear then
    #[arg(long, global = true)]
    pub plaintext: bool,
    /// Act for a member of your club who agreed to it: their account's id (organisers)
    #[arg(long, global = true, value_name = "ACCOUNT")]
    pub on_behalf_of: Option<String>,
    /// Seconds to wait for an answer
    #[arg(long, global = true, default_value_t = 30, value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..=600))]
    pub timeout: u64,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Does the seed of a cultivar come true? What to do next, and what the answer rests on
    Lookup {
        /// The name as you heard it; near spellings are found
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// Only in this crop, such as mango
        #[arg(long)]
        crop: Option<String>,
        /// Show every piece of evidence and every source
        #[arg(long)]
        evidence: bool,
    },
    /// How many seeds to sow and seedlings to keep, and how likely they are true
    Odds(OddsArguments),
    /// The ways to a tree of a cultivar side by side: odds, years to fruit, work, cautions
    Routes(RoutesArguments),
    /// When cultivars are ripe, where the gaps are, and what on offer fills them
    Season(SeasonArguments),
    /// Dated plans: steps with their days, kept, ticked off, put into a calendar
    #[command(subcommand)]
    Plan(PlanCommand),
    /// Your grafting log, and how often grafts take
    #[command(subcommand)]
    Graft(GraftCommand),
    /// What rules on file say of moving plants, and whom to ask
    #[command(subcommand)]
    Movement(MovementCommand),
    /// Search and show cultivars
    #[command(subcommand)]
    Cultivar(CultivarCommand),
    /// Crops: what is observed on each, what is published about it
    #[command(subcommand)]
    Crop(CropCommand),
    /// Offers of scion wood, seed, seedlings and rootstock
    #[command(subcommand)]
    Offer(OfferCommand),
    /// Ask for offers; promise, decline, hand over
    #[command(subcommand)]
    Claim(ClaimCommand),
    /// What you seek: told in your inbox when it is on offer
    #[command(subcommand)]
    Want(WantCommand),
    /// Clubs: people who swap together
    #[command(subcommand)]
    Club(ClubCommand),
    /// Swap rounds: a club's day, planned so that everyone's wishes are met as fairly as can be
    #[command(subcommand)]
    Round(Box<RoundCommand>),
    /// Mother plants and lots: codes for tags, what descends from what
    #[command(subcommand)]
    Lot(LotCommand),
    /// Warnings of something sick or misnamed, and whom they reach
    #[command(subcommand)]
    Alert(AlertCommand),
    /// What you were told: claims, alerts, wants that are met
    #[command(subcommand)]
    Inbox(InboxCommand),
    /// What you and others observed: enter, check, correct, import
    #[command(subcommand)]
    Evidence(EvidenceCommand),
    /// Sowings that ask for their tallies
    #[command(subcommand)]
    Sowing(SowingCommand),
    /// Suggest a change to the registry
    #[command(subcommand)]
    Propose(Box<ProposeCommand>),
    /// Proposals made: look at them, rule on them
    #[command(subcommand)]
    Proposal(ProposalCommand),
    /// Complain about a record, evidence, an offer or a person
    #[command(subcommand)]
    Report(ReportCommand),
    /// Write the registry to a file in an open format
    Export(ExportArguments),
    /// Your account, invitations, roles
    #[command(subcommand)]
    Account(AccountCommand),
    /// Remember a server
    Connect {
        /// Such as `https://swap.example:50740`
        address: String,
    },
    /// What server this is, and whether you are signed in
    Status,
    /// Print a completion script for a shell
    Completions {
        /// bash, zsh, fish, elvish or powershell
        shell: clap_complete::Shell,
    },
    /// Write the manual pages to a folder
    Manual {
        /// The folder
        folder: PathBuf,
    },
}

/// Which page of a list.
#[derive(Debug, Clone, Default, Args)]
pub struct Paging {
    /// Rows a page, at most 100
    #[arg(long, default_value_t = 0, value_name = "ROWS", hide_default_value = true)]
    pub page_size: i32,
    /// The next page: the token that the page before gave
    #[arg(long, default_value = "", value_name = "TOKEN", hide_default_value = true)]
    pub page: String,
}

/// Crops.
#[derive(Debug, Subcommand)]
pub enum CropCommand {
    /// List the crops on file
    List,
    /// Show a crop's descriptors, timings, cautions and sources
    Show {
        /// Such as mango
        crop: String,
    },
}

/// Accounts.
#[derive(Debug, Subcommand)]
pub enum AccountCommand {
    /// Make an account
    SignUp {
        /// The name to sign in with
        handle: String,
        /// The name that others see
        #[arg(long)]
        name: Option<String>,
        /// The invitation, where the server asks for one
        #[arg(long)]
        code: Option<String>,
    },
    /// Sign in; the session is kept for later commands
    SignIn {
        /// The name to sign in with
        handle: String,
    },
    /// Sign out
    SignOut {
        /// On every machine
        #[arg(long)]
        everywhere: bool,
    },
    /// Who you are
    Whoami,
    /// Change your password; other sessions end
    Password,
    /// Make an invitation code
    Invite {
        /// A note for yourself, such as the guest's name
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// List your invitations
    Invitations {
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Take an invitation back
    Uninvite {
        /// The invitation's id
        invitation: String,
    },
    /// Give someone a role (stewards)
    Grant(RoleArguments),
    /// Take a role from someone (stewards)
    Revoke(RoleArguments),
    /// Say that someone is a person you know: their evidence counts by itself (organisers, stewards)
    Vouch(PersonArguments),
    /// Take your word for someone back (organisers, stewards)
    Unvouch(PersonArguments),
    /// Block someone: neither claims from the other, and what waits between you ends
    Block {
        /// Their account's id, as `scionary claim show` and `scionary offer show` tell it
        account: String,
    },
    /// Unblock someone
    Unblock {
        /// Their account's id
        account: String,
    },
    /// List whom you block
    Blocked,
    /// Suspend an account (stewards)
    Suspend(PersonArguments),
    /// Restore a suspended account (stewards)
    Restore(PersonArguments),
}

/// Someone.
#[derive(Debug, Args)]
pub struct PersonArguments {
    /// Their handle
    pub handle: String,
    /// Why; needed to suspend and to restore
    #[arg(long, default_value = "", hide_default_value = true)]
    pub reason: String,
}

/// A role of someone.
#[derive(Debug, Args)]
pub struct RoleArguments {
    /// Whose
    pub handle: String,
    /// curator, organiser or steward
    #[arg(value_parser = words::parse_role)]
    pub role: v1::Role,
    /// The crop that a curator looks after
    #[arg(long, default_value = "", hide_default_value = true)]
    pub crop: String,
}

/// Offers.
#[derive(Debug, Subcommand)]
pub enum OfferCommand {
    /// Post an offer; what is missing is asked for on a terminal
    Post(Box<DraftArguments>),
    /// Find open offers
    Search(Box<SearchArguments>),
    /// List your own offers
    List {
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Show an offer
    Show {
        /// Its id
        offer: String,
        /// Tell what is on file on moving it to a country or subdivision such as AU-QLD (ISO 3166)
        #[arg(long, value_name = "CODE", default_value = "", hide_default_value = true)]
        to: String,
    },
    /// Change the named parts of an own offer
    Change {
        /// Its id
        offer: String,
        /// The version that you looked at; the newest if left out
        #[arg(long)]
        version: Option<i64>,
        /// What to change
        #[command(flatten)]
        draft: Box<DraftArguments>,
    },
    /// Take an own offer back
    Withdraw {
        /// Its id
        offer: String,
        /// The version that you looked at; the newest if left out
        #[arg(long)]
        version: Option<i64>,
    },
}

/// What to search for.
#[derive(Debug, Clone, Args)]
pub struct SearchArguments {
    /// A cultivar's name as you heard it
    #[arg(value_name = "NAME")]
    pub name: Vec<String>,
    /// Only of this crop
    #[arg(long)]
    pub crop: Option<String>,
    /// Only these materials; several with commas
    #[arg(long, value_delimiter = ',', value_parser = words::parse_material)]
    pub material: Vec<v1::Material>,
    /// Near this place: a grid code, or latitude,longitude
    #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
    pub near: Option<String>,
    /// Within so many kilometres
    #[arg(long, value_name = "KM", requires = "near")]
    pub within: Option<i32>,
    /// Can be had on or after this day
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub from: Option<v1::CalendarDate>,
    /// Can be had on or before this day
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// Words in the giver's note
    #[arg(long)]
    pub text: Option<String>,
    /// Only these terms; several with commas
    #[arg(long, value_delimiter = ',', value_parser = words::parse_terms)]
    pub terms: Vec<v1::Terms>,
    /// Only these ways of handing over; several with commas
    #[arg(long, value_delimiter = ',', value_parser = words::parse_hand_over)]
    pub by: Vec<v1::HandOver>,
    /// Tell what is on file on moving each to a country or subdivision such as AU-QLD (ISO 3166)
    #[arg(long, value_name = "CODE", default_value = "", hide_default_value = true)]
    pub to: String,
    /// Newest first, although a place is given
    #[arg(long)]
    pub newest: bool,
    /// Which page
    #[command(flatten)]
    pub paging: Paging,
}
