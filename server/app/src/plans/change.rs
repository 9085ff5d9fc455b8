//! Changing a plan: its words and first day, its steps; dropping it.

use scionary_domain::{
    access::{EditPlan, Granted},
    field::{FieldError, Fields},
    ids::PlanId,
    limits,
    plan::{self, Edit, OwnStep, Plan, Step},
    time::{Date, Timestamp},
};
use scionary_store::plan_store;

use super::{ShownPlan, own};
use crate::{Done, Error, UseCase, Write};

/// Changes the words and the first day of a plan; what is `None` stays.
pub struct ChangePlan {
    /// Which.
    pub id: PlanId,
    /// The version last seen; none to change whatever it is now.
    pub version: Option<i64>,
    /// What the grower calls it.
    pub title: Option<String>,
    /// The grower's own words.
    pub note: Option<String>,
    /// The first day.
    pub start: Option<Date>,
}

/// Changes a step.
pub struct EditStep {
    /// Which plan.
    pub id: PlanId,
    /// The version last seen; none to change whatever it is now.
    pub version: Option<i64>,
    /// The step's key.
    pub key: String,
    /// What is changed.
    pub edit: Edit,
}

/// Adds a step of the grower's own.
pub struct AddStep {
    /// Which plan.
    pub id: PlanId,
    /// The version last seen; none to change whatever it is now.
    pub version: Option<i64>,
    /// The step.
    pub step: OwnStep,
}

/// Takes a step of the grower's own away.
pub struct RemoveStep {
    /// Which plan.
    pub id: PlanId,
    /// The version last seen; none to change whatever it is now.
    pub version: Option<i64>,
    /// The step's key.
    pub key: String,
}

/// Forgets a plan.
pub struct DropPlan {
    /// Which.
    pub id: PlanId,
}

/// A plan as it was found, to be changed.
struct Found {
    plan: Plan,
    granted: Granted<EditPlan>,
    seen: i64,
}

async fn find(write: &Write<'_>, id: PlanId, version: Option<i64>) -> Result<Found, Error> {
    let (plan, granted) = own(write, id).await?;
    let seen = version.unwrap_or(plan.version);
    if seen != plan.version {
        return Err(Error::Stale { seen, current: plan.version });
    }
    Ok(Found { plan, granted, seen })
}

impl Found {
    /// Stores the plan as it was changed.
    async fn store(
        self,
        write: &Write<'_>,
        what: &'static str,
        at: Timestamp,
    ) -> Result<Done<ShownPlan>, Error> {
        let Self { mut plan, granted, seen } = self;
        plan.version = seen + 1;
        plan.updated_at = at;
        if !plan_store::replace(write.tx, granted, &plan, seen).await? {
            return Err(Error::Stale { seen, current: seen + 1 });
        }
        let id = plan.id;
        let change = serde_json::json!({ "version": plan.version });
        Ok(Done::new(ShownPlan::new(&write.app.registry(), plan), what, id, change))
    }

    fn step(&mut self, key: &str) -> Result<&mut Step, Error> {
        let known: Vec<String> = self.plan.steps.iter().map(|s| s.key.clone()).collect();
        self.plan.steps.iter_mut().find(|s| s.key == key).ok_or_else(|| {
            FieldError::new("step_key", format!("one of {} expected, {key:?} found", known.join(", "))).into()
        })
    }
}

impl UseCase for ChangePlan {
    type Out = ShownPlan;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownPlan>, Error> {
        let mut found = find(write, self.id, self.version).await?;
        let now = write.call.now;
        let mut fields = Fields::new();
        let plan = &mut found.plan;
        if let Some(title) = &self.title
            && let Some(title) = fields.line("title", title, 1, limits::PLAN_TITLE_CHARS_MAX)
        {
            plan.title = title;
        }
        if let Some(note) = &self.note
            && let Some(note) = fields.text("note", note, 0, limits::PLAN_NOTE_CHARS_MAX)
        {
            plan.note = note;
        }
        if let Some(start) = self.start {
            plan::check_start(&mut fields, "start", start, now.date());
            plan.start = start;
        }
        if self.title.is_none() && self.note.is_none() && self.start.is_none() {
            fields.wrong("title", "a title, a note or a first day to change expected");
        }
        fields.finish(Some(()))?;
        found.store(write, "plan.changed", now).await
    }
}

impl UseCase for EditStep {
    type Out = ShownPlan;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownPlan>, Error> {
        let mut found = find(write, self.id, self.version).await?;
        let now = write.call.now;
        let step = found.step(&self.key)?;
        *step = step.clone().edited(&self.edit, now.date())?;
        found.store(write, "plan.step_changed", now).await
    }
}

impl UseCase for AddStep {
    type Out = ShownPlan;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownPlan>, Error> {
        let mut found = find(write, self.id, self.version).await?;
        let now = write.call.now;
        let steps = std::mem::take(&mut found.plan.steps);
        (found.plan.steps, _) = plan::with_own(steps, &self.step, now.date())?;
        found.store(write, "plan.step_added", now).await
    }
}

impl UseCase for RemoveStep {
    type Out = ShownPlan;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownPlan>, Error> {
        let mut found = find(write, self.id, self.version).await?;
        let steps = std::mem::take(&mut found.plan.steps);
        found.plan.steps = plan::without_own(steps, &self.key)?;
        found.store(write, "plan.step_removed", write.call.now).await
    }
}

impl UseCase for DropPlan {
    type Out = PlanId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<PlanId>, Error> {
        let (plan, granted) = own(write, self.id).await?;
        if !plan_store::delete(write.tx, granted, plan.id).await? {
            return Err(Error::not_found("plan", self.id));
        }
        Ok(Done::new(plan.id, "plan.dropped", plan.id, serde_json::json!({})))
    }
}
