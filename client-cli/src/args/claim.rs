//! Claims.

use clap::Subcommand;

use super::Paging;

/// Claims.
#[derive(Debug, Subcommand)]
pub enum ClaimCommand {
    /// Ask for part of an offer
    #[command(
        after_help = "Example: scionary claim ask OFFER-ID --quantity 2 --to AU-QLD --contact \"0400 000 000, evenings\""
    )]
    Ask {
        /// The offer's id
        offer: String,
        /// How much
        #[arg(long, default_value_t = 1, value_name = "COUNT")]
        quantity: i32,
        /// Where it goes: a country or subdivision such as AU-QLD (ISO 3166), for the rules on moving plants
        #[arg(long, value_name = "CODE")]
        to: String,
        /// How you can be reached: the giver sees it once they accept
        #[arg(long, value_name = "TEXT")]
        contact: String,
        /// Your words to the giver
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// List your claims, and those on your offers
    List {
        /// Only those that you made
        #[arg(long, conflicts_with = "on_mine")]
        made: bool,
        /// Only those on your offers
        #[arg(long)]
        on_mine: bool,
        /// Closed ones too
        #[arg(long)]
        all: bool,
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
    /// Show a claim
    Show {
        /// Its id
        claim: String,
    },
    /// Promise what was asked for; both sides then see how to reach each other (the giver)
    Accept {
        /// The claim's id
        claim: String,
        /// How you can be reached: the taker sees it now
        #[arg(long, value_name = "TEXT")]
        contact: String,
        /// Your words to the taker, such as when and where
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// Say no, or take a promise back (the giver)
    Decline {
        /// The claim's id
        claim: String,
        /// Why; the taker sees it
        #[arg(long, default_value = "", hide_default_value = true)]
        reason: String,
    },
    /// Take your claim back (the taker)
    Withdraw {
        /// The claim's id
        claim: String,
    },
    /// Say that it changed hands; with both words it is handed over
    HandedOver {
        /// The claim's id
        claim: String,
    },
    /// Say what went wrong with a hand-over; organisers alone can read it
    Missed {
        /// The claim's id
        claim: String,
        /// What happened; empty takes the words away
        words: String,
    },
    /// Hand-overs that were missed (organisers)
    ListMissed {
        /// Which page
        #[command(flatten)]
        paging: Paging,
    },
}
