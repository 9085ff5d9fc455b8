//! Changing a plan: its words and first day, its steps; dropping it.

use scionary_domain::{
    access::{EditPlan, Granted},
    crop::Climate,
    field::{FieldError, Fields},
    ids::PlanId,
    limits,
    place::GridCode,
    plan::{self, Edit, OwnStep, Plan},
    time::{Date, Timestamp},
};
use scionary_store::{StoreError, plan_store};

use super::own;
use crate::{Done, Error, Rule, UseCase, Write};

/// Changes the words and the first day of a plan; what is `None` stays.
pub struct ChangePlan {
    /// The plan's id.
    pub id: PlanId,
    /// The version last seen; none to change whatever it is now.
    pub version: Option<i64>,
    /// What the grower calls it.
    pub title: Option<String>,
    /// The grower's own words.
    pub note: Option<String>,
    /// The first day.
    pub start: Option<Date>,
    /// A place: it tells the hemisphere, and the climate where none is said.
    pub grid_code: String,
    /// South of the equator.
    pub south: Option<bool>,
    /// The climate.
    pub climate: Option<Climate>,
}

/// Changes a step.
pub struct EditStep {
    /// The plan's id.
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
    /// The plan's id.
    pub id: PlanId,
    /// The version last seen; none to change whatever it is now.
    pub version: Option<i64>,
    /// The step.
    pub step: OwnStep,
}

/// Takes a step of the grower's own away.
pub struct RemoveStep {
    /// The plan's id.
    pub id: PlanId,
    /// The version last seen; none to change whatever it is now.
    pub version: Option<i64>,
    /// The step's key.
    pub key: String,
}

/// Forgets a plan.
pub struct DropPlan {
    /// The plan's id.
    pub id: PlanId,
}

/// A plan as it was found, to be changed.
struct Found {
    plan: Plan,
    granted: Granted<EditPlan>,
    seen: i64,
    /// The caller named no version.
    anyhow: bool,
}

async fn find(write: &Write<'_>, id: PlanId, version: Option<i64>) -> Result<Found, Error> {
    let (plan, granted) = own(write, id).await?;
    let seen = version.unwrap_or(plan.version);
    if seen != plan.version {
        return Err(Error::Stale { seen, current: plan.version });
    }
    Ok(Found { plan, granted, seen, anyhow: version.is_none() })
}

impl Found {
    /// Stores the plan as it was changed.
    async fn store(
        self,
        write: &Write<'_>,
        what: &'static str,
        at: Timestamp,
    ) -> Result<Done<PlanId>, Error> {
        let Self { mut plan, granted, seen, anyhow } = self;
        let chars = plan::text_chars(&plan.steps) + plan.note.chars().count();
        if chars > limits::PLAN_TEXT_TOTAL_MAX {
            let most = limits::PLAN_TEXT_TOTAL_MAX;
            return Err(FieldError::new(
                "note",
                format!("at most {most} characters of your own in one plan expected"),
            )
            .into());
        }
        plan.version = seen + 1;
        plan.updated_at = at;
        if !plan_store::replace(write.tx, granted, &plan, seen).await? {
            // someone was faster: who named no version is served again, from what stands then
            if anyhow {
                return Err(StoreError::Collision.into());
            }
            let (now, _) = own(write, plan.id).await?;
            return Err(Error::Stale { seen, current: now.version });
        }
        let id = plan.id;
        let change = serde_json::json!({ "version": plan.version });
        Ok(Done::new(id, what, id, change))
    }
}

impl UseCase for ChangePlan {
    type Out = PlanId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<PlanId>, Error> {
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
        let grid = if self.grid_code.trim().is_empty() {
            None
        } else {
            fields.take("grid_code", GridCode::parse(&self.grid_code))
        };
        let latitude = grid.map(|grid| grid.middle().0);
        let moved = latitude.is_some() || self.south.is_some() || self.climate.is_some();
        if self.title.is_none() && self.note.is_none() && self.start.is_none() && !moved {
            fields.wrong("title", "a title, a note, a first day or a place to change expected");
        }
        fields.finish(Some(()))?;
        if moved {
            let registry = write.app.registry();
            let missing = || Error::not_found("cultivar", plan.cultivar);
            let record = registry.record(plan.cultivar).ok_or_else(missing)?;
            let crop = registry.crop(&plan.crop).ok_or_else(|| Error::not_found("crop", &plan.crop))?;
            let guess = latitude.map(Climate::guess);
            plan.setting.south =
                latitude.map(|degrees| degrees < 0.0).or(self.south).unwrap_or(plan.setting.south);
            plan.setting.climate = self.climate.or(guess).unwrap_or(plan.setting.climate);
            let draft = plan::draft(crop, registry.seed_of(record).0, plan.setting);
            if draft.is_empty() {
                return Err(Rule::NoSteps(crop.name.clone()).into());
            }
            plan.steps = plan::redrafted(&plan.steps, draft);
        }
        found.store(write, "plan.changed", now).await
    }
}

impl UseCase for EditStep {
    type Out = PlanId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<PlanId>, Error> {
        let mut found = find(write, self.id, self.version).await?;
        let now = write.call.now;
        let steps = plan::edited(found.plan.steps.clone(), &self.key, &self.edit, now.date())?;
        if steps == found.plan.steps {
            // nothing to store, and nothing happened
            return Ok(Done::quiet(self.id));
        }
        found.plan.steps = steps;
        found.store(write, "plan.step_changed", now).await
    }
}

impl UseCase for AddStep {
    type Out = PlanId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<PlanId>, Error> {
        let mut found = find(write, self.id, self.version).await?;
        let now = write.call.now;
        if found.plan.steps.len() >= limits::PLAN_STEPS_MAX {
            return Err(Rule::TooManySteps(limits::PLAN_STEPS_MAX).into());
        }
        let steps = std::mem::take(&mut found.plan.steps);
        // versions count up with each change, so no number is used twice
        (found.plan.steps, _) = plan::with_own(steps, &self.step, found.seen + 1, now.date())?;
        found.store(write, "plan.step_added", now).await
    }
}

impl UseCase for RemoveStep {
    type Out = PlanId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<PlanId>, Error> {
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
