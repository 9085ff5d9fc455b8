//! When records are ripe, near a place and drawn toward what is known of the crop.

use std::{collections::BTreeMap, sync::Arc};

use scionary_domain::{
    calendar::{self, Bars, Pattern},
    crop::NEAR_EQUATOR,
    evidence::{self, Evidence, Finding, Summary, Value},
    place::GridCode,
};

use super::{Record, Registry};

/// The season's descriptor.
const SEASON: &str = "season";
/// Sightings so near count as seen at a place: seasons differ little within it. A choice of ours.
const NEAR_KM: f64 = 300.0;

/// When a record is ripe.
#[derive(Clone, Debug, Default)]
pub struct Season {
    /// As seen anywhere.
    pub seen: Option<Bars>,
    /// What is to be expected.
    pub expected: Option<Bars>,
    /// Place-years seen.
    pub place_years: usize,
    /// Of these, near the place.
    pub near_place_years: usize,
    /// The finding.
    pub finding: Option<Finding>,
    /// Months that sources name, as they fall in their places.
    pub published: Vec<Published>,
}

/// Months of ripe fruit as a source names them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Published {
    /// First and last month, 1 to 12.
    pub months: (u8, u8),
    /// Where, if the source says.
    pub place: String,
    /// The source's key.
    pub source: String,
    /// As the source puts it.
    pub as_stated: String,
}

fn place_years(finding: Option<&Finding>) -> usize {
    match finding.map(|f| &f.summary) {
        Some(Summary::Period { place_years, .. }) => *place_years,
        Some(Summary::None | Summary::Steps { .. } | Summary::Quantity { .. }) | None => 0,
    }
}

impl Record {
    fn season_finding(&self) -> Option<&Finding> {
        self.findings.iter().find(|f| f.descriptor == SEASON)
    }
    /// Months that sources name.
    fn published(&self) -> Vec<Published> {
        let of_season = self.evidence.iter().filter(|piece| piece.descriptor == SEASON);
        let mut all: Vec<Published> = of_season
            .filter_map(|piece| {
                let Value::Period { from, to } = piece.value else { return None };
                Some(Published {
                    months: (from, to),
                    place: piece.place.clone(),
                    source: piece.source.clone(),
                    as_stated: piece.as_stated.clone(),
                })
            })
            .collect();
        all.sort_by(|a, b| (&a.place, &a.source, a.months).cmp(&(&b.place, &b.source, b.months)));
        all
    }
    /// For each half month, the share of place-years in which it was seen ripe, south or north of the equator.
    pub(crate) fn season_bars(&self, south: bool) -> Option<Bars> {
        calendar::bars(&self.season_finding()?.summary, south)
    }
}

/// Answers when records are ripe in one place; patterns of crops are made once.
pub struct Seasons<'a> {
    registry: &'a Registry,
    south: bool,
    near: Option<GridCode>,
    near_equator: bool,
    patterns: BTreeMap<String, Pattern>,
}

impl Registry {
    /// When records are ripe south or north of the equator, near a place where one is named.
    pub fn seasons(&self, south: bool, near: Option<GridCode>) -> Seasons<'_> {
        let near_equator = near.as_ref().is_some_and(|grid| grid.middle().0.abs() < NEAR_EQUATOR);
        Seasons { registry: self, south, near, near_equator, patterns: BTreeMap::new() }
    }
}

impl Seasons<'_> {
    /// Whether the place is so near the equator that seasons follow the rains.
    pub fn is_near_equator(&self) -> bool {
        self.near_equator
    }

    fn pattern(&mut self, crop: &str) -> Pattern {
        let (registry, south) = (self.registry, self.south);
        let made = || {
            let mut pattern = Pattern::default();
            let of_crop = registry.records().filter(|r| r.cultivar.crop == crop);
            of_crop.filter_map(|r| r.season_bars(south)).for_each(|bars| pattern.add(&bars));
            pattern
        };
        *self.patterns.entry(crop.to_string()).or_insert_with(made)
    }

    /// Whether what was seen of a record anywhere touches a gap at all.
    pub fn may_fill(&self, record: &Record, gaps: &[usize]) -> bool {
        let bars = record.season_bars(self.south);
        bars.is_some_and(|bars| gaps.iter().any(|at| bars.get(*at).is_some_and(|share| *share > 0.0)))
    }

    /// When a record is ripe: as seen near the place, drawn toward what was seen anywhere, and that toward the crop's
    /// other cultivars.
    pub fn of(&mut self, record: &Record) -> Season {
        let finding = record.season_finding();
        let seen = record.season_bars(self.south);
        let years = place_years(finding);
        let pattern = self.pattern(&record.cultivar.crop).without(seen.as_ref());
        let anywhere = calendar::drawn(seen.as_ref().map(|bars| (bars, years)), pattern.as_ref());
        let near = self.near.as_ref().and_then(|grid| self.seen_near(record, grid));
        let near_years = place_years(near.as_ref());
        let near_bars = near.as_ref().and_then(|f| {
            // what was seen within a few hundred kilometres of a place at the equator stands as it was seen
            if self.near_equator {
                calendar::as_seen(&f.summary)
            } else {
                calendar::bars(&f.summary, self.south)
            }
        });
        let expected = if self.near_equator {
            // half a year on is no better guess than any other there
            near_bars.filter(|_| near_years > 0)
        } else if years == near_years {
            anywhere
        } else {
            calendar::drawn(near_bars.as_ref().map(|bars| (bars, near_years)), anywhere.as_ref())
        };
        Season {
            seen,
            expected,
            place_years: years,
            near_place_years: near_years,
            finding: finding.cloned(),
            published: record.published(),
        }
    }

    fn seen_near(&self, record: &Record, grid: &GridCode) -> Option<Finding> {
        let descriptor = self.registry.crop(&record.cultivar.crop)?.descriptor(SEASON)?;
        let is_near = |piece: &&Arc<Evidence>| {
            let place = piece.observed.as_ref().and_then(|o| o.place.as_ref());
            place.is_some_and(|place| place.grid.distance_km(grid) <= NEAR_KM)
        };
        evidence::finding_from(descriptor, record.evidence.iter().filter(is_near))
    }
}
