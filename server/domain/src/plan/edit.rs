//! Edits of a plan: marking steps done, leaving them out, setting days, adding own steps.

use super::{State, Step};
use crate::{
    field::{FieldError, Fields},
    limits,
    time::Date,
};

/// An edit of one step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Edit {
    /// The grower did the step.
    Done {
        /// Day on which it was done.
        day: Date,
    },
    /// The step is open again.
    Reopen,
    /// The step failed: it and every step that depends on it are open again, from today on.
    Again,
    /// The grower leaves the step out.
    LeaveOut {
        /// Reason; may be empty.
        why: String,
    },
    /// The grower sets a day for the step; `None` returns it to the calculated days.
    Plan {
        /// The chosen day.
        day: Option<Date>,
    },
    /// The grower writes a note.
    Note {
        /// Text of the note; an empty text deletes the note.
        text: String,
    },
}

/// Number of years from today within which a planned day and a done day must lie.
const YEARS_AHEAD: i64 = 60;
const YEARS_BACK: i64 = 60;
const DAYS_A_YEAR: i64 = 366;

fn known_day(fields: &mut Fields, field: &str, day: Date, today: Date, until: Date) {
    let from = today.plus_days(-YEARS_BACK * DAYS_A_YEAR);
    if day < from || day > until {
        fields.wrong(field, format!("a day from {from} to {until} expected, {day} found"));
    }
}

/// Checks the first day of a plan; a defect goes to `fields` under `field`.
pub fn check_start(fields: &mut Fields, field: &str, start: Date, today: Date) {
    known_day(fields, field, start, today, today.plus_days(YEARS_AHEAD * DAYS_A_YEAR));
}

/// Returns the steps after an edit of the step with this key.
///
/// # Errors
/// Returns [`FieldError`]s when no step has the key or when the edit is invalid.
pub fn edited(
    mut steps: Vec<Step>,
    key: &str,
    edit: &Edit,
    today: Date,
) -> Result<Vec<Step>, Vec<FieldError>> {
    let mut fields = Fields::new();
    let Some(at) = steps.iter().position(|s| s.key == key) else {
        let known: Vec<&str> = steps.iter().map(|s| s.key.as_str()).collect();
        let expected = format!("one of {} expected, {key:?} found", known.join(", "));
        return Err(vec![FieldError::new("step_key", expected)]);
    };
    let done_of = |step: &Step| match step.state {
        State::Done { day } => Some((day, step.title.clone())),
        State::Open | State::LeftOut { .. } => None,
    };
    let (before, behind): (Vec<_>, Vec<_>) = {
        let follows = |s: &&Step| s.after.iter().any(|k| k == key);
        let after = steps.get(at).map(|s| s.after.clone()).unwrap_or_default();
        (
            steps.iter().filter(|s| after.contains(&s.key)).filter_map(done_of).collect(),
            steps.iter().filter(follows).filter_map(done_of).collect(),
        )
    };
    let in_order = |fields: &mut Fields, field: &str, day: Date| {
        if let Some((first, title)) = before.iter().find(|(done, _)| day < *done) {
            fields.wrong(field, format!("{first} or later expected: that is when “{title}” was done"));
        }
        if let Some((last, title)) = behind.iter().find(|(done, _)| day > *done) {
            fields.wrong(field, format!("{last} or earlier expected: that is when “{title}” was done"));
        }
    };
    if *edit == Edit::Again {
        return Ok(begun_again(steps, at, today));
    }
    if let Some(step) = steps.get_mut(at) {
        match edit {
            Edit::Done { day } => {
                // One day of slack for growers in time zones ahead of the server's.
                if *day > today.plus_days(1) {
                    fields.wrong("done_on", format!("a day that has come expected, {day} is still to come"));
                } else {
                    known_day(&mut fields, "done_on", *day, today, today.plus_days(1));
                }
                in_order(&mut fields, "done_on", *day);
                step.state = State::Done { day: *day };
            }
            Edit::Reopen => step.state = State::Open,
            Edit::LeaveOut { why } => {
                let why = fields.text("leave_out", why, 0, limits::REASON_CHARS_MAX).unwrap_or_default();
                step.state = State::LeftOut { why };
            }
            Edit::Plan { day } => {
                if let State::Done { day: done } = step.state {
                    fields.wrong(
                        "planned",
                        format!("a step that is open expected: it was done on {done}; reopen it first"),
                    );
                }
                if let Some(day) = day {
                    check_start(&mut fields, "planned", *day, today);
                    in_order(&mut fields, "planned", *day);
                }
                step.planned = *day;
            }
            Edit::Note { text } => {
                step.note = fields.text("note", text, 0, limits::PLAN_NOTE_CHARS_MAX).unwrap_or_default();
            }
            Edit::Again => {}
        }
    }
    fields.finish(Some(steps))
}

/// Opens a step again, with every step that depends on it. The step itself may not start before today.
fn begun_again(mut steps: Vec<Step>, at: usize, today: Date) -> Vec<Step> {
    let mut reached: Vec<String> = steps.get(at).map(|s| s.key.clone()).into_iter().collect();
    for step in steps.iter_mut().skip(at) {
        if step.after.iter().any(|key| reached.contains(key)) {
            reached.push(step.key.clone());
        }
        if reached.contains(&step.key) {
            step.state = State::Open;
            step.planned = None;
        }
    }
    if let Some(step) = steps.get_mut(at) {
        step.not_before = Some(today);
    }
    steps
}

/// Merges a new draft into an edited plan: state, days and notes carry over by key, and own steps stay in.
pub fn redrafted(old: &[Step], draft: Vec<Step>) -> Vec<Step> {
    let mut steps: Vec<Step> = draft
        .into_iter()
        .map(|new| match old.iter().find(|s| s.key == new.key && !s.own) {
            Some(known) => Step {
                state: known.state.clone(),
                planned: known.planned,
                not_before: known.not_before,
                note: known.note.clone(),
                ..new
            },
            None => new,
        })
        .collect();
    for own in old.iter().filter(|s| s.own) {
        let mut own = own.clone();
        own.after.retain(|key| steps.iter().any(|s| &s.key == key));
        let behind = own.after.iter().filter_map(|key| steps.iter().position(|s| &s.key == key)).max();
        steps.insert(behind.map_or(0, |at| at + 1), own);
    }
    steps
}

/// Returns the number of characters that the grower typed into these steps. The server limits them.
pub fn text_chars(steps: &[Step]) -> usize {
    let chars = |text: &str| text.chars().count();
    steps
        .iter()
        .map(|step| {
            let why = match &step.state {
                State::LeftOut { why } => chars(why),
                State::Open | State::Done { .. } => 0,
            };
            let own = if step.own { chars(&step.title) + chars(&step.about) } else { 0 };
            why + own + chars(&step.note)
        })
        .sum()
}

/// A step that the grower adds.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnStep {
    /// Title, a few words.
    pub title: String,
    /// What to do.
    pub about: String,
    /// Fixed day; `None` to calculate it from `wait_days`.
    pub day: Option<Date>,
    /// Days to wait after `after`.
    pub wait_days: i64,
    /// Key of the step to wait for; empty for the start of the plan.
    pub after: String,
}

/// Inserts one of the grower's own steps after the step that it follows, and returns the steps and the new key.
/// The key contains `number`, which no step of the plan has ever had.
///
/// # Errors
/// Returns one [`FieldError`] for every wrong field.
pub fn with_own(
    mut steps: Vec<Step>,
    own: &OwnStep,
    number: i64,
    today: Date,
) -> Result<(Vec<Step>, String), Vec<FieldError>> {
    let mut fields = Fields::new();
    let title = fields.line("title", &own.title, 1, limits::PLAN_TITLE_CHARS_MAX);
    let about = fields.text("about", &own.about, 0, limits::PLAN_NOTE_CHARS_MAX);
    let place = if own.after.is_empty() {
        Some(0)
    } else {
        steps.iter().position(|s| s.key == own.after).map(|at| at + 1)
    };
    if place.is_none() {
        fields.wrong("after", format!("the key of a step of this plan expected, {:?} found", own.after));
    }
    if let Some(day) = own.day {
        check_start(&mut fields, "day", day, today);
    }
    if !(0..=YEARS_AHEAD * DAYS_A_YEAR).contains(&own.wait_days) {
        fields.wrong("wait_days", format!("0 to {} expected", YEARS_AHEAD * DAYS_A_YEAR));
    }
    let (title, about) = fields.finish(title.zip(about))?;
    let key = format!("own_{number}");
    let step = Step {
        key: key.clone(),
        title,
        about,
        look_for: String::new(),
        if_fails: String::new(),
        after: Some(own.after.clone()).filter(|after| !after.is_empty()).into_iter().collect(),
        low: own.wait_days,
        high: Some(own.wait_days),
        wait: match own.wait_days {
            0 => String::new(),
            1 => "1 day".into(),
            days => format!("{days} days"),
        },
        months: Vec::new(),
        cautions: Vec::new(),
        origins: vec!["your own step".into()],
        remark: String::new(),
        planned: own.day,
        not_before: None,
        perishes: false,
        state: State::Open,
        note: String::new(),
        own: true,
    };
    steps.insert(place.unwrap_or(steps.len()).min(steps.len()), step);
    Ok((steps, key))
}

/// Removes one of the grower's own steps. Steps that followed it now follow its predecessors.
///
/// # Errors
/// Returns a [`FieldError`] when no step has the key, or when the step is one of the crop's (leave that out instead).
pub fn without_own(mut steps: Vec<Step>, key: &str) -> Result<Vec<Step>, FieldError> {
    let wrong = |expected: &str| FieldError::new("step_key", expected);
    let Some(at) = steps.iter().position(|s| s.key == key) else {
        return Err(wrong("the key of a step of this plan expected"));
    };
    let step = steps.remove(at);
    if !step.own {
        return Err(wrong("a step of your own expected; a step of the crop can be left out"));
    }
    for other in &mut steps {
        if other.after.iter().any(|k| k == key) {
            other.after.retain(|k| k != key);
            other.after.extend(step.after.iter().filter(|k| **k != other.key).cloned());
            other.after.dedup();
        }
    }
    Ok(steps)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{schedule, schedule::tests::plain};

    fn day(text: &str) -> Date {
        text.parse().unwrap()
    }

    #[test]
    fn own_steps_come_and_go() {
        let today = day("2027-03-01");
        let steps = vec![plain("sow", &[], 0, Some(0), &[]), plain("sprouts", &["sow"], 8, Some(14), &[])];
        let own = OwnStep {
            title: "Shade cloth".into(),
            about: String::new(),
            day: None,
            wait_days: 3,
            after: "sow".into(),
        };
        let (steps, key) = with_own(steps, &own, 1, today).unwrap();
        assert_eq!(steps.iter().map(|s| s.key.as_str()).collect::<Vec<_>>(), ["sow", "own_1", "sprouts"]);
        let (steps, second) =
            with_own(steps, &OwnStep { after: key.clone(), ..own.clone() }, 2, today).unwrap();
        let dates = schedule(today, &steps, today);
        assert_eq!(dates[2].earliest, day("2027-03-07"));
        let steps = without_own(steps, &key).unwrap();
        assert_eq!(steps.iter().find(|s| s.key == second).unwrap().after, ["sow"]);
        assert!(without_own(steps.clone(), "sprouts").is_err() && without_own(steps.clone(), "x").is_err());
        let wrong = OwnStep { title: String::new(), wait_days: -1, after: "x".into(), ..own };
        let wrong: Vec<String> =
            with_own(steps, &wrong, 3, today).unwrap_err().into_iter().map(|e| e.field).collect();
        assert_eq!(wrong, ["title", "after", "wait_days"]);
    }

    #[test]
    fn edits_keep_the_order_of_things() {
        let today = day("2027-05-01");
        let steps = vec![
            plain("sow", &[], 0, Some(14), &[]),
            plain("sprouts", &["sow"], 8, Some(14), &[]),
            plain("graft", &["sprouts"], 30, Some(60), &[]),
        ];
        let done =
            |steps: Vec<Step>, key: &str, on: &str| edited(steps, key, &Edit::Done { day: day(on) }, today);
        let steps = done(steps, "sow", "2027-03-08").unwrap();
        let early = done(steps.clone(), "sprouts", "2027-02-01").unwrap_err();
        assert!(early[0].expected.contains("2027-03-08"), "{early:?}");
        assert_eq!(done(steps.clone(), "sprouts", "2027-06-01").unwrap_err()[0].field, "done_on");
        let steps = done(steps, "sprouts", "2027-03-20").unwrap();
        assert!(done(steps.clone(), "sow", "2027-03-21").is_err(), "it had sprouted by then");
        let moved = edited(steps.clone(), "sow", &Edit::Plan { day: Some(today) }, today).unwrap_err();
        assert!(moved[0].expected.contains("reopen"), "{moved:?}");
        // A failed step opens all that depends on it.
        let steps = done(steps, "graft", "2027-04-30").unwrap();
        let again = edited(steps, "sprouts", &Edit::Again, today).unwrap();
        let open: Vec<bool> = again.iter().map(|s| s.state == State::Open).collect();
        assert_eq!(open, [false, true, true]);
        assert_eq!(schedule(day("2027-03-01"), &again, today)[1].earliest, today);
    }

    #[test]
    fn a_new_draft_keeps_what_became_of_the_old_steps() {
        let today = day("2027-05-01");
        let old = vec![plain("sow", &[], 0, Some(14), &[]), plain("gone", &["sow"], 8, Some(14), &[])];
        let old = edited(old, "sow", &Edit::Done { day: today }, today).unwrap();
        let own = OwnStep {
            title: "Shade".into(),
            about: String::new(),
            day: None,
            wait_days: 3,
            after: "gone".into(),
        };
        let (old, _) = with_own(old, &own, 7, today).unwrap();
        let new =
            redrafted(&old, vec![plain("sow", &[], 0, Some(30), &[]), plain("new", &["sow"], 1, None, &[])]);
        assert_eq!(new.iter().map(|s| s.key.as_str()).collect::<Vec<_>>(), ["own_7", "sow", "new"]);
        assert_eq!((new[1].state.clone(), new[1].high), (State::Done { day: today }, Some(30)));
        assert_eq!(text_chars(&new), 5);
    }
}
