//! Clubs.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::Paging;

/// Clubs.
#[derive(Debug, Subcommand)]
pub enum ClubCommand {
    /// Make a club; you arrange it
    Create(ClubArguments),
    /// Change what a club says of itself (organisers)
    Change {
        /// Its id
        club: String,
        /// What changes; the rest stays
        #[command(flatten)]
        says: ClubChanges,
    },
    /// Find clubs by name
    Find {
        /// Part of the name
        #[arg(num_args = 0.., value_name = "NAME")]
        name: Vec<String>,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// List your clubs
    List,
    /// Show a club
    Show {
        /// Its id
        club: String,
    },
    /// List those who belong to a club
    Members {
        /// Its id
        club: String,
        /// Those who asked to join, or are invited (organisers)
        #[arg(long)]
        waiting: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Ask to join a club
    Join {
        /// Its id
        club: String,
        /// Your words to its organisers
        #[arg(long, default_value = "", hide_default_value = true)]
        words: String,
    },
    /// Say yes to an invitation
    Accept {
        /// The club's id
        club: String,
    },
    /// Say no to an invitation
    Decline {
        /// The club's id
        club: String,
    },
    /// Leave a club, or take a request back
    Leave {
        /// Its id
        club: String,
    },
    /// Let the organisers of a club act for you
    LetHelp {
        /// Its id
        club: String,
        /// No longer
        #[arg(long)]
        stop: bool,
    },
    /// Invite someone (organisers)
    Invite {
        /// The club's id
        club: String,
        /// Their handle
        handle: String,
        /// Your words to them
        #[arg(long, default_value = "", hide_default_value = true)]
        words: String,
    },
    /// Let someone in who asked to join (organisers)
    LetIn {
        /// The club's id
        club: String,
        /// Their account's id
        account: String,
        /// Do not let them in
        #[arg(long)]
        refuse: bool,
    },
    /// Make a member an organiser (organisers)
    Organiser {
        /// The club's id
        club: String,
        /// Their account's id
        account: String,
        /// Make them a member again
        #[arg(long)]
        stop: bool,
    },
    /// Take a member out of a club, or an invitation back (organisers)
    Remove {
        /// The club's id
        club: String,
        /// Their account's id; of one who is invited, the handle
        account: String,
        /// Why: told to a member
        #[arg(long)]
        reason: Option<String>,
    },
    /// Enter a member who has no computer, with their consent (organisers)
    #[command(after_help = "Then act for them: scionary --on-behalf-of ACCOUNT offer post --club CLUB ...")]
    EnterHelped {
        /// The club's id
        club: String,
        /// Their name
        name: String,
        /// How they agreed that organisers act for them: when, to whom
        #[arg(long)]
        consent: String,
    },
    /// Print the sheets of a swap day to a PDF: who brings what, who takes what, the pick list by table (organisers)
    Sheet {
        /// The club's id
        club: String,
        /// The file
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
    },
    /// Write everything of a club to a file, as lines of JSON (organisers)
    Export {
        /// Its id
        club: String,
        /// The file
        out: PathBuf,
    },
    /// Close a club, after everything of it is written to a file (organisers)
    Close {
        /// Its id
        club: String,
        /// The file
        #[arg(long, value_name = "FILE")]
        export_to: PathBuf,
    },
}

/// What a club says of itself.
#[derive(Debug, Args)]
pub struct ClubArguments {
    /// Its name
    #[arg(long)]
    pub name: String,
    /// What it is about
    #[arg(long, default_value = "", hide_default_value = true)]
    pub about: String,
    /// Where: a country or subdivision such as AU-QLD (ISO 3166)
    #[arg(long, default_value = "", hide_default_value = true, value_name = "CODE")]
    pub area: String,
    /// Anyone may ask to join
    #[arg(long)]
    pub takes_requests: bool,
}

/// Parts of a club to be changed.
#[derive(Debug, Args)]
pub struct ClubChanges {
    /// Its name
    #[arg(long)]
    pub name: Option<String>,
    /// What it is about
    #[arg(long)]
    pub about: Option<String>,
    /// Where: a country or subdivision such as AU-QLD (ISO 3166)
    #[arg(long, value_name = "CODE")]
    pub area: Option<String>,
    /// Whether anyone may ask to join
    #[arg(long, num_args = 0..=1, default_missing_value = "true", value_name = "true|false")]
    pub takes_requests: Option<bool>,
}
