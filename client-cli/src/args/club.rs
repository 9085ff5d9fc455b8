//! `scionary club`. The `///` comments here are the help text.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::Paging;

/// Find, join and run clubs
#[derive(Debug, Subcommand)]
pub enum ClubCommand {
    /// Create a club; you become its organiser
    Create(ClubArguments),
    /// Change a club's details (organisers)
    Change {
        /// The club: its name, or words of it
        club: String,
        /// What to change; the rest stays
        #[command(flatten)]
        says: ClubChanges,
    },
    /// Find clubs by name
    Find {
        /// Part of the name
        #[arg(num_args = 0.., value_name = "NAME")]
        name: Vec<String>,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// List your clubs
    List,
    /// Show a club
    Show {
        /// The club: its name, or words of it
        club: String,
    },
    /// List a club's members
    Members {
        /// The club: its name, or words of it
        club: String,
        /// Show open requests and invitations (organisers)
        #[arg(long)]
        waiting: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Ask to join a club
    Join {
        /// The club: its name, or words of it
        club: String,
        /// A message to the organisers
        #[arg(long, default_value = "", hide_default_value = true)]
        words: String,
    },
    /// Accept an invitation
    Accept {
        /// The club: its name, or words of it
        club: String,
    },
    /// Decline an invitation
    Decline {
        /// The club: its name, or words of it
        club: String,
    },
    /// Leave a club, or withdraw your request to join
    Leave {
        /// The club: its name, or words of it
        club: String,
    },
    /// Let the organisers of a club act for you
    LetHelp {
        /// The club: its name, or words of it
        club: String,
        /// Stop them from acting for you
        #[arg(long)]
        stop: bool,
    },
    /// Invite someone (organisers)
    Invite {
        /// The club: its name, or words of it
        club: String,
        /// Their handle
        handle: String,
        /// A message to them
        #[arg(long, default_value = "", hide_default_value = true)]
        words: String,
    },
    /// Accept requests to join: of some people, or of all who wait (organisers)
    #[command(
        after_help = "Examples:\n  scionary club members Larkwater --waiting\n  scionary club let-in Larkwater --all"
    )]
    LetIn {
        /// The club
        club: String,
        /// Their handles
        #[arg(required_unless_present = "all")]
        members: Vec<String>,
        /// Everyone who waits
        #[arg(long, conflicts_with = "members")]
        all: bool,
        /// Refuse the requests instead
        #[arg(long)]
        refuse: bool,
    },
    /// Make a member an organiser (organisers)
    Organiser {
        /// The club: its name, or words of it
        club: String,
        /// Their handle
        account: String,
        /// Make an organiser a plain member again
        #[arg(long)]
        stop: bool,
    },
    /// Remove a member, or withdraw an invitation (organisers)
    Remove {
        /// The club: its name, or words of it
        club: String,
        /// Their handle
        account: String,
        /// Why; the member sees this
        #[arg(long)]
        reason: Option<String>,
    },
    /// Enter a member who has no computer, with their consent (organisers)
    #[command(after_help = "Then act for them: scionary --on-behalf-of ACCOUNT offer post --club CLUB ...")]
    EnterHelped {
        /// The club: its name, or words of it
        club: String,
        /// Their name
        name: String,
        /// How they agreed that organisers act for them: when, to whom
        #[arg(long)]
        consent: String,
    },
    /// Enter many members who have no computer, from a spreadsheet (organisers)
    #[command(
        after_help = "Examples:\n  scionary club enter-list Larkwater > members.csv\n  scionary club enter-list Larkwater members.csv"
    )]
    EnterList {
        /// The club: its name, or words of it
        club: String,
        /// A CSV file with the columns name and consent; left out, the columns are printed
        file: Option<PathBuf>,
    },
    /// Print a swap day's sheets to a PDF: who brings what, who takes what, pick list by table (organisers)
    Sheet {
        /// The club: its name, or words of it
        club: String,
        /// The file to write
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
    },
    /// Write everything about a club to a file, as lines of JSON (organisers)
    Export {
        /// The club: its name, or words of it
        club: String,
        /// The file to write
        out: PathBuf,
    },
    /// Close a club; everything about it is written to a file first (organisers)
    Close {
        /// The club: its name, or words of it
        club: String,
        /// The file to write
        #[arg(long, value_name = "FILE")]
        export_to: PathBuf,
    },
}

/// A club's details
#[derive(Debug, Args)]
pub struct ClubArguments {
    /// The club's name
    #[arg(long)]
    pub name: String,
    /// What the club is about
    #[arg(long, default_value = "", hide_default_value = true)]
    pub about: String,
    /// Where the club is: a state or country, such as Queensland or AU-QLD
    #[arg(long, default_value = "", hide_default_value = true, value_name = "CODE")]
    pub area: String,
    /// Let anyone ask to join
    #[arg(long)]
    pub takes_requests: bool,
}

/// Changes to a club's details
#[derive(Debug, Args)]
pub struct ClubChanges {
    /// The club's name
    #[arg(long)]
    pub name: Option<String>,
    /// What the club is about
    #[arg(long)]
    pub about: Option<String>,
    /// Where the club is: a state or country, such as Queensland or AU-QLD
    #[arg(long, value_name = "CODE")]
    pub area: Option<String>,
    /// Whether anyone may ask to join
    #[arg(long, num_args = 0..=1, default_missing_value = "true", value_name = "true|false")]
    pub takes_requests: Option<bool>,
}
