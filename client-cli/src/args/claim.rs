//! `scionary claim`. The `///` comments here are the help text.

use clap::Subcommand;

use super::Paging;

/// Ask for offers and hand over
#[derive(Debug, Subcommand)]
pub enum ClaimCommand {
    /// Ask for part of an offer
    #[command(
        after_help = "Examples:\n  scionary claim ask 12 --quantity 2\n  scionary claim ask 12 --to Queensland --contact \"0400 000 000, evenings\""
    )]
    Ask {
        /// The offer's number
        offer: String,
        /// How many or how much you want
        #[arg(long, default_value_t = 1, value_name = "COUNT")]
        quantity: i32,
        /// Where it goes, for the rules on moving plants, such as Queensland; your home if left out
        #[arg(long, value_name = "AREA")]
        to: Option<String>,
        /// How to reach you; the giver sees it when they accept; as you keep it if left out
        #[arg(long, value_name = "TEXT")]
        contact: Option<String>,
        /// A message to the giver
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// List your claims and the claims on your offers
    List {
        /// Only claims you made
        #[arg(long, conflicts_with = "on_mine")]
        made: bool,
        /// Only claims on your offers
        #[arg(long)]
        on_mine: bool,
        /// Include closed claims
        #[arg(long)]
        all: bool,
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a claim
    Show {
        /// The claim's number
        claim: String,
    },
    /// Promise what the taker asked for; both of you then see how to reach each other (the giver)
    Accept {
        /// The claim's number
        claim: String,
        /// How to reach you; the taker sees it now; as you keep it if left out
        #[arg(long, value_name = "TEXT")]
        contact: Option<String>,
        /// A message to the taker, such as when and where
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// Say no, or withdraw a promise (the giver)
    Decline {
        /// The claim's number
        claim: String,
        /// Why; the taker sees it
        #[arg(long, default_value = "", hide_default_value = true)]
        reason: String,
    },
    /// Withdraw your claim (the taker)
    Withdraw {
        /// The claim's number
        claim: String,
    },
    /// Confirm a hand-over; it is complete when both sides confirm
    HandedOver {
        /// The claim's number
        claim: String,
    },
    /// Say what went wrong with a hand-over; only organisers can read it
    Missed {
        /// The claim's number
        claim: String,
        /// What happened; empty text removes your words
        words: String,
    },
    /// List missed hand-overs (organisers)
    ListMissed {
        /// Which page to show
        #[command(flatten)]
        paging: Paging,
    },
}
