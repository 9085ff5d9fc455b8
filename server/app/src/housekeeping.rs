//! What is forgotten in time: old idempotency keys, ended sessions, old outbox rows.

use scionary_domain::limits::IDEMPOTENCY_KEPT_DAYS;
use scionary_store::{account_store, record_store};

use crate::{App, Done, Error, KeepReply, UseCase, Write, claims::LapseClaims, rounds::EndOverdueRounds};

/// Ended sessions stay this long, for their owner's questions.
const SESSIONS_KEPT_DAYS: i64 = 30;
/// Every server has long read these.
const OUTBOX_KEPT_DAYS: i64 = 7;

/// What was forgotten.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Forgotten {
    /// Idempotency keys.
    pub keys: u64,
    /// Sessions.
    pub sessions: u64,
    /// Outbox rows.
    pub outbox: u64,
}

struct Forget;

impl UseCase for Forget {
    type Out = Forgotten;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Forgotten>, Error> {
        let now = write.call.now;
        let out = Forgotten {
            keys: record_store::forget_keys(write.tx, now.plus_days(-IDEMPOTENCY_KEPT_DAYS)).await?,
            sessions: account_store::forget_sessions(write.tx, now.plus_days(-SESSIONS_KEPT_DAYS)).await?,
            outbox: record_store::forget_outbox(write.tx, now.plus_days(-OUTBOX_KEPT_DAYS)).await?,
        };
        crate::notices::forget(write).await?;
        crate::missing::forget(write).await?;
        Ok(Done::quiet(out))
    }
}

impl App {
    /// Forgets what is due.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn housekeeping(&self) -> Result<(), Error> {
        let call = self.system_call()?;
        self.write(&call, Forget, KeepReply::Yes, |_| Vec::new()).await?;
        self.write(&call, LapseClaims, KeepReply::Yes, |_| Vec::new()).await?;
        self.write(&call, EndOverdueRounds, KeepReply::Yes, |_| Vec::new()).await?;
        Ok(())
    }
}
