//! A grower's own plans.

use scionary_domain::{
    ids::PlanId,
    limits,
    page::{self, Page},
    plan::Plan,
};
use scionary_store::plan_store;

use super::calendar;
use crate::{App, Call, Error, registry::Registry};

/// A plan with the name of its cultivar as it is now.
#[derive(Clone, Debug, PartialEq)]
pub struct ShownPlan {
    /// The plan.
    pub plan: Plan,
    /// The cultivar's name.
    pub cultivar_name: String,
}

impl ShownPlan {
    /// Of a merged record the one that stands for it is shown.
    fn new(registry: &Registry, mut plan: Plan) -> Self {
        let record = registry.record(plan.cultivar);
        if let Some(record) = record {
            plan.cultivar = record.cultivar.id;
        }
        Self { cultivar_name: record.map(|r| r.cultivar.full_name()).unwrap_or_default(), plan }
    }
}

impl App {
    /// The caller's own plan.
    ///
    /// # Errors
    /// [`Error::NotFound`], also for someone else's.
    pub async fn my_plan(&self, call: &Call, id: PlanId) -> Result<ShownPlan, Error> {
        let account = call.account()?;
        let plan = plan_store::one(self.store().reader(), id)
            .await?
            .filter(|plan| plan.grower == account.id)
            .ok_or_else(|| Error::not_found("plan", id))?;
        Ok(ShownPlan::new(&self.registry(), plan))
    }

    /// A page of the caller's plans, newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn my_plans(&self, call: &Call, page_size: i32, token: &str) -> Result<Page<ShownPlan>, Error> {
        let account = call.account()?;
        let asked = page::Asked::<PlanId>::read(page_size, token, format!("plans {}", account.id))?;
        let rows = plan_store::of(self.store().reader(), account.id, asked.after, asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |last| last.id);
        let registry = self.registry();
        Ok(Page { rows: rows.into_iter().map(|plan| ShownPlan::new(&registry, plan)).collect(), next })
    }

    /// All plans of the caller.
    ///
    /// # Errors
    /// No one is signed in; the store's.
    pub async fn all_my_plans(&self, call: &Call) -> Result<Vec<ShownPlan>, Error> {
        let account = call.account()?;
        let limit = u64::try_from(limits::PLANS_MAX).unwrap_or(u64::MAX);
        let rows = plan_store::of(self.store().reader(), account.id, None, limit).await?;
        let registry = self.registry();
        Ok(rows.into_iter().map(|plan| ShownPlan::new(&registry, plan)).collect())
    }

    /// One plan of the caller, or all of them, as an iCalendar object (RFC 5545).
    ///
    /// # Errors
    /// [`Error::NotFound`], also for someone else's.
    pub async fn plan_calendar(&self, call: &Call, id: Option<PlanId>) -> Result<String, Error> {
        let plans = match id {
            Some(id) => vec![self.my_plan(call, id).await?],
            None => self.all_my_plans(call).await?,
        };
        Ok(calendar::write(&plans, call.now))
    }
}
