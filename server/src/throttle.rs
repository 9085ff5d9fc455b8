//! How many calls one address, and one handle, may make. A budget refills steadily; a refusal says when to
//! come again.

use std::{num::NonZeroU32, time::Duration};

use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter, clock::Clock as _, clock::DefaultClock};

use crate::policy::Rate;

/// Calls a minute for each address, and sign-in tries a minute for each handle.
#[derive(Clone, Copy, Debug)]
pub struct Rates {
    /// Reads.
    pub reads: u32,
    /// Reads that take long for what they are asked.
    pub dear: u32,
    /// Writes.
    pub writes: u32,
    /// Calls with a password or a code.
    pub passwords: u32,
    /// Sign-ins for one handle.
    pub sign_ins: u32,
}

/// Sign-ins for one handle from all addresses together, in multiples of those from one.
const FROM_ANYWHERE: u32 = 10;

/// Mails that ask to confirm an address: of one account, and to one address, in a day.
const MAILS_A_DAY: u32 = 5;

/// The budgets.
pub struct Throttle {
    reads: DefaultKeyedRateLimiter<String>,
    dear: DefaultKeyedRateLimiter<String>,
    writes: DefaultKeyedRateLimiter<String>,
    passwords: DefaultKeyedRateLimiter<String>,
    handles: DefaultKeyedRateLimiter<String>,
    handles_from_anywhere: DefaultKeyedRateLimiter<String>,
    mails: DefaultKeyedRateLimiter<String>,
    clock: DefaultClock,
}

fn a_minute(calls: u32) -> DefaultKeyedRateLimiter<String> {
    RateLimiter::keyed(Quota::per_minute(NonZeroU32::new(calls).unwrap_or(NonZeroU32::MIN)))
}

/// So many at once, and as many again over a day.
fn a_day(calls: u32) -> DefaultKeyedRateLimiter<String> {
    let every = Duration::from_secs(24 * 3600) / calls;
    let quota = Quota::with_period(every).unwrap_or(Quota::per_hour(NonZeroU32::MIN));
    RateLimiter::keyed(quota.allow_burst(NonZeroU32::new(calls).unwrap_or(NonZeroU32::MIN)))
}

impl Throttle {
    /// Full budgets.
    pub fn new(rates: Rates) -> Self {
        Self {
            reads: a_minute(rates.reads),
            dear: a_minute(rates.dear),
            writes: a_minute(rates.writes),
            passwords: a_minute(rates.passwords),
            handles: a_minute(rates.sign_ins),
            handles_from_anywhere: a_minute(rates.sign_ins.saturating_mul(FROM_ANYWHERE)),
            mails: a_day(MAILS_A_DAY),
            clock: DefaultClock::default(),
        }
    }

    fn take(&self, budget: &DefaultKeyedRateLimiter<String>, key: &str) -> Result<(), Duration> {
        budget.check_key(&key.to_string()).map_err(|not_until| not_until.wait_time_from(self.clock.now()))
    }

    /// Counts a call of an address.
    ///
    /// # Errors
    /// How long to wait.
    pub fn call(&self, rate: Rate, address: &str) -> Result<(), Duration> {
        match rate {
            Rate::Free => Ok(()),
            Rate::Read => self.take(&self.reads, address),
            Rate::Dear => self.take(&self.dear, address),
            Rate::Write => self.take(&self.writes, address),
            Rate::Password => self.take(&self.passwords, address),
        }
    }

    /// Counts a sign-in for a handle from an address, whether the handle exists or not. Guessing from many
    /// addresses is bounded too, but by a larger budget, so that a stranger does not easily lock a member out.
    ///
    /// # Errors
    /// How long to wait.
    pub fn sign_in(&self, handle: &str, address: &str) -> Result<(), Duration> {
        let key: String = handle.trim().to_ascii_lowercase().chars().take(64).collect();
        self.take(&self.handles, &format!("{key} {address}"))?;
        self.take(&self.handles_from_anywhere, &key)
    }

    /// Counts a mail to an address that no one has confirmed yet: strangers are not to be flooded through us.
    ///
    /// # Errors
    /// How long to wait.
    pub fn mail(&self, account: &str, address: &str) -> Result<(), Duration> {
        self.take(&self.mails, &format!("by {account}"))?;
        self.take(&self.mails, &format!("to {}", address.trim().to_lowercase()))
    }

    /// Forgets keys whose budget is full again.
    pub fn tidy(&self) {
        for budget in [
            &self.mails,
            &self.reads,
            &self.dear,
            &self.writes,
            &self.passwords,
            &self.handles,
            &self.handles_from_anywhere,
        ] {
            budget.retain_recent();
        }
    }
}
