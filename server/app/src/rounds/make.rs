//! Making a round, changing what it says of itself, calling it off.

use scionary_domain::{
    access::Granted,
    claim::State,
    clearing::commitment,
    club::Standing,
    field::Fields,
    ids::{AccountId, ClubId, RoundId},
    limits,
    round::{Phase, Round, RoundDraft, check},
};
use scionary_store::{AuditRow, OutboxRow, StoreError, claim_store, club_store, round_store};
use serde_json::json;

use super::{ShownRound, TOPIC, claims_of, facts::OnFile, held, in_phase, notices, store};
use crate::{Done, Error, Overlay, Rule, UseCase, Write, as_seen, claims, clubs, ports::Entropy};

/// Makes a round of a club (its organisers).
pub struct CreateRound {
    /// The club's id.
    pub club: ClubId,
    /// What it says of itself.
    pub draft: RoundDraft,
}

/// Changes what a round says of itself while it gathers.
pub struct ChangeRound {
    /// The round's id.
    pub id: RoundId,
    /// The version that the caller saw; none to change whatever is there.
    pub version: Option<i64>,
    /// Makes what the round says of itself from what is on file.
    pub change: Overlay<Round, RoundDraft>,
}

/// Calls a round off: what was brought is its givers' again.
pub struct CallOffRound {
    /// The round's id.
    pub id: RoundId,
    /// Why: told to who takes part.
    pub reason: String,
}

/// A secret that no one can guess, in hexadecimal.
pub(super) fn secret(entropy: &dyn Entropy) -> Result<String, Error> {
    Ok(entropy.bytes()?.iter().map(|b| format!("{b:02x}")).collect())
}

/// Everyone who takes part.
pub(super) async fn people(write: &Write<'_>, round: RoundId) -> Result<Vec<AccountId>, Error> {
    let parts = round_store::parts(write.tx, round, 0, limits::ROUND_MEMBERS_MAX).await?;
    Ok(parts.into_iter().map(|p| p.account).collect())
}

impl UseCase for CreateRound {
    type Out = ShownRound;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRound>, Error> {
        let now = write.call.now;
        let (club, granted) = clubs::organised(write, self.club).await?;
        let says = check(&self.draft, now.date())?;
        let open =
            round_store::of_clubs(write.tx, &[club.id], true, None, limits::ROUNDS_OPEN_MAX + 1).await?;
        if u64::try_from(open.len()).unwrap_or(u64::MAX) >= limits::ROUNDS_OPEN_MAX {
            return Err(Rule::TooManyRounds(limits::ROUNDS_OPEN_MAX).into());
        }
        let secret = secret(write.app.entropy())?;
        let round = Round {
            id: RoundId::from_uuid(write.new_uuid()?),
            club: club.id,
            says,
            phase: Phase::Gathering,
            commitment: commitment(&secret),
            secret,
            input_hash: None,
            runs: 0,
            created_at: now,
            version: 1,
            says_version: 1,
        };
        round_store::insert(write.tx, &granted, &round).await?;
        let words = format!(
            "{}: {} on {}. Bring lots and list your wishes until {}.",
            club.name, round.says.title, round.says.day, round.says.gather_until
        );
        let mut done = Done::new((), "round.made", round.id, json!({ "club": club.id.to_string() }))
            .and_publish(TOPIC, round.id);
        let mut after = None;
        loop {
            let belong = [Standing::Member, Standing::Organiser];
            let some = club_store::members(write.tx, club.id, &belong, after, 500).await?;
            let Some(last) = some.last() else { break };
            after = Some(last.account);
            let to: Vec<AccountId> = some.iter().map(|m| m.account).collect();
            done.notices.extend(notices(&to, &round, "made", &words));
        }
        let out = ShownRound::new(write.tx, write.call, round).await?;
        Ok(done.with(out))
    }
}

impl UseCase for ChangeRound {
    type Out = ShownRound;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRound>, Error> {
        let (mut round, granted) = held(write, self.id).await?;
        in_phase(&round, &[Phase::Gathering])?;
        as_seen(self.version, round.says_version)?;
        let says = check(&(self.change)(&round)?, write.call.now.date())?;
        let file = OnFile::read(write.tx, round.clone()).await?;
        file.fit(&write.app.registry(), &says.settings)?;
        match file.too_long(&says.settings) {
            0 => {}
            lists => return Err(Rule::ListsTooLong(lists).into()),
        }
        let rules = says.settings != round.says.settings;
        let moved =
            (says.day, &says.place, &says.area) != (round.says.day, &round.says.place, &round.says.area);
        round.says = says;
        round.says_version += 1;
        store(write, &granted, &mut round).await?;
        let mut done = Done::new((), "round.changed", round.id, json!({})).and_publish(TOPIC, round.id);
        if moved {
            let place =
                if round.says.place.is_empty() { round.says.area.as_str() } else { &round.says.place };
            let words = format!("{} is on {} now, at {place}.", round.says.title, round.says.day);
            done.notices = notices(&people(write, round.id).await?, &round, round.version, &words);
        }
        if rules {
            let words = format!("The rules of {} were changed.", round.says.title);
            let once = format!("rules {}", round.version);
            done.notices.extend(notices(&people(write, round.id).await?, &round, once, &words));
        }
        let out = ShownRound::new(write.tx, write.call, round).await?;
        Ok(done.with(out))
    }
}

/// Ends what was promised in a round and is not handed over, and gives its lots back to their offers.
async fn give_all_back(write: &Write<'_>, round: &Round, why: &str) -> Result<(), Error> {
    let mut all = claims_of(write.tx, round).await?;
    for claim in all.iter_mut().filter(|c| c.state == State::Accepted) {
        if claim.given_at.is_some() || claim.taken_at.is_some() {
            continue;
        }
        let from = claim.version;
        claim.version += 1;
        claim.state = State::Declined;
        claim.answer = why.to_string();
        if let Some(part) = &mut claim.in_round {
            part.units = 0;
        }
        if !claim_store::replace(write.tx, Granted::system("its round was called off"), claim, from).await? {
            return Err(StoreError::Collision.into());
        }
    }
    release_left(write, round, &all).await
}

/// Gives back to their offers what of a round's lots was neither allotted nor handed over.
pub(super) async fn release_left(
    write: &Write<'_>,
    round: &Round,
    all: &[scionary_domain::claim::Claim],
) -> Result<(), Error> {
    for lot in round_store::lots(write.tx, round.id, None, 0, limits::ROUND_LOTS_MAX).await? {
        // what a giver said no to was kept out of the round; now it is theirs again, too
        let held: u32 = all
            .iter()
            .filter(|c| c.state.holds())
            .filter_map(|c| c.in_round)
            .filter(|r| r.lot == lot.id)
            .map(|r| r.units)
            .sum();
        let left = lot.units.saturating_sub(held).saturating_mul(lot.per_unit);
        if left > 0 {
            claim_store::release(write.tx, lot.offer, i32::try_from(left).unwrap_or(i32::MAX)).await?;
            claims::move_up(write, lot.offer).await?;
        }
    }
    Ok(())
}

impl UseCase for CallOffRound {
    type Out = ShownRound;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRound>, Error> {
        let (mut round, granted) = held(write, self.id).await?;
        in_phase(&round, &[Phase::Gathering, Phase::Sealed, Phase::Allotted])?;
        let mut fields = Fields::new();
        let reason = fields.text("reason", &self.reason, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
        let reason = fields.finish(reason)?;
        round.phase = Phase::CalledOff;
        store(write, &granted, &mut round).await?;
        give_all_back(write, &round, "The round was called off.").await?;
        let words = format!("{} on {} is called off: {reason}", round.says.title, round.says.day);
        let mut done = Done::new((), "round.called_off", round.id, json!({})).and_publish(TOPIC, round.id);
        done.notices = notices(&people(write, round.id).await?, &round, "called off", &words);
        let out = ShownRound::new(write.tx, write.call, round).await?;
        Ok(done.with(out))
    }
}

/// Ends rounds that no one has closed long after their day, so that nothing is held back for ever.
pub struct EndOverdueRounds;

impl UseCase for EndOverdueRounds {
    type Out = usize;
    async fn run(&self, write: &Write<'_>) -> Result<Done<usize>, Error> {
        let before = write.call.now.date().plus_days(-limits::ROUND_OPEN_DAYS);
        let overdue = round_store::overdue(write.tx, before, limits::ROUNDS_OPEN_MAX).await?;
        let mut done = Done::quiet(overdue.len());
        for id in overdue {
            round_store::lock(write.tx, id).await?;
            let Some(mut round) = round_store::one(write.tx, id).await?.filter(|r| r.phase.is_open()) else {
                continue;
            };
            let settled = matches!(round.phase, Phase::Allotted | Phase::HandingOver);
            round.phase = if settled { Phase::Closed } else { Phase::CalledOff };
            store(write, &Granted::system("its day is long past"), &mut round).await?;
            let all = claims_of(write.tx, &round).await?;
            release_left(write, &round, &all).await?;
            let words = format!(
                "{} was on {} and was not closed. It has ended now, and what was held back for it is on offer again.",
                round.says.title, round.says.day
            );
            done.notices.extend(notices(&people(write, id).await?, &round, "overdue", &words));
            let subject = id.to_string();
            done.audit.push(AuditRow {
                action: "round.overdue",
                subject: subject.clone(),
                change: "{}".into(),
            });
            done.events.push(OutboxRow { topic: TOPIC, subject });
        }
        Ok(done)
    }
}
