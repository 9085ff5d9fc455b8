//! Days that people type, counted from today on this machine's clock and in its time zone.

use scionary_domain::time::{Date, Timestamp};
use scionary_proto::v1;
use scionary_show::days::{self, Sense};

/// Microseconds in a second.
const MICROS: i64 = 1_000_000;

/// Returns today's date here; in UTC where the time zone is not known.
pub(crate) fn today() -> Date {
    #[expect(
        clippy::disallowed_methods,
        reason = "a day that a person types is counted from their own clock"
    )]
    let now = time::OffsetDateTime::now_local().unwrap_or_else(|_| time::OffsetDateTime::now_utc());
    let seconds = now.unix_timestamp() + i64::from(now.offset().whole_seconds());
    Timestamp::from_micros(seconds * MICROS).date()
}

fn read(text: &str, sense: Sense) -> Result<v1::CalendarDate, String> {
    days::parse(text, today(), sense).map(days::wire)
}

/// Parses a day to come, such as an offer's last one; without a year it is the next such day.
pub(crate) fn coming(text: &str) -> Result<v1::CalendarDate, String> {
    read(text, Sense::Coming)
}

/// Parses a day that has come, such as one on which something was seen; without a year it is the last such day.
pub(crate) fn past(text: &str) -> Result<v1::CalendarDate, String> {
    read(text, Sense::Past)
}
