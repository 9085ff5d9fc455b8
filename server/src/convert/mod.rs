//! Between wire and domain types: the server converts here only.

pub mod account;
pub mod claim;
pub mod curation;
pub mod dated;
pub mod evidence;
pub mod grafts;
pub mod movement;
pub mod offer;
pub mod plan;
pub mod registry;

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
pub fn date(day: Date) -> v1::Date {
    v1::Date { year: day.year(), month: i32::from(day.month()), day: i32::from(day.day()) }
}

/// A day from the wire; what is wrong goes to `wrong`.
pub fn read_date(field: &str, day: Option<v1::Date>, wrong: &mut Vec<FieldError>) -> Option<Date> {
    let v1::Date { year, month, day } = day?;
    Date::new(year, month, day).map_err(|e| wrong.push(FieldError::new(field, e.to_string()))).ok()
}

/// A count on the wire.
pub fn count(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}
