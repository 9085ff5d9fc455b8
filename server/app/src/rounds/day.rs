//! The day: who and what is there, hand-overs ticked off, the end.

use scionary_domain::{
    access::Granted,
    claim::State,
    ids::{AccountId, ClaimId, RoundId},
    limits,
    round::{Part, Phase},
};
use scionary_store::{Source, account_store, claim_store, offer_store, round_store};
use serde_json::json;

use super::{
    ShownRound, TOPIC, claims_of, held, in_phase,
    make::{people, release_left},
    named, notices, store,
};
use crate::{Done, Error, Rule, UseCase, Write, alerts, claims::ConfirmHandOver};

/// Begins the day: lots are checked in and change hands.
pub struct StartHandOver {
    /// The round's id.
    pub id: RoundId,
}

/// Notes that a lot is there, or takes that back.
pub struct CheckInLot {
    /// The round's id.
    pub id: RoundId,
    /// Which: its number, its code or its id.
    pub lot: String,
    /// It is there.
    pub here: bool,
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

impl UseCase for StartHandOver {
    type Out = ShownRound;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRound>, Error> {
        let (mut round, granted) = held(write, self.id).await?;
        in_phase(&round, &[Phase::Allotted])?;
        round.phase = Phase::HandingOver;
        store(write, &granted, &mut round).await?;
        let done = Done::new((), "round.handing_over", round.id, json!({})).and_publish(TOPIC, round.id);
        let out = ShownRound::new(write.tx, write.call, round).await?;
        Ok(done.with(out))
    }
}

impl UseCase for CheckInLot {
    type Out = (RoundId, u32);
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
        round_store::check_in(write.tx, &granted, lot.id, self.here.then_some(write.call.now)).await?;
        let change = json!({ "lot": lot.id.to_string(), "here": self.here });
        Ok(Done::new((round.id, lot.number), "round.lot_checked_in", round.id, change)
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
        let claim = claim_store::open_in_round(write.tx, lot.id, part.account)
            .await?
            .ok_or(Rule::NotAllotted { lot: lot.number, member: part.number })?;
        let offer = offer_store::offer(write.tx, lot.offer).await?;
        if let Some(tagged) = offer.and_then(|o| o.contents.lot) {
            alerts::refuse_reached(write.tx, tagged).await?;
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
        round.phase = Phase::Closed;
        store(write, &granted, &mut round).await?;
        let all = claims_of(write.tx, &round).await?;
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
