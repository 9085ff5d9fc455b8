//! The day: who and what is there, hand-overs ticked off, the end.

use scionary_domain::{
    access::Granted,
    claim::{Claim, State},
    field::Fields,
    ids::{AccountId, ClaimId, RoundId},
    limits,
    round::{EventKind, Part, Phase},
};
use scionary_store::{Source, account_store, claim_store, offer_store, round_store};
use serde_json::json;

use super::{
    ShownRound, TOPIC, claims_of, held, in_phase,
    make::{people, release_left},
    named, noted, notices, store,
};
use crate::{Done, Error, Rule, UseCase, Write, alerts, claims::ConfirmHandOver};

/// Begins the day: lots are checked in and change hands.
pub struct StartHandOver {
    /// The round's id.
    pub id: RoundId,
    /// Also before its day.
    pub early: bool,
    /// The day had begun by mistake: back to where it was, while nothing has changed hands.
    pub undo: bool,
}

/// Notes that a lot is there, or takes that back.
pub struct CheckInLot {
    /// The round's id.
    pub id: RoundId,
    /// Which: its number, its code or its id.
    pub lot: String,
    /// It is there.
    pub here: bool,
    /// How many packs came, where it is not all of them.
    pub came: Option<u32>,
}

/// Notes that a member did not come, or came after all.
pub struct SetPresence {
    /// The round's id.
    pub id: RoundId,
    /// Who: their number, handle or id.
    pub member: String,
    /// They did not come.
    pub absent: bool,
}

/// Ticks a hand-over off, for both sides.
pub struct HandOverShare {
    /// The round's id.
    pub id: RoundId,
    /// Which lot: its number, its code or its id.
    pub lot: String,
    /// To whom: their number, handle or id.
    pub member: String,
}

/// Closes a round: what is left over is its givers' again, on offer.
pub struct CloseRound {
    /// The round's id.
    pub id: RoundId,
    /// Also while promises are not handed over.
    pub pending: bool,
}

/// The part of a member whom a text names.
pub(super) async fn member_named(db: &dyn Source, round: RoundId, text: &str) -> Result<Part, Error> {
    let text = text.trim();
    let missing = || Error::NotFound {
        kind: "member of this round",
        id: text.to_string(),
        hint: "give their number on the list, their name, their handle or their id".into(),
    };
    if let Ok(number) = text.trim_start_matches('#').parse::<u32>() {
        let found = round_store::parts(db, round, number.saturating_sub(1), 1).await?;
        return found.into_iter().find(|p| p.number == number).ok_or_else(missing);
    }
    let key = text.trim_start_matches('@').to_ascii_lowercase();
    let account: Option<AccountId> = match text.parse() {
        Ok(id) => Some(id),
        Err(_) => account_store::account_to_sign_in(db, &key).await?.map(|(a, _)| a.id),
    };
    if let Some(account) = account {
        return round_store::part(db, round, account).await?.ok_or_else(missing);
    }
    // by the name that stands on the sheets, if one bears it
    let parts = round_store::parts(db, round, 0, limits::ROUND_MEMBERS_MAX).await?;
    let people: Vec<AccountId> = parts.iter().map(|p| p.account).collect();
    let names = account_store::display_names(db, &people).await?;
    let wanted = text.to_lowercase();
    let named = |p: &Part| names.get(&p.account).is_some_and(|name| name.to_lowercase() == wanted);
    let mut found = parts.into_iter().filter(named);
    match (found.next(), found.next()) {
        (Some(one), None) => Ok(one),
        (_, _) => Err(missing()),
    }
}

/// Packs that claims hold together.
fn units_of(claims: &[Claim]) -> u32 {
    claims.iter().filter(|c| c.state.holds()).filter_map(|c| c.in_round).map(|r| r.units).sum()
}

impl UseCase for StartHandOver {
    type Out = ShownRound;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRound>, Error> {
        let (mut round, granted) = held(write, self.id).await?;
        if self.undo {
            in_phase(&round, &[Phase::HandingOver])?;
            let touched = |claim: &Claim| claim.given_at.is_some() || claim.taken_at.is_some();
            if claims_of(write.tx, &round).await?.iter().any(touched) {
                return Err(Rule::DayUnderWay.into());
            }
            round.phase = Phase::Allotted;
        } else {
            in_phase(&round, &[Phase::Allotted])?;
            // one day for those whose calendar is ahead of the server's
            if !self.early && write.call.now.date().plus_days(1) < round.says.day {
                return Err(Rule::DayTooEarly(round.says.day).into());
            }
            round.phase = Phase::HandingOver;
            noted(write, round.id, EventKind::Began, (None, None), 0, "").await?;
        }
        store(write, &granted, &mut round).await?;
        let change = json!({ "undo": self.undo });
        let done = Done::new((), "round.handing_over", round.id, change).and_publish(TOPIC, round.id);
        let out = ShownRound::new(write.tx, write.call, round).await?;
        Ok(done.with(out))
    }
}

impl UseCase for CheckInLot {
    /// The round, the lot's number, and how many of its promised packs did not come.
    type Out = (RoundId, u32, u32);
    async fn run(&self, write: &Write<'_>) -> Result<Done<Self::Out>, Error> {
        let (round, granted) = held(write, self.id).await?;
        in_phase(&round, &[Phase::Allotted, Phase::HandingOver])?;
        let lot = named(write.tx, round.id, &self.lot).await?;
        if self.here {
            let offer = offer_store::offer(write.tx, lot.offer).await?;
            if let Some(tagged) = offer.and_then(|o| o.contents.lot) {
                alerts::refuse_reached(write.tx, tagged).await?;
            }
        }
        let mut fields = Fields::new();
        if let Some(came) = self.came
            && (came == 0 || came > lot.units)
        {
            fields.wrong("came", format!("1 to {} packs expected, {came} found", lot.units));
        }
        fields.finish(Some(()))?;
        let came = self.came.filter(|came| self.here && *came < lot.units);
        round_store::check_in(write.tx, &granted, lot.id, self.here.then_some(write.call.now)).await?;
        round_store::set_came(write.tx, &granted, lot.id, came).await?;
        let (kind, units) = match (self.here, came) {
            (true, Some(came)) => (EventKind::Counted, came),
            (true, None) => (EventKind::Arrived, lot.units),
            (false, _) => (EventKind::NotArrived, 0),
        };
        noted(write, round.id, kind, (Some(lot.id), None), units, "").await?;
        let change = json!({ "lot": lot.id.to_string(), "here": self.here, "came": came });
        let promised = units_of(&claim_store::of_round_lots(write.tx, &[lot.id]).await?);
        let short = promised.saturating_sub(came.unwrap_or(lot.units));
        Ok(Done::new((round.id, lot.number, short), "round.lot_checked_in", round.id, change)
            .and_publish(TOPIC, round.id))
    }
}

impl UseCase for SetPresence {
    type Out = (RoundId, u32);
    async fn run(&self, write: &Write<'_>) -> Result<Done<Self::Out>, Error> {
        let (round, _) = held(write, self.id).await?;
        in_phase(&round, &[Phase::Allotted, Phase::HandingOver])?;
        let part = member_named(write.tx, round.id, &self.member).await?;
        let number = part.number;
        let kind = if self.absent { EventKind::Absent } else { EventKind::Came };
        noted(write, round.id, kind, (None, Some(part.account)), 0, "").await?;
        let change = json!({ "whom": part.account.to_string(), "absent": self.absent });
        let part = Part { absent: self.absent, ..part };
        round_store::set_part(write.tx, &Granted::system("organisers note who came"), &part).await?;
        Ok(Done::new((round.id, number), "round.presence_noted", round.id, change)
            .and_publish(TOPIC, round.id))
    }
}

impl UseCase for HandOverShare {
    type Out = (ClaimId, State);
    async fn run(&self, write: &Write<'_>) -> Result<Done<Self::Out>, Error> {
        let (round, _) = held(write, self.id).await?;
        in_phase(&round, &[Phase::HandingOver])?;
        let lot = named(write.tx, round.id, &self.lot).await?;
        let part = member_named(write.tx, round.id, &self.member).await?;
        let of_lot = claim_store::of_round_lots(write.tx, &[lot.id]).await?;
        // what no side has confirmed yet comes first
        let open = of_lot.iter().filter(|c| c.taker == part.account && c.state == State::Accepted);
        let claim = open
            .min_by_key(|c| (c.taken_at.is_some(), c.given_at.is_some(), c.id))
            .ok_or(Rule::NotAllotted { lot: lot.number, member: part.number })?
            .clone();
        let offer = offer_store::offer(write.tx, lot.offer).await?;
        if let Some(tagged) = offer.and_then(|o| o.contents.lot) {
            alerts::refuse_reached(write.tx, tagged).await?;
        }
        // of fewer packs that came, no more than those change hands
        let handed: Vec<Claim> = of_lot.into_iter().filter(|c| c.state == State::HandedOver).collect();
        let units = claim.in_round.map_or(0, |r| r.units);
        if units_of(&handed) + units > lot.there() {
            return Err(Rule::FewerCame { lot: lot.number, came: lot.there() }.into());
        }
        // confirmed for both sides: the caller arranges the round
        let done = ConfirmHandOver { id: claim.id, for_both: true }.run(write).await?;
        let state = done.out.1;
        Ok(done.with((claim.id, state)).and_publish(TOPIC, round.id))
    }
}

impl UseCase for CloseRound {
    type Out = ShownRound;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRound>, Error> {
        let (mut round, granted) = held(write, self.id).await?;
        in_phase(&round, &[Phase::Allotted, Phase::HandingOver])?;
        let all = claims_of(write.tx, &round).await?;
        let pending = all.iter().filter(|c| c.state == State::Accepted).count();
        if pending > 0 && !self.pending {
            return Err(Rule::HandOversPending(pending).into());
        }
        round.phase = Phase::Closed;
        noted(write, round.id, EventKind::Closed, (None, None), 0, "").await?;
        store(write, &granted, &mut round).await?;
        release_left(write, &round, &all).await?;
        let mut done = Done::new((), "round.closed", round.id, json!({})).and_publish(TOPIC, round.id);
        let words = format!(
            "{} is closed. What was left over is on offer again; what you are still promised can change hands later.",
            round.says.title
        );
        done.notices = notices(&people(write, round.id).await?, &round, "closed", &words);
        let out = ShownRound::new(write.tx, write.call, round).await?;
        Ok(done.with(out))
    }
}
