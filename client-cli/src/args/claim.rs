//! `scionary claim`. The `///` comments here are the help text.

use clap::Subcommand;

use super::Paging;

/// Ask for offers and hand over
#[derive(Debug, Subcommand)]
pub enum ClaimCommand {
    /// Ask for part of an offer
    #[command(
        after_help = "Example: scionary claim ask OFFER-ID --quantity 2 --to AU-QLD --contact \"0400 000 000, evenings\""
    )]
    Ask {
        /// The offer's id
        offer: String,
        /// How many or how much you want
        #[arg(long, default_value_t = 1, value_name = "COUNT")]
        quantity: i32,
        /// Where it goes, for the rules on moving plants: a country or state code such as AU-QLD (ISO 3166)
        #[arg(long, value_name = "CODE")]
        to: String,
        /// How to reach you; the giver sees it when they accept
        #[arg(long, value_name = "TEXT")]
        contact: String,
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
        /// The claim's id
        claim: String,
    },
    /// Promise what the taker asked for; both of you then see how to reach each other (the giver)
    Accept {
        /// The claim's id
        claim: String,
        /// How to reach you; the taker sees it now
        #[arg(long, value_name = "TEXT")]
        contact: String,
        /// A message to the taker, such as when and where
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// Say no, or withdraw a promise (the giver)
    Decline {
        /// The claim's id
        claim: String,
        /// Why; the taker sees it
        #[arg(long, default_value = "", hide_default_value = true)]
        reason: String,
    },
    /// Withdraw your claim (the taker)
    Withdraw {
        /// The claim's id
        claim: String,
    },
    /// Confirm a hand-over; it is complete when both sides confirm
    HandedOver {
        /// The claim's id
        claim: String,
    },
    /// Say what went wrong with a hand-over; only organisers can read it
    Missed {
        /// The claim's id
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
