//! Plans as an iCalendar object (RFC 5545): whole-day events without a clock's time, so that they fall on the same day
//! everywhere. A step of up to a
//! month is shown whole, a longer one by its first day; what was left out is cancelled.

use icalendar::{Calendar, Component, Event, Property};
use scionary_domain::{
    plan::{Dates, State, Step, schedule},
    time::{Date, Timestamp},
};

use super::ShownPlan;

/// Longer than this a step is shown by its first day.
const SPAN_DAYS: i64 = 31;

fn compact(day: Date) -> String {
    day.to_string().replace('-', "")
}

/// `20270331T120000Z`.
fn stamp(at: Timestamp) -> String {
    at.to_string().replace(['-', ':'], "")
}

/// All that a person standing in the garden needs.
fn words(plan: &ShownPlan, step: &Step, dates: Dates) -> String {
    let until = dates.latest.map_or_else(|| "no end is known".into(), |day| format!("until {day}"));
    let mut parts = vec![step.about.clone()];
    if !step.look_for.is_empty() {
        parts.push(format!("Look for: {}", step.look_for));
    }
    if !step.if_fails.is_empty() {
        parts.push(format!("If it fails: {}", step.if_fails));
    }
    parts.extend(step.cautions.iter().map(|caution| format!("Take care: {caution}")));
    if !step.note.is_empty() {
        parts.push(format!("Your note: {}", step.note));
    }
    parts.push(format!("Days: from {} {until} ({}).", dates.earliest, step.origins.join(", ")));
    parts.push(format!("Plan {}, step {}.", plan.plan.id, step.key));
    parts.retain(|part| !part.is_empty());
    parts.join("\n")
}

/// What becomes of an event.
struct Day {
    summary: String,
    from: Date,
    until: Date,
    cancelled: bool,
}

fn event(plan: &ShownPlan, step: &Step, dates: Dates, day: &Day, now: Timestamp) -> Event {
    let date =
        |name: &str, day: Date| Property::new(name, compact(day)).add_parameter("VALUE", "DATE").done();
    // days move with time as well as with changes: a later export is a later state
    let age = now.date().days() - plan.plan.created_at.date().days();
    let sequence = u32::try_from(plan.plan.version.saturating_add(age)).unwrap_or_default();
    let mut event = Event::new();
    event
        .uid(&format!("{}.{}@scionary", plan.plan.id, step.key))
        .append_property(Property::new("DTSTAMP", stamp(now)))
        .append_property(Property::new("LAST-MODIFIED", stamp(plan.plan.updated_at)))
        .append_property(date("DTSTART", day.from))
        // the end is the day after
        .append_property(date("DTEND", day.until.plus_days(1)))
        .sequence(sequence)
        .summary(&day.summary)
        .description(&words(plan, step, dates))
        // no one is busy because a seed may sprout
        .append_property(Property::new("TRANSP", "TRANSPARENT"));
    if day.cancelled {
        event.append_property(Property::new("STATUS", "CANCELLED"));
    }
    event.done()
}

/// One event for each step: what was done on its day, what is open from its first day in season, what is overdue today.
fn day(plan: &ShownPlan, step: &Step, dates: Dates, today: Date) -> Day {
    let title = format!("{}: {}", step.title, plan.plan.title);
    let one = |summary, from, until| Day { summary, from, until, cancelled: false };
    match &step.state {
        State::LeftOut { .. } => {
            Day { cancelled: true, ..one(format!("Left out: {title}"), dates.earliest, dates.earliest) }
        }
        State::Done { day } => one(format!("Done: {title}"), *day, *day),
        State::Open if dates.late && dates.next_season.is_none() => {
            one(format!("Late: {title}"), today, today)
        }
        State::Open => {
            let from = dates.next_season.unwrap_or(dates.earliest);
            match dates.first_until.or(dates.latest).filter(|until| *until >= from) {
                Some(until) if until.days() - from.days() < SPAN_DAYS => one(title, from, until),
                Some(_) | None => one(format!("{title} (first day)"), from, from),
            }
        }
    }
}

/// The plans as one calendar, as they stand on a day.
pub(super) fn write(plans: &[ShownPlan], now: Timestamp) -> String {
    let today = now.date();
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    calendar.append_property(Property::new("PRODID", "-//Scionary//Plans//EN"));
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    calendar.append_property(Property::new("METHOD", "PUBLISH"));
    for plan in plans {
        let steps = &plan.plan.steps;
        for (step, dates) in steps.iter().zip(schedule(plan.plan.start, steps, today)) {
            calendar.push(event(plan, step, dates, &day(plan, step, dates, today), now));
        }
    }
    calendar.to_string()
}
