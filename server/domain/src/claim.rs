//! Claims on part of an offer: request, acceptance, hand-over. This module defines what a claim is and who
//! may do what next. The store keeps the promised total within the offered quantity, in one statement.

use serde::{Deserialize, Serialize};

use crate::{
    field::{FieldError, Fields},
    ids::{AccountId, ClaimId, OfferId, RoundId, RoundLotId},
    limits,
    movement::{Answer, Verdict},
    offer::Contents,
    place::AreaCode,
    time::{Date, Timestamp},
};

crate::offer::words! {
    /// State of a claim.
    State {
        /// The taker has claimed; the giver has not accepted, or nothing is left for now.
        Waiting = "waiting",
        /// The giver accepted; the quantity is promised to the taker.
        Accepted = "accepted",
        /// Both sides confirmed the hand-over.
        HandedOver = "handed_over",
        /// The giver declined, or withdrew the promise.
        Declined = "declined",
        /// The taker withdrew it.
        Withdrawn = "withdrawn",
        /// It ended because nothing happened for too long.
        Lapsed = "lapsed",
    }
}

impl State {
    /// Returns whether the claim can still lead to a hand-over.
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Waiting | Self::Accepted)
    }
    /// Returns whether the claim's quantity is promised or handed over.
    pub const fn holds(self) -> bool {
        matches!(self, Self::Accepted | Self::HandedOver)
    }
}

/// One of the two sides of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The account that gives.
    Giver,
    /// The account that takes.
    Taker,
}

/// Snapshot of the movement rules' answer that the taker saw.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shown {
    /// The rules' verdict on the movement.
    pub verdict: Verdict,
    /// The verdict in words.
    pub headline: String,
    /// Labels of the deciding rules, each with its version.
    pub rules: Vec<String>,
    /// Day of the answer.
    pub on: Date,
}

impl Shown {
    /// Takes the snapshot of an answer on a day.
    pub fn of(answer: &Answer, on: Date) -> Self {
        Self {
            verdict: answer.verdict,
            headline: answer.headline(),
            rules: answer.lead.iter().map(|a| a.rule.label()).collect(),
            on,
        }
    }
}

/// A stored claim.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    /// Unique id of the claim.
    pub id: ClaimId,
    /// The offer that it claims part of.
    pub offer: OfferId,
    /// The account that gives.
    pub giver: AccountId,
    /// The account that takes.
    pub taker: AccountId,
    /// Quantity, in the offer's unit.
    pub quantity: i32,
    /// Area that the plants go to.
    pub to: AreaCode,
    /// The taker's message to the giver.
    pub note: String,
    /// The taker's contact; the giver sees it after acceptance.
    pub taker_contact: String,
    /// The giver's contact; the taker sees it after acceptance.
    pub giver_contact: String,
    /// The giver's message on accepting or declining.
    pub answer: String,
    /// Snapshot of the movement rules' answer.
    pub movement: Shown,
    /// Current state.
    pub state: State,
    /// When the taker claimed; it sets the order of the waiting list.
    pub asked_at: Timestamp,
    /// When the claim lapses if nothing happens.
    pub lapses_at: Timestamp,
    /// When the giver confirmed the hand-over.
    pub given_at: Option<Timestamp>,
    /// When the taker confirmed the hand-over.
    pub taken_at: Option<Timestamp>,
    /// The giver's words on a missed hand-over, for organisers.
    pub giver_missed: String,
    /// The taker's words on a missed hand-over, for organisers.
    pub taker_missed: String,
    /// The organiser who entered the claim for the taker; `None` when the taker did.
    pub entered_by: Option<AccountId>,
    /// Details of the swap round that the claim comes from; `None` outside rounds.
    pub in_round: Option<InRound>,
    /// Increases by one with each change, for optimistic locking.
    pub version: i64,
}

/// Where a claim from a swap round belongs in that round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct InRound {
    /// The swap round.
    pub round: RoundId,
    /// The lot in the round.
    pub lot: RoundLotId,
    /// Units of the round; 0 once the claim failed and the units went back to the round.
    pub units: u32,
    /// The lot is a gift: its units do not count toward the giver's balance.
    pub gift: bool,
}

impl Claim {
    /// Returns the side that the account is on, or `None` for other accounts.
    pub fn side(&self, account: AccountId) -> Option<Side> {
        if account == self.giver { Some(Side::Giver) } else { (account == self.taker).then_some(Side::Taker) }
    }
    /// Returns the other side's contact while the claim is accepted or handed over; otherwise an empty
    /// string.
    pub fn contact_for(&self, side: Side) -> &str {
        match (self.state.holds(), side) {
            (true, Side::Giver) => &self.taker_contact,
            (true, Side::Taker) => &self.giver_contact,
            (false, _) => "",
        }
    }
}

/// A taker's request, unchecked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Asked {
    /// Quantity in the offer's unit, 1 to the quantity offered.
    pub quantity: i32,
    /// Area that the plants go to: an ISO 3166 code.
    pub to: String,
    /// Message to the giver.
    pub note: String,
    /// The taker's contact.
    pub contact: String,
}

/// Checks a taker's request against an offer.
///
/// # Errors
/// Returns every wrong field.
pub fn check(asked: &Asked, contents: &Contents) -> Result<(i32, AreaCode, String, String), Vec<FieldError>> {
    let mut fields = Fields::new();
    if asked.quantity < 1 || asked.quantity > contents.quantity {
        fields.wrong(
            "quantity",
            format!("1 to {} {} expected, {} found", contents.quantity, contents.unit.word(), asked.quantity),
        );
    }
    let to = fields.take("to_area_code", AreaCode::parse(&asked.to));
    let note = fields.text("note", &asked.note, 0, limits::CLAIM_NOTE_CHARS_MAX);
    let contact = fields.line("contact", &asked.contact, 3, limits::CONTACT_CHARS_MAX);
    let whole = || Some((asked.quantity, to?, note?, contact?));
    let whole = whole();
    fields.finish(whole)
}

/// Returns why the movement rules bar a claim, or `None` where no rule prohibits the movement.
pub fn bars(answer: &Answer) -> Option<String> {
    (answer.verdict == Verdict::Prohibited).then(|| {
        let rules: Vec<String> =
            answer.lead.iter().map(|a| format!("{} ({})", a.rule.citation, a.rule.authority)).collect();
        format!("{}: {}", answer.headline(), rules.join("; "))
    })
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    #[test]
    fn contacts_are_for_the_other_side_and_after_acceptance() {
        let id = |n| AccountId::from_uuid(Uuid::from_u128(n));
        let claim = |state| Claim {
            id: ClaimId::from_uuid(Uuid::from_u128(9)),
            offer: OfferId::from_uuid(Uuid::from_u128(8)),
            giver: id(1),
            taker: id(2),
            quantity: 1,
            to: AreaCode::parse("AU-QLD").unwrap(),
            note: String::new(),
            taker_contact: "taker".into(),
            giver_contact: "giver".into(),
            answer: String::new(),
            movement: Shown {
                verdict: Verdict::NoRule,
                headline: String::new(),
                rules: Vec::new(),
                on: Date::from_days(0),
            },
            state,
            asked_at: Timestamp::from_micros(0),
            lapses_at: Timestamp::from_micros(0),
            given_at: None,
            taken_at: None,
            giver_missed: String::new(),
            taker_missed: String::new(),
            entered_by: None,
            in_round: None,
            version: 1,
        };
        for state in State::ALL {
            let claim = claim(*state);
            let shown = state.holds();
            assert_eq!(claim.contact_for(Side::Giver), if shown { "taker" } else { "" }, "{state:?}");
            assert_eq!(claim.contact_for(Side::Taker), if shown { "giver" } else { "" }, "{state:?}");
        }
        assert_eq!(claim(State::Waiting).side(id(3)), None);
    }
}
