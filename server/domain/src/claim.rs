//! Claims: asking for part of an offer, acceptance, hand-over. What is promised never exceeds what is offered; that is
//! kept by the store in one statement. Here is what a claim is and who may do what next.

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
    /// Where a claim stands.
    State {
        /// Asked for; the giver has not said yes, or nothing is left for now.
        Waiting = "waiting",
        /// Promised.
        Accepted = "accepted",
        /// Both sides say that it changed hands.
        HandedOver = "handed_over",
        /// The giver said no, or took the promise back.
        Declined = "declined",
        /// The taker took it back.
        Withdrawn = "withdrawn",
        /// Nothing happened for too long.
        Lapsed = "lapsed",
    }
}

impl State {
    /// Whether it may still come to something.
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Waiting | Self::Accepted)
    }
    /// Whether its quantity is promised, or was given.
    pub const fn holds(self) -> bool {
        matches!(self, Self::Accepted | Self::HandedOver)
    }
}

/// A side of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Who gives.
    Giver,
    /// Who takes.
    Taker,
}

/// What was on file on the movement when it was looked at: kept as it was shown.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shown {
    /// The verdict.
    pub verdict: Verdict,
    /// In words.
    pub headline: String,
    /// The rules that made it, each with its version.
    pub rules: Vec<String>,
    /// On which day it was looked at.
    pub on: Date,
}

impl Shown {
    /// Of an answer, on a day.
    pub fn of(answer: &Answer, on: Date) -> Self {
        Self {
            verdict: answer.verdict,
            headline: answer.headline(),
            rules: answer.lead.iter().map(|a| a.rule.label()).collect(),
            on,
        }
    }
}

/// A claim on file.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    /// Its id.
    pub id: ClaimId,
    /// The offer.
    pub offer: OfferId,
    /// Who gives.
    pub giver: AccountId,
    /// Who takes.
    pub taker: AccountId,
    /// How much, in the offer's unit.
    pub quantity: i32,
    /// Where it goes.
    pub to: AreaCode,
    /// The taker's words to the giver.
    pub note: String,
    /// How the taker can be reached: for the giver, after acceptance.
    pub taker_contact: String,
    /// How the giver can be reached: for the taker, after acceptance.
    pub giver_contact: String,
    /// The giver's words on accepting or declining.
    pub answer: String,
    /// What was on file on the movement.
    pub movement: Shown,
    /// Where it stands.
    pub state: State,
    /// When it was asked for: the place in the waiting list.
    pub asked_at: Timestamp,
    /// When it lapses if nothing happens.
    pub lapses_at: Timestamp,
    /// When each side said that it changed hands.
    pub given_at: Option<Timestamp>,
    /// When the taker said so.
    pub taken_at: Option<Timestamp>,
    /// What each side says of a hand-over that was missed: for organisers.
    pub giver_missed: String,
    /// The taker's words on it.
    pub taker_missed: String,
    /// The organiser who entered it for the taker.
    pub entered_by: Option<AccountId>,
    /// What it is in a swap round, where it came of one.
    pub in_round: Option<InRound>,
    /// Counts up with each change.
    pub version: i64,
}

/// What a claim is in a swap round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct InRound {
    /// Which.
    pub round: RoundId,
    /// Of which lot.
    pub lot: RoundLotId,
    /// Units of the round; 0 once it came to nothing and they went back to the round.
    pub units: u32,
    /// Given freely.
    pub gift: bool,
}

impl Claim {
    /// The side that somebody is on; none for others.
    pub fn side(&self, account: AccountId) -> Option<Side> {
        if account == self.giver { Some(Side::Giver) } else { (account == self.taker).then_some(Side::Taker) }
    }
    /// How the other side can be reached: only once it was accepted, and only while it matters.
    pub fn contact_for(&self, side: Side) -> &str {
        match (self.state.holds(), side) {
            (true, Side::Giver) => &self.taker_contact,
            (true, Side::Taker) => &self.giver_contact,
            (false, _) => "",
        }
    }
}

/// What a taker asks.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Asked {
    /// How much; all that is left if 0.
    pub quantity: i32,
    /// Where it goes: a code of ISO 3166.
    pub to: String,
    /// Words to the giver.
    pub note: String,
    /// How the taker can be reached.
    pub contact: String,
}

/// Checks what a taker asks of an offer.
///
/// # Errors
/// All wrong fields.
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

/// Why a movement stands in the way of a claim; none where it does not.
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
