//! Instants and calendar days. This module never reads the clock: the current time is always an argument.

use std::{fmt, str::FromStr};

use serde::{Deserialize, Serialize};

/// Number of microseconds in a second.
pub const MICROS_PER_SECOND: i64 = 1_000_000;
const MICROS_PER_DAY: i64 = 86_400 * MICROS_PER_SECOND;

/// An instant in UTC, in microseconds since 1970, so that both databases return exactly what was stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Timestamp(i64);

impl Timestamp {
    /// Builds an instant from microseconds since 1970-01-01T00:00:00Z.
    pub const fn from_micros(micros: i64) -> Self {
        Self(micros)
    }
    /// Returns the microseconds since 1970-01-01T00:00:00Z.
    pub const fn micros(self) -> i64 {
        self.0
    }
    /// Returns the instant this many days of 24 hours later.
    pub const fn plus_days(self, days: i64) -> Self {
        Self(self.0.saturating_add(days.saturating_mul(MICROS_PER_DAY)))
    }
    /// Returns the UTC day that contains the instant.
    pub fn date(self) -> Date {
        Date::from_days(self.0.div_euclid(MICROS_PER_DAY))
    }
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let second = self.0.rem_euclid(MICROS_PER_DAY) / MICROS_PER_SECOND;
        write!(f, "{}T{:02}:{:02}:{:02}Z", self.date(), second / 3600, second / 60 % 60, second % 60)
    }
}

/// A calendar day (proleptic Gregorian), years 1 to 9999.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Date(time::Date);

/// Error for a text or numbers that are not a day.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a day such as 2027-03-31 expected, {0:?} found")]
pub struct DateError(String);

impl Date {
    /// Builds a day from its parts.
    ///
    /// # Errors
    /// Returns [`DateError`] when there is no such day, or when the year is not 1 to 9999.
    pub fn new(year: i32, month: i32, day: i32) -> Result<Self, DateError> {
        let build = || {
            let month = time::Month::try_from(u8::try_from(month).ok()?).ok()?;
            let date = time::Date::from_calendar_date(year, month, u8::try_from(day).ok()?).ok()?;
            (1..=9999).contains(&year).then_some(Self(date))
        };
        build().ok_or_else(|| DateError(format!("{year}-{month}-{day}")))
    }
    /// Returns the day this many days after 1970-01-01, clamped to the years 1 to 9999.
    pub fn from_days(days: i64) -> Self {
        const EPOCH: i64 = 2_440_588; // Julian day number of 1970-01-01.
        // 0001-01-01 and 9999-12-31.
        const FIRST: i64 = -719_162;
        const LAST: i64 = 2_932_896;
        let julian = days.clamp(FIRST, LAST) + EPOCH;
        Self(
            i32::try_from(julian)
                .ok()
                .and_then(|j| time::Date::from_julian_day(j).ok())
                .unwrap_or(time::Date::MAX),
        )
    }
    /// Returns the days since 1970-01-01.
    pub fn days(self) -> i64 {
        i64::from(self.0.to_julian_day()) - 2_440_588
    }
    /// Returns the year, 1 to 9999.
    pub fn year(self) -> i32 {
        self.0.year()
    }
    /// Returns the month, 1 to 12.
    pub fn month(self) -> u8 {
        self.0.month().into()
    }
    /// Returns the day of the month, 1 to 31.
    pub fn day(self) -> u8 {
        self.0.day()
    }
    /// Returns the day this many days later, clamped to the years 1 to 9999.
    pub fn plus_days(self, days: i64) -> Self {
        Self::from_days(self.days().saturating_add(days))
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year(), self.month(), self.day())
    }
}

impl FromStr for Date {
    type Err = DateError;
    fn from_str(text: &str) -> Result<Self, DateError> {
        let wrong = || DateError(text.to_string());
        let parts: Vec<&str> = text.trim().split('-').collect();
        let [year, month, day] = parts.as_slice() else { return Err(wrong()) };
        let number = |part: &str| {
            part.bytes()
                .all(|b| b.is_ascii_digit())
                .then(|| part.parse::<i32>().ok())
                .flatten()
                .ok_or_else(wrong)
        };
        Self::new(number(year)?, number(month)?, number(day)?).map_err(|_| wrong())
    }
}

impl Serialize for Date {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
impl<'de> Deserialize<'de> for Date {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// A month of a year, such as 2024-03.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct YearMonth {
    /// Year, 1 to 9999.
    pub year: i32,
    /// Month, 1 to 12.
    pub month: u8,
}

impl fmt::Display for YearMonth {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}", self.year, self.month)
    }
}

impl FromStr for YearMonth {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let date: Date = format!("{}-01", text.trim())
            .parse()
            .map_err(|_| format!("a month such as 2024-03 expected, {text:?} found"))?;
        Ok(Self { year: date.year(), month: date.month() })
    }
}

impl Serialize for YearMonth {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
impl<'de> Deserialize<'de> for YearMonth {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn known_days() {
        assert_eq!(Date::new(1970, 1, 1).unwrap().days(), 0);
        assert_eq!("2024-02-29".parse::<Date>().unwrap().plus_days(1).to_string(), "2024-03-01");
        assert!("2023-02-29".parse::<Date>().is_err());
        assert!("2023-2-29x".parse::<Date>().is_err());
        assert_eq!(Timestamp::from_micros(-1).to_string(), "1969-12-31T23:59:59Z");
    }

    proptest! {
        #[test]
        fn days_round_trip(days in -700_000i64..2_900_000) {
            let date = Date::from_days(days);
            prop_assert_eq!(date.days(), days);
            prop_assert_eq!(date.to_string().parse::<Date>(), Ok(date));
        }
    }
}
