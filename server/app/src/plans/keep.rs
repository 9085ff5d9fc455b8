//! Keeping a plan.

use scionary_domain::{field::Fields, ids::PlanId, limits, plan::Plan};
use scionary_store::{account_store, plan_store};

use super::{Wanted, draft};
use crate::{Done, Error, Rule, UseCase, Write};

/// Keeps a plan with the caller's account.
pub struct KeepPlan {
    /// What it is for.
    pub wanted: Wanted,
    /// What the grower calls it; the cultivar's name if empty.
    pub title: String,
    /// The grower's own words.
    pub note: String,
}

impl UseCase for KeepPlan {
    type Out = PlanId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<PlanId>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let registry = write.app.registry();
        let mut fields = Fields::new();
        let title = fields.line("title", &self.title, 0, limits::PLAN_TITLE_CHARS_MAX);
        let note = fields.text("note", &self.note, 0, limits::PLAN_NOTE_CHARS_MAX);
        let (title, note) = fields.finish(title.zip(note))?;
        let drafted = draft(&registry, &self.wanted, now.date())?;
        account_store::lock_account(write.tx, account.id).await?;
        let kept = plan_store::count(write.tx, account.id).await?;
        if i64::try_from(kept).unwrap_or(i64::MAX) >= limits::PLANS_MAX {
            return Err(Rule::TooManyPlans(limits::PLANS_MAX).into());
        }
        let plan = Plan {
            id: PlanId::from_uuid(write.new_uuid()?),
            grower: account.id,
            cultivar: drafted.record.cultivar.id,
            crop: drafted.crop.slug.clone(),
            title: if title.is_empty() { drafted.record.cultivar.full_name() } else { title },
            note,
            setting: drafted.setting,
            start: drafted.start,
            steps: drafted.steps,
            created_at: now,
            updated_at: now,
            version: 1,
        };
        plan_store::insert(write.tx, &plan).await?;
        let id = plan.id;
        let change = serde_json::json!({ "way": plan.setting.way.word(), "crop": plan.crop });
        Ok(Done::new(id, "plan.kept", id, change))
    }
}
