//! Editing a plan: ticking off, leaving out, setting days, own steps.

use super::{State, Step};
use crate::{
    field::{FieldError, Fields},
    limits,
    time::Date,
};

/// What is changed in a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Edit {
    /// It was done.
    Done {
        /// On which day.
        day: Date,
    },
    /// It is to do after all.
    Reopen,
    /// It is left out.
    LeaveOut {
        /// Why.
        why: String,
    },
    /// It will be done on this day; `None`: on the days that follow from the plan.
    Plan {
        /// Which day.
        day: Option<Date>,
    },
    /// The grower's words.
    Note {
        /// The words; none take them away.
        text: String,
    },
}

/// Furthest that a step may be set ahead of today, and that something can have been done before.
const YEARS_AHEAD: i64 = 60;
const YEARS_BACK: i64 = 60;
const DAYS_A_YEAR: i64 = 366;

fn known_day(fields: &mut Fields, field: &str, day: Date, today: Date, until: Date) {
    let from = today.plus_days(-YEARS_BACK * DAYS_A_YEAR);
    if day < from || day > until {
        fields.wrong(field, format!("a day from {from} to {until} expected, {day} found"));
    }
}

/// Checks the first day of a plan.
pub fn check_start(fields: &mut Fields, field: &str, start: Date, today: Date) {
    known_day(fields, field, start, today, today.plus_days(YEARS_AHEAD * DAYS_A_YEAR));
}

impl Step {
    /// The step after an edit.
    ///
    /// # Errors
    /// What is wrong with the edit.
    pub fn edited(mut self, edit: &Edit, today: Date) -> Result<Self, Vec<FieldError>> {
        let mut fields = Fields::new();
        match edit {
            Edit::Done { day } => {
                // a day of slack: the grower's day may have begun where the server's has not
                known_day(&mut fields, "day", *day, today, today.plus_days(1));
                self.state = State::Done { day: *day };
            }
            Edit::Reopen => self.state = State::Open,
            Edit::LeaveOut { why } => {
                let why = fields.text("reason", why, 0, limits::REASON_CHARS_MAX).unwrap_or_default();
                self.state = State::LeftOut { why };
            }
            Edit::Plan { day } => {
                if let Some(day) = day {
                    check_start(&mut fields, "day", *day, today);
                }
                self.planned = *day;
            }
            Edit::Note { text } => {
                self.note = fields.text("note", text, 0, limits::PLAN_NOTE_CHARS_MAX).unwrap_or_default();
            }
        }
        fields.finish(Some(self))
    }
}

/// A step that the grower adds.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnStep {
    /// A few words.
    pub title: String,
    /// What to do.
    pub about: String,
    /// On this day, or
    pub day: Option<Date>,
    /// so many days
    pub wait_days: i64,
    /// after this step; empty: after the start.
    pub after: String,
}

/// The steps with one of the grower's own behind the last that it follows; its key is made from its number.
///
/// # Errors
/// What is wrong with it.
pub fn with_own(
    mut steps: Vec<Step>,
    own: &OwnStep,
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
    if steps.len() >= limits::PLAN_STEPS_MAX {
        fields.wrong("title", format!("a plan of at most {} steps expected", limits::PLAN_STEPS_MAX));
    }
    let key = (1..).map(|n: u32| format!("own_{n}")).find(|key| !steps.iter().any(|s| &s.key == key));
    let (title, about) = fields.finish(title.zip(about))?;
    let key = key.unwrap_or_default();
    let step = Step {
        key: key.clone(),
        title,
        about,
        look_for: String::new(),
        if_fails: String::new(),
        after: Some(own.after.clone()).filter(|after| !after.is_empty()).into_iter().collect(),
        low: own.wait_days,
        high: Some(own.wait_days),
        wait: String::new(),
        months: Vec::new(),
        cautions: Vec::new(),
        origins: vec!["your own step".into()],
        remark: String::new(),
        planned: own.day,
        state: State::Open,
        note: String::new(),
        own: true,
    };
    steps.insert(place.unwrap_or(steps.len()).min(steps.len()), step);
    Ok((steps, key))
}

/// The steps without one of the grower's own; what followed it follows what it followed.
///
/// # Errors
/// There is no such step, or it is one of the crop's: those are left out instead.
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
        let (steps, key) = with_own(steps, &own, today).unwrap();
        assert_eq!(steps.iter().map(|s| s.key.as_str()).collect::<Vec<_>>(), ["sow", "own_1", "sprouts"]);
        let (steps, second) = with_own(steps, &OwnStep { after: key.clone(), ..own.clone() }, today).unwrap();
        let dates = schedule(today, &steps, today);
        assert_eq!(dates[2].earliest, day("2027-03-07"));
        let steps = without_own(steps, &key).unwrap();
        assert_eq!(steps.iter().find(|s| s.key == second).unwrap().after, ["sow"]);
        assert!(without_own(steps.clone(), "sprouts").is_err() && without_own(steps.clone(), "x").is_err());
        let wrong = OwnStep { title: String::new(), wait_days: -1, after: "x".into(), ..own };
        let wrong: Vec<String> =
            with_own(steps, &wrong, today).unwrap_err().into_iter().map(|e| e.field).collect();
        assert_eq!(wrong, ["title", "after", "wait_days"]);
    }
}
