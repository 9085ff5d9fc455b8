//! Ripening periods from sightings: the share of place-years in which fruit is ripe, day by day.
//!
//! Each place-year has one vote. Southern sightings are shifted by half a year to the northern phase before
//! they are pooled with northern ones. Sightings within ten degrees of the equator are not shifted, because
//! several crops a year are usual there. Months from publications are shown next to the result.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    Finding, Piece, Standing, Summary, Value, behind,
    ordinal::{doubted, with},
    voice::{GROUP_SHARE_MAX, Heard, TRUST_MIN},
    words::{heard, side_by_side, unweighed},
};
use crate::{
    crop::Descriptor,
    crop::NEAR_EQUATOR,
    season::{self, CORE, Coverage, FULL, Span},
    time::Date,
};

/// Days beyond which a first and a last sighting do not belong to one season.
const SEASON_DAYS_MAX: i64 = 240;

/// Part of the world, as far as seasons differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Zone {
    North,
    South,
    Equator,
    Unknown,
}

/// A season that one voice saw in one place.
struct Seen {
    group: String,
    place: String,
    zone: Zone,
    year: i32,
    span: Span,
}

/// Returns the finding on a period of the year.
pub fn finding(descriptor: &Descriptor, own: &[Heard<'_>]) -> Finding {
    let mut pieces = unweighed(own);
    let seen = seasons(own, &mut pieces);
    if seen.is_empty() {
        let mut plain = super::words::finding(descriptor, own);
        if heard(own).0 == 0 && plain.standing != Standing::Unknown {
            plain.standing = Standing::Unknown;
            plain.standing_text = "seen, but without both a first and a last day in one place".into();
        }
        plain.pieces = pieces;
        return plain;
    }
    let spans = held(place_years(&seen));
    let zones: BTreeSet<Zone> = spans.iter().map(|(zone, _)| *zone).collect();
    let southern = zones.len() == 1 && zones.contains(&Zone::South);
    let mixed = zones.len() > 1;
    let pooled: Vec<Span> = spans
        .iter()
        .filter(|(zone, _)| !mixed || matches!(zone, Zone::North | Zone::South))
        .map(|(zone, span)| if mixed && *zone == Zone::South { season::to_northern(*span) } else { *span })
        .collect();
    // Sightings without a place, or only near the equator, are pooled unshifted.
    let pooled = if pooled.is_empty() { spans.iter().map(|(_, span)| *span).collect() } else { pooled };
    let Some(coverage) = Coverage::of(&pooled) else { return super::words::finding(descriptor, own) };
    let (core, full) = (coverage.windows(CORE), coverage.windows(FULL));
    let voices = seen.iter().map(|s| &s.group).collect::<BTreeSet<_>>().len();
    let years = pooled.len();
    let (papers, growers) = heard(own);
    let standing = match (years, voices) {
        (3.., 3..) => Standing::Settled,
        (2.., 2..) => Standing::Likely,
        _ => Standing::Thin,
    };
    let hemisphere = if mixed {
        ", as in the north; half a year later in the south"
    } else if southern {
        ", as seen in the south"
    } else {
        ""
    };
    let published = if papers > 0 {
        let of: Vec<Heard<'_>> = own.iter().filter(|h| h.voice.published).cloned().collect();
        format!("; published: {}", side_by_side(&of))
    } else {
        String::new()
    };
    let widest =
        if core == full { String::new() } else { format!(", at the widest {}", season::words(&full)) };
    let text = format!(
        "ripe {}{}{widest}{hemisphere} (seen by {} in {}){published}",
        if core == full { "" } else { "mostly " },
        season::words(&core),
        behind(0, voices),
        super::counted(years, "place-year"),
    );
    Finding {
        text,
        standing,
        standing_text: format!(
            "{} of {}; seasons differ by place and year",
            super::counted(years, "place-year"),
            behind(0, growers)
        ),
        voices,
        summary: Summary::Period {
            core,
            full,
            half_months: coverage.half_months().to_vec(),
            place_years: years,
            southern,
        },
        pieces,
        ..Finding::of(descriptor)
    }
}

/// Returns a date's day of the year.
fn day(date: Date) -> Option<u16> {
    season::day_of_year(date.month(), date.day())
}

/// Returns the seasons with a first and a last day: entered together, or paired from one voice's sightings in
/// one place.
fn seasons(own: &[Heard<'_>], pieces: &mut [Piece]) -> Vec<Seen> {
    let mut seen = Vec::new();
    let mut firsts: BTreeMap<(String, String, String), Vec<(Date, usize)>> = BTreeMap::new();
    let mut lasts: BTreeMap<(String, String, String), Vec<(Date, usize)>> = BTreeMap::new();
    let mut zones: BTreeMap<String, Zone> = BTreeMap::new();
    for (at, (Heard { evidence, voice }, piece)) in own.iter().zip(pieces.iter_mut()).enumerate() {
        let (Value::Sighting { first, last }, Some(observed)) = (&evidence.value, &evidence.observed) else {
            continue;
        };
        let voice = voice.clone();
        if voice.trust < TRUST_MIN {
            piece.why = doubted(&voice.why);
            continue;
        }
        piece.why = with("one end of a season: it counts once the other is seen", &voice.why);
        let place = observed.place_key();
        let zone = observed.place.as_ref().map_or(Zone::Unknown, |p| {
            let latitude = p.grid.middle().0;
            if latitude.abs() < NEAR_EQUATOR {
                Zone::Equator
            } else if latitude < 0.0 {
                Zone::South
            } else {
                Zone::North
            }
        });
        zones.insert(place.clone(), zone);
        match (first, last) {
            (Some(f), Some(l)) => {
                let span = day(*f).zip(day(*l)).and_then(|(f, l)| Span::new(f, l));
                if let Some(span) = span {
                    piece.weight = 1.0;
                    piece.why = with("a season: its place and year have one vote", &voice.why);
                    seen.push(Seen { group: voice.group, place, zone, year: f.year(), span });
                }
            }
            (Some(f), None) => firsts.entry((voice.who, voice.group, place)).or_default().push((*f, at)),
            (None, Some(l)) => lasts.entry((voice.who, voice.group, place)).or_default().push((*l, at)),
            (None, None) => {}
        }
    }
    for ((who, group, place), mut starts) in firsts {
        let Some(ends) = lasts.get_mut(&(who.clone(), group.clone(), place.clone())) else { continue };
        starts.sort();
        ends.sort();
        for (first, first_at) in starts {
            let found = ends
                .iter()
                .position(|(last, _)| (0..=SEASON_DAYS_MAX).contains(&(last.days() - first.days())));
            let Some(found) = found else { continue };
            let (last, last_at) = ends.remove(found);
            let Some(span) = day(first).zip(day(last)).and_then(|(f, l)| Span::new(f, l)) else { continue };
            for at in [first_at, last_at] {
                if let Some(piece) = pieces.get_mut(at) {
                    piece.weight = 1.0;
                    piece.why = "one end of a season: its place and year have one vote".into();
                }
            }
            let zone = zones.get(&place).copied().unwrap_or(Zone::Unknown);
            seen.push(Seen { group: group.clone(), place: place.clone(), zone, year: first.year(), span });
        }
    }
    seen
}

/// Returns one span for each place and year: the median of the first days and of the last days.
fn place_years(seen: &[Seen]) -> Vec<(Zone, Span, String)> {
    let mut of: BTreeMap<(&str, i32), Vec<&Seen>> = BTreeMap::new();
    for season in seen {
        of.entry((&season.place, season.year)).or_default().push(season);
    }
    of.values()
        .filter_map(|rows| {
            let reference = rows.first()?;
            let offset = |day: u16, from: u16| {
                f64::from((i32::from(day) - i32::from(from) + 182).rem_euclid(365) - 182)
            };
            let middle = |offsets: Vec<f64>| super::median::medians(&offsets).map(|(low, _)| low);
            let first = middle(rows.iter().map(|r| offset(r.span.first, reference.span.first)).collect())?;
            let last = middle(rows.iter().map(|r| offset(r.span.last, reference.span.last)).collect())?;
            let moved = |day: u16, by: f64| {
                let days = whole(by) + i32::from(day) - 1;
                u16::try_from(days.rem_euclid(365) + 1).ok()
            };
            let span = Span::new(moved(reference.span.first, first)?, moved(reference.span.last, last)?)?;
            Some((reference.zone, span, reference.group.clone()))
        })
        .collect()
}

/// Limits each group to its share of the place-years where at least three groups saw some. From a group above
/// the limit it keeps place-years spread evenly over its own.
fn held(all: Vec<(Zone, Span, String)>) -> Vec<(Zone, Span)> {
    let mut of: BTreeMap<String, Vec<(Zone, Span)>> = BTreeMap::new();
    let total = all.len();
    for (zone, span, group) in all {
        of.entry(group).or_default().push((zone, span));
    }
    let few = of.len() < 3;
    let mut kept = Vec::new();
    for own in of.into_values() {
        let most = if few { own.len() } else { share_of(total - own.len()).clamp(1, own.len()) };
        kept.extend((0..most).filter_map(|at| own.get((2 * at + 1) * own.len() / (2 * most)).copied()));
    }
    kept
}

/// Returns how many place-years a group may have for this number of others.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a share of a count"
)]
fn share_of(others: usize) -> usize {
    (GROUP_SHARE_MAX / (1.0 - GROUP_SHARE_MAX) * others as f64) as usize
}

#[expect(clippy::cast_possible_truncation, reason = "whole days of half a year")]
fn whole(days: f64) -> i32 {
    days as i32
}
