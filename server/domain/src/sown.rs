//! Sowings that ask for counts when they are due: sprouts, judged seedlings, first fruit. The registry learns
//! off-type rates from these counts.

use crate::{
    crop::Crop,
    ids::{AccountId, CultivarId, SowingId},
    time::{Date, Timestamp},
};

/// A grower's sowing.
#[derive(Clone, Debug, PartialEq)]
pub struct Sowing {
    /// Id of the sowing.
    pub id: SowingId,
    /// Account of the grower.
    pub grower: AccountId,
    /// Cultivar of the mother tree.
    pub cultivar: CultivarId,
    /// Key of the crop.
    pub crop: String,
    /// Day of sowing.
    pub day: Date,
    /// Number of seeds sown.
    pub seeds: u32,
    /// Mother tree, in the grower's words.
    pub tree: String,
    /// The grower's note.
    pub note: String,
    /// Time of closing and the reason; `None` while open.
    pub closed: Option<(Timestamp, String)>,
    /// Time of entry.
    pub at: Timestamp,
    /// Version number; each change adds 1.
    pub version: i64,
}

/// A count that a sowing asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tally {
    /// Sprouts of each seed.
    Sprouts,
    /// Off-type seedlings, judged by eye.
    Judged,
    /// First fruit compared with the mother's.
    FirstFruit,
}

/// A count with the day from which it is due.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Due {
    /// Kind of count.
    pub tally: Tally,
    /// First day on which it can be made.
    pub from: Date,
    /// What to do, in words.
    pub text: String,
    /// Basis of the day: a source key, or `common practice`.
    pub origin: String,
}

/// Days until sprouts are counted if no germination time is published: eight weeks. With a published time,
/// sprouts are counted after twice its upper end, because late seeds follow.
const SPROUTS_DAYS: i64 = 56;
/// Days until seedlings are judged by eye: when they go into a bigger pot, after eight to nine months.
const JUDGED_DAYS: i64 = 255;
/// Years to a seedling's first fruit if no time is published.
const FRUIT_YEARS: f64 = 4.0;

/// Returns when each count of a sowing is due, using the crop's published times if there are any.
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
