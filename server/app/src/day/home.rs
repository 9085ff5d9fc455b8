//! Brings a day home.

use std::collections::BTreeSet;

use scionary_domain::{
    account::Actor,
    ids::{ClubId, RoundId},
    round::{EventKind, Phase},
    time::Timestamp,
};
use scionary_store::day_store;
use serde_json::json;
use uuid::Uuid;

use super::{DayCall, Header, Home, Step, along};
use crate::{App, Call, Done, Error, Rule, UseCase, Write, rounds};

/// A file that may be brought home here by its caller.
#[derive(Clone, Debug)]
pub struct Bringing {
    home: Home,
    taken_at: Timestamp,
    /// Steps of this file, or of copies of it, that came home before.
    pub before: BTreeSet<Uuid>,
}

/// How a step stands before it is taken.
#[derive(Debug)]
pub enum Standing {
    /// It came home before.
    Before,
    /// It is to be taken, as this call.
    New(Box<Call>),
}

/// Notes in the log that steps came home.
pub struct NoteHome {
    id: RoundId,
    take: Uuid,
    steps: u32,
}

impl UseCase for NoteHome {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        let (round, _) = rounds::held(write, self.id).await?;
        if self.steps == 0 {
            return Ok(Done::quiet(()));
        }
        let kind = EventKind::BroughtHome;
        rounds::noted(write, round.id, kind, (None, None), self.steps, &self.take.to_string()).await?;
        let change = json!({ "file": self.take.to_string(), "steps": self.steps });
        Ok(Done::new((), "round.brought_home", round.id, change).and_publish(rounds::TOPIC, round.id))
    }
}

impl App {
    /// Looks whether a file is of this server, and of a round that the caller arranges.
    ///
    /// # Errors
    /// It is not, or was changed.
    pub async fn bring_home(&self, call: &Call, header: &str, signature: &str) -> Result<Bringing, Error> {
        let header = Header::read(header, signature).map_err(Rule::DayFileWrong)?;
        if along::own_key(self).await? != Some(header.key) {
            return Err(Rule::DayOfAnotherServer.into());
        }
        let reader = self.store().reader();
        let (round, _) = rounds::arranged(reader, call, header.round).await?;
        rounds::in_phase(&round, &[Phase::Allotted, Phase::HandingOver, Phase::Closed])?;
        let before = day_store::day_events(reader, round.id, header.take).await?;
        let home = Home { round: round.id, take: header.take, at: call.now };
        Ok(Bringing { home, taken_at: header.taken_at, before })
    }

    /// How a step of such a file stands; one that is new as the call that takes it. It runs as the caller's: what others
    /// noted in the shed stands in the file under their names.
    ///
    /// # Errors
    /// The store's; the caller may not act for the member.
    pub async fn step_home(&self, call: &Call, bringing: &Bringing, step: Step) -> Result<Standing, Error> {
        if day_store::has_day_event(self.store().reader(), step.id).await? {
            return Ok(Standing::Before);
        }
        let (actor, entered_by, helped_in): (Actor, _, Vec<ClubId>) = match step.on_behalf {
            None => (call.actor.clone(), None, Vec::new()),
            Some(member) => {
                let (actor, clubs) = self.on_behalf(&call.actor, member).await?;
                (actor, call.actor.id(), clubs)
            }
        };
        // a clock in the shed that is wrong does not put things into the future, or before they were taken along
        let now = step.at.clamp(bringing.taken_at.min(call.now), call.now);
        let day = Some(std::sync::Arc::new(DayCall { step, home: Some(bringing.home) }));
        let request = call.request;
        Ok(Standing::New(Box::new(Call { actor, entered_by, helped_in, now, request, key: None, day })))
    }

    /// The note that so many steps came home.
    pub fn note_home(&self, bringing: &Bringing, steps: u32) -> NoteHome {
        NoteHome { id: bringing.home.round, take: bringing.home.take, steps }
    }
}
