//! A swap day away from the server. An organiser takes a round along in one file; a computer in the shed runs the day from
//! that file alone and adds each step to it; the file is brought home, and the steps are taken here one by one.
//!
//! A step is the call that was made in the shed, with the time and the random seed that it ran with: run again, it makes
//! the same lots with the same codes as stand on the labels. Its id is kept when it is taken, so that no step counts twice
//! however often, and in however many copies, a file comes home.

mod along;
mod file;
mod home;
mod open;

pub use along::TakeAlong;
pub use file::{DayFile, Header};
pub use home::{Bringing, Standing};
pub use open::Shed;

use std::sync::{
    Arc,
    atomic::{AtomicU32, Ordering},
};

use scionary_domain::{
    ids::{AccountId, RoundId},
    time::Timestamp,
};
use scionary_store::day_store;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use crate::{
    App, Error, Rule, Write,
    ports::{Entropy, EntropyError, new_uuid},
};

/// One step of a day: a call as it was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// Its id.
    pub id: Uuid,
    /// When, by the clock of the computer in the shed.
    pub at: Timestamp,
    /// Who made it.
    pub by: AccountId,
    /// The member for whom it was made, if not for themselves.
    #[serde(rename = "for", default, skip_serializing_if = "Option::is_none")]
    pub on_behalf: Option<AccountId>,
    /// The method's path.
    pub rpc: String,
    /// The request, as it came.
    #[serde(with = "file::base64_bytes")]
    pub request: Vec<u8>,
    /// What its ids and codes are drawn from.
    #[serde(with = "file::base64_bytes")]
    pub seed: Vec<u8>,
}

impl Step {
    /// A step that is made now.
    ///
    /// # Errors
    /// When there is no randomness.
    pub fn new(
        app: &App,
        at: Timestamp,
        (by, on_behalf): (AccountId, Option<AccountId>),
        rpc: &str,
        request: &[u8],
    ) -> Result<Self, Error> {
        let id = new_uuid(app.entropy(), at)?;
        let (rpc, request) = (rpc.to_string(), request.to_vec());
        Ok(Self { id, at, by, on_behalf, rpc, request, seed: app.entropy().bytes()?.to_vec() })
    }
}

/// A step that comes home.
#[derive(Clone, Copy, Debug)]
pub struct Home {
    /// The round.
    pub round: RoundId,
    /// The file.
    pub take: Uuid,
    /// When it came home.
    pub at: Timestamp,
}

/// A call that is a step of a day.
#[derive(Clone, Debug)]
pub struct DayCall {
    /// The step.
    pub step: Step,
    /// Where it comes home; none in the shed.
    pub home: Option<Home>,
}

/// Where the steps of a day are kept in the shed.
pub trait Journal: Send + Sync {
    /// Keeps a step for good before this returns. What went wrong is the error.
    ///
    /// # Errors
    /// When it cannot be written.
    fn append(&self, step: &Step) -> Result<(), String>;
}

impl DayCall {
    /// Keeps the step together with what it did: in the journal of the shed, or among what came home.
    pub(crate) async fn keep(&self, write: &Write<'_>) -> Result<(), Error> {
        let step = &self.step;
        match (&self.home, write.app.journal()) {
            (Some(home), _) => {
                let event = day_store::Brought {
                    id: step.id,
                    round: home.round,
                    take: home.take,
                    noted_by: step.by,
                    noted_at: step.at,
                    by: write.call.entered_by.map_or_else(|| write.call.account_id(), Ok)?,
                    at: home.at,
                };
                let kept = day_store::keep_day_event(write.tx, &event).await;
                kept.map_err(|e| e.if_exists(Error::Rule(Rule::BroughtBefore)))
            }
            (None, Some(journal)) => journal.append(step).map_err(|why| Rule::DayNotWritten(why).into()),
            (None, None) => Ok(()),
        }
    }
}

/// Random bytes that follow from a seed: the hash of the seed and of how many were drawn before.
pub(crate) struct Seeded {
    seed: Vec<u8>,
    drawn: AtomicU32,
}

impl Seeded {
    pub(crate) fn of(day: Option<&Arc<DayCall>>) -> Option<Self> {
        day.map(|day| Self { seed: day.step.seed.clone(), drawn: AtomicU32::new(0) })
    }
}

impl Entropy for Seeded {
    fn bytes(&self) -> Result<[u8; 32], EntropyError> {
        let drawn = self.drawn.fetch_add(1, Ordering::Relaxed);
        Ok(Sha256::new().chain_update(&self.seed).chain_update(drawn.to_be_bytes()).finalize().into())
    }
}
