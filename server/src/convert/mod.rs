//! Between wire and domain types: the server converts here only.

/// Pairs of a wire enum and a domain enum: both directions from one list.
macro_rules! pairs {
    ($write:ident, $read:ident, $wire:ident, $domain:ident { $($name:ident),* $(,)? }) => {
        pub(super) fn $write(value: $domain) -> i32 {
            match value { $($domain::$name => v1::$wire::$name.into()),* }
        }
        /// None if unspecified; a number that this server does not know is a wrong field.
        pub(super) fn $read(field: &str, value: i32, wrong: &mut Vec<FieldError>) -> Option<$domain> {
            match v1::$wire::try_from(value) {
                Ok(v1::$wire::Unspecified) => None,
                $(Ok(v1::$wire::$name) => Some($domain::$name),)*
                Err(_) => {
                    wrong.push(FieldError::new(field, format!("a value known to this server expected, {value} found")));
                    None
                }
            }
        }
    };
}

pub mod account;
pub mod claim;
pub mod club;
pub mod curation;
pub mod dated;
pub mod evidence;
pub mod grafts;
pub mod lot;
pub mod missing;
pub mod movement;
pub mod notice;
pub mod offer;
pub mod plan;
pub mod profile;
pub mod registry;
pub mod round;
pub mod want;

use scionary_domain::{
    field::FieldError,
    time::{Date, MICROS_PER_SECOND, Timestamp},
};
use scionary_proto::v1;

/// An instant on the wire.
pub fn timestamp(at: Timestamp) -> prost_types::Timestamp {
    let micros = at.micros();
    prost_types::Timestamp {
        seconds: micros.div_euclid(MICROS_PER_SECOND),
        nanos: i32::try_from(micros.rem_euclid(MICROS_PER_SECOND) * 1000).unwrap_or(0),
    }
}

/// A day on the wire.
pub fn date(day: Date) -> v1::CalendarDate {
    v1::CalendarDate { year: day.year(), month: i32::from(day.month()), day: i32::from(day.day()) }
}

/// A day from the wire; what is wrong goes to `wrong`.
pub fn read_date(field: &str, day: Option<v1::CalendarDate>, wrong: &mut Vec<FieldError>) -> Option<Date> {
    let v1::CalendarDate { year, month, day } = day?;
    Date::new(year, month, day).map_err(|e| wrong.push(FieldError::new(field, e.to_string()))).ok()
}

/// A count on the wire.
pub fn count(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

/// A yes or no that a call must say: leaving it out decides nothing.
///
/// # Errors
/// It was left out.
pub fn said(field: &str, answer: Option<bool>) -> Result<bool, FieldError> {
    answer.ok_or_else(|| FieldError::new(field, "say true or false"))
}

/// The version that a caller saw; none where a change is to be made whatever is there.
fn seen(version: i64) -> Option<i64> {
    (version != 0).then_some(version)
}
