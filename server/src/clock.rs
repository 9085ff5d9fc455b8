//! The system's clock: the only place that reads it.

use std::time::{Instant, SystemTime, UNIX_EPOCH};

use scionary_app::ports::Clock;
use scionary_domain::time::Timestamp;

/// The system's clock.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "this is the clock")]
    fn now(&self) -> Timestamp {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        Timestamp::from_micros(i64::try_from(since.as_micros()).unwrap_or(i64::MAX))
    }
}

/// A point to measure from.
#[expect(clippy::disallowed_methods, reason = "this is the clock")]
pub fn stopwatch() -> Instant {
    Instant::now()
}
