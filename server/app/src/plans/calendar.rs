//! Plans as an iCalendar object (RFC 5545): whole-day events without a clock's time, so that they fall on the same day
//! everywhere. A step of up to a month is one event; a longer one has its first and its last day.

use icalendar::{Calendar, Component, Event, Property};
use scionary_domain::{
    plan::{Dates, State, Step, schedule},
    time::{Date, Timestamp},
};

use super::ShownPlan;

/// Longer than this a step is shown by its first and its last day.
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
    let until = dates.latest.map_or_else(|| "nobody says until when".into(), |day| format!("until {day}"));
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

struct Day<'a> {
    suffix: &'a str,
    summary: String,
    from: Date,
    until: Date,
}

fn event(plan: &ShownPlan, step: &Step, dates: Dates, day: Day<'_>) -> Event {
    let date =
        |name: &str, day: Date| Property::new(name, compact(day)).add_parameter("VALUE", "DATE").done();
    let updated = stamp(plan.plan.updated_at);
    Event::new()
        .uid(&format!("{}.{}{}@scionary", plan.plan.id, step.key, day.suffix))
        .append_property(Property::new("DTSTAMP", &updated))
        .append_property(Property::new("LAST-MODIFIED", &updated))
        .append_property(date("DTSTART", day.from))
        // the end is the day after
        .append_property(date("DTEND", day.until.plus_days(1)))
        .sequence(u32::try_from(plan.plan.version).unwrap_or(u32::MAX))
        .summary(&day.summary)
        .description(&words(plan, step, dates))
        // nobody is busy because a seed may sprout
        .append_property(Property::new("TRANSP", "TRANSPARENT"))
        .done()
}

fn events(plan: &ShownPlan, step: &Step, dates: Dates) -> Vec<Event> {
    let title = format!("{}: {}", step.title, plan.plan.title);
    let one =
        |suffix, summary: String, from, until| event(plan, step, dates, Day { suffix, summary, from, until });
    match &step.state {
        State::LeftOut { .. } => Vec::new(),
        State::Done { day } => vec![one("", format!("Done: {title}"), *day, *day)],
        State::Open => match dates.latest {
            Some(latest) if latest.days() - dates.earliest.days() < SPAN_DAYS => {
                vec![one("", title, dates.earliest, latest)]
            }
            Some(latest) => vec![
                one("", format!("{title} (from today)"), dates.earliest, dates.earliest),
                one(".last", format!("{title} (last day)"), latest, latest),
            ],
            None => vec![one("", format!("{title} (from today)"), dates.earliest, dates.earliest)],
        },
    }
}

/// The plans as one calendar, as they stand on a day.
pub(super) fn write(plans: &[ShownPlan], today: Date) -> String {
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    calendar.append_property(Property::new("PRODID", "-//Scionary//Plans//EN"));
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    calendar.append_property(Property::new("METHOD", "PUBLISH"));
    for plan in plans {
        let steps = &plan.plan.steps;
        for (step, dates) in steps.iter().zip(schedule(plan.plan.start, steps, today)) {
            for event in events(plan, step, dates) {
                calendar.push(event);
            }
        }
    }
    calendar.to_string()
}
