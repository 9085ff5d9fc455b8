//! Sowings that ask for their tally when it is due: sprouts, seedlings judged, first fruit. That is how the
//! registry learns.

use crate::{
    crop::Crop,
    ids::{AccountId, CultivarId, SowingId},
    time::{Date, Timestamp},
};

/// A sowing of someone.
#[derive(Clone, Debug, PartialEq)]
pub struct Sowing {
    /// Its id.
    pub id: SowingId,
    /// Whose.
    pub grower: AccountId,
    /// The mother's record.
    pub cultivar: CultivarId,
    /// The crop's key.
    pub crop: String,
    /// On which day.
    pub day: Date,
    /// How many seeds.
    pub seeds: u32,
    /// The mother tree, in the grower's words.
    pub tree: String,
    /// What to bear in mind.
    pub note: String,
    /// When it was closed, and why.
    pub closed: Option<(Timestamp, String)>,
    /// When it was entered.
    pub at: Timestamp,
    /// Counts up with each change.
    pub version: i64,
}

/// A tally that a sowing asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tally {
    /// Sprouts of each seed.
    Sprouts,
    /// Seedlings judged by eye.
    Judged,
    /// The first fruit tells.
    FirstFruit,
}

/// When a tally is due.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Due {
    /// Which.
    pub tally: Tally,
    /// From this day on.
    pub from: Date,
    /// What to do.
    pub text: String,
    /// Where the day comes from: a source's key, or `common practice`.
    pub origin: String,
}

/// Sprouts are counted twice the usual time to germination after sowing, as late ones follow; without a
/// published time, after eight weeks.
const SPROUTS_DAYS: i64 = 56;
/// Seedlings can be judged by eye when they go into a bigger pot, after eight to nine months.
const JUDGED_DAYS: i64 = 255;
/// A seedling's first fruit, in years, where nothing is published.
const FRUIT_YEARS: f64 = 4.0;

/// When each tally of a sowing is due, by the crop's published times where there are some.
pub fn due(crop: &Crop, sown: Date) -> Vec<Due> {
    let practice = || "common practice".to_string();
    let sprouts = crop.timings_of("germination").find(|t| t.step == "germination" && t.unit == "days");
    let (days, origin) = match sprouts.and_then(|t| Some((t.high?, t.origin().to_string()))) {
        Some((days, origin)) => (whole(days * 2.0), origin),
        None => (SPROUTS_DAYS, practice()),
    };
    let fruit = crop.timings_of("first_fruit_seedling").find(|t| t.unit == "years" && t.low.is_some());
    let (years, fruit_origin) = match fruit.and_then(|t| Some((t.low?, t.origin().to_string()))) {
        Some((years, origin)) => (years, origin),
        None => (FRUIT_YEARS, practice()),
    };
    vec![
        Due {
            tally: Tally::Sprouts,
            from: sown.plus_days(days),
            text: "count the seeds that came up and the sprouts of each".into(),
            origin,
        },
        Due {
            tally: Tally::Judged,
            from: sown.plus_days(JUDGED_DAYS),
            text: "judge the seedlings: how many are unlike the mother tree? Those that came up alone apart"
                .into(),
            origin: practice(),
        },
        Due {
            tally: Tally::FirstFruit,
            from: sown.plus_days(whole(years * 365.25)),
            text: "compare the first fruit with the mother's: that settles which seedlings are true".into(),
            origin: fruit_origin,
        },
    ]
}

#[expect(clippy::cast_possible_truncation, reason = "days within a human life")]
fn whole(days: f64) -> i64 {
    days.clamp(0.0, 50_000.0) as i64
}
