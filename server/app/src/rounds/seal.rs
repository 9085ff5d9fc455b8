//! Sealing a round, opening it again, and noting what authorities say.

use scionary_domain::{
    access::Granted,
    clearing::BadInput,
    field::Fields,
    ids::RoundId,
    limits,
    place::AreaCode,
    round::{Advice, EventKind, Phase},
};
use scionary_store::{StoreError, round_store, round_store::Run};
use serde_json::json;

use super::{
    ShownRound, TOPIC, arranged,
    facts::{OnFile, members_of},
    held, in_phase,
    make::people,
    noted, notices,
    part::leave,
    store,
};
use crate::{App, Call, Done, Error, Rule, UseCase, Write};

/// Seals a round: what was brought and wished for is frozen, and its hash is published.
pub struct SealRound {
    id: RoundId,
    /// The version that the input was put together of.
    version: i64,
    input: String,
    hash: String,
}

/// Opens a sealed round again. Its secret was not shown yet, and stays: no one draws again by sealing again.
pub struct ReopenRound {
    /// The round's id.
    pub id: RoundId,
}

/// Notes what an authority said of moving things from one place to another, where no rule is on file.
pub struct NoteAdvice {
    /// For which round.
    pub id: RoundId,
    /// From: a code of ISO 3166.
    pub from: String,
    /// To.
    pub to: String,
    /// Who was asked.
    pub asked: String,
    /// What was said.
    pub said: String,
}

impl From<BadInput> for Error {
    fn from(error: BadInput) -> Self {
        Self::Internal(format!("a round cannot be put together: {error}"))
    }
}

impl App {
    /// Puts together what is sealed. It is put together outside of the transaction that seals it, which looks whether
    /// anything has changed meanwhile: other writers do not wait for it.
    ///
    /// # Errors
    /// The caller does not arrange it; it does not gather.
    pub async fn prepare_sealing(&self, call: &Call, id: RoundId) -> Result<SealRound, Error> {
        let reader = self.store().reader();
        let (round, _) = arranged(reader, call, id).await?;
        in_phase(&round, &[Phase::Gathering])?;
        let (version, settings) = (round.version, round.says.settings);
        let file = OnFile::read(reader, round).await?;
        if file.lots.is_empty() || file.wishes.is_empty() {
            return Err(Rule::RoundEmpty.into());
        }
        file.fit(&self.registry(), &settings)?;
        let input = file.input(self, settings, Vec::new(), Vec::new(), &|_, _| None);
        input.check()?;
        Ok(SealRound { id, version, input: input.canonical()?, hash: input.hash()? })
    }
}

impl UseCase for SealRound {
    type Out = ShownRound;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRound>, Error> {
        let (mut round, granted) = held(write, self.id).await?;
        in_phase(&round, &[Phase::Gathering])?;
        // holding it has counted it up by one
        if round.version != self.version + 1 {
            return Err(Rule::RoundChanged.into());
        }
        round.phase = Phase::Sealed;
        round.input_hash = Some(self.hash.clone());
        noted(write, round.id, EventKind::Sealed, (None, None), 0, &self.hash).await?;
        store(write, &granted, &mut round).await?;
        let run = Run {
            number: 0,
            input: self.input.clone(),
            input_hash: self.hash.clone(),
            outcome: None,
            by: write.call.account_id()?,
            at: write.call.now,
        };
        round_store::set_run(write.tx, &granted, round.id, &run).await?;
        let change = json!({ "input_hash": self.hash });
        let mut done = Done::new((), "round.sealed", round.id, change).and_publish(TOPIC, round.id);
        let words = format!("{} is sealed: lots and wishes stand as they are now.", round.says.title);
        done.notices =
            notices(&people(write, round.id).await?, &round, format!("sealed {}", round.version), &words);
        let out = ShownRound::new(write.tx, write.call, round).await?;
        Ok(done.with(out))
    }
}

impl UseCase for ReopenRound {
    type Out = ShownRound;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRound>, Error> {
        let (mut round, granted) = held(write, self.id).await?;
        in_phase(&round, &[Phase::Sealed])?;
        round.phase = Phase::Gathering;
        round.input_hash = None;
        noted(write, round.id, EventKind::Reopened, (None, None), 0, "").await?;
        store(write, &granted, &mut round).await?;
        // who left the club while it was sealed takes back what they brought, as if it had gathered
        let parts = round_store::parts(write.tx, round.id, 0, limits::ROUND_MEMBERS_MAX).await?;
        let stay = members_of(write.tx, &round, &parts).await?;
        for part in parts.iter().filter(|part| !stay.contains(&part.account)) {
            leave(write, &Granted::system("they left the club"), round.id, part.account).await?;
        }
        let mut done = Done::new((), "round.reopened", round.id, json!({})).and_publish(TOPIC, round.id);
        let words = format!("{} is open again: lots and wishes may be changed.", round.says.title);
        done.notices =
            notices(&people(write, round.id).await?, &round, format!("reopened {}", round.version), &words);
        let out = ShownRound::new(write.tx, write.call, round).await?;
        Ok(done.with(out))
    }
}

impl UseCase for NoteAdvice {
    type Out = ShownRound;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRound>, Error> {
        let (round, granted) = held(write, self.id).await?;
        in_phase(&round, &[Phase::Gathering])?;
        let mut fields = Fields::new();
        let from = fields.take("from_area_code", AreaCode::parse(&self.from));
        let to = fields.take("to_area_code", AreaCode::parse(&self.to));
        let asked = fields.line("asked", &self.asked, limits::REASON_CHARS_MIN, limits::CITATION_CHARS_MAX);
        let said = fields.text("said", &self.said, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
        let whole = || Some((from?, to?, asked?, said?));
        let whole = whole();
        let (from, to, asked, said) = fields.finish(whole)?;
        let known = round_store::advice(write.tx, round.id).await?;
        if u64::try_from(known.len()).unwrap_or(u64::MAX) >= limits::ROUND_ADVICE_MAX {
            return Err(StoreError::Refused("more notes than a round has".into()).into());
        }
        let change = json!({ "from": from.as_str(), "to": to.as_str(), "asked": asked, "said": said });
        let advice = Advice { from, to, asked, said, by: write.call.account_id()?, at: write.call.now };
        round_store::set_advice(write.tx, &granted, round.id, &advice).await?;
        let id = round.id;
        let out = ShownRound::new(write.tx, write.call, round).await?;
        Ok(Done::new(out, "round.advice_noted", id, change).and_publish(TOPIC, id))
    }
}
