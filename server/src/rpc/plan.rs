//! Odds, ways, seasons, and dated plans.

use std::sync::Arc;

use scionary_app::{
    App, Error, UseCase,
    plans::{self, DropPlan},
};
use scionary_domain::{ids::PlanId, odds, routes};
use scionary_proto::v1;

use crate::{
    call::Admitted,
    convert::{dated, plan as convert},
    dispatch::Encoded,
    site::Site,
    status::Failure,
};

/// Runs a use case that leaves a plan. The reply is filled from what is stored, so that a repeat gets what is current
/// then.
async fn written<U: UseCase<Out = PlanId>>(
    site: &Site,
    call: &Admitted,
    use_case: Result<U, Error>,
) -> Result<Option<v1::Plan>, Failure> {
    let id = call.write_named(&site.app, use_case, ToString::to_string).await?;
    let shown = site.app.my_plan(call, App::id(&id)?).await?;
    Ok(Some(dated::plan(&site.app.registry(), &shown, call.now.date())))
}

pub(crate) async fn estimate_seed_odds(
    site: &Site,
    call: &Admitted,
    request: v1::EstimateSeedOddsRequest,
) -> Result<v1::EstimateSeedOddsResponse, Failure> {
    let registry = site.app.registry();
    let work = move || {
        let question = convert::question(&request);
        let (record, crop) = registry.asked_about(&request.cultivar, &request.crop)?;
        question.check(crop)?;
        let findings = record.map(|r| r.findings.as_slice()).unwrap_or_default();
        let answer = record.map(|r| registry.seed_of(r).0);
        let known = record
            .map(|r| registry.trueness(r))
            .or_else(|| crop.map(|crop| registry.trueness_of_crop(&crop.slug)));
        let found = odds::odds(&question, crop, findings, answer, known.as_deref());
        Ok(convert::odds(&registry, record, crop, &question, &found))
    };
    site.dearly(call, work).await
}

pub(crate) async fn get_seasons(
    site: &Site,
    call: &Admitted,
    request: v1::GetSeasonsRequest,
) -> Result<v1::GetSeasonsResponse, Failure> {
    let registry = site.app.registry();
    let found = site.app.ripe(call, &registry, &convert::ask_ripe(request)).await?;
    Ok(convert::ripe(&registry, &found))
}

pub(crate) async fn compare_routes(
    site: &Site,
    call: &Admitted,
    request: v1::CompareRoutesRequest,
) -> Result<v1::CompareRoutesResponse, Failure> {
    let registry = site.app.registry();
    let yard = convert::yard(&request);
    yard.check()?;
    let crop = {
        let record = registry.resolve("cultivar", &request.cultivar, &request.crop)?;
        record.cultivar.crop.clone()
    };
    let rates = site.app.graft_rates_of_crop(&crop, call.now).await;
    let work = move || {
        let record = registry.resolve("cultivar", &request.cultivar, &request.crop)?;
        let crop = registry
            .crop(&record.cultivar.crop)
            .ok_or_else(|| Error::not_found("crop", &record.cultivar.crop))?;
        let odds = convert::usual_odds(&registry, record, crop);
        let found = routes::compare(crop, registry.seed_of(record).0, &odds, yard);
        Ok(convert::routes(&registry, record, &found, &rates))
    };
    site.dearly(call, work).await
}

pub(crate) async fn draft_plan(
    site: &Site,
    call: &Admitted,
    request: v1::DraftPlanRequest,
) -> Result<v1::DraftPlanResponse, Failure> {
    let today = call.now.date();
    let wanted = dated::wanted(request)?;
    let registry = site.app.registry();
    let found = plans::draft(&registry, &wanted, today)?;
    let rates = if routes::grafts(found.setting.way) {
        site.app.graft_rates_of_crop(&found.crop.slug, call.now).await
    } else {
        Arc::default()
    };
    Ok(dated::drafted(&registry, &found, &rates, today))
}

pub(crate) async fn create_plan(
    site: &Site,
    call: &Admitted,
    request: v1::CreatePlanRequest,
) -> Result<v1::CreatePlanResponse, Failure> {
    let use_case = dated::keep(request);
    let plan = written(site, call, use_case).await?;
    Ok(v1::CreatePlanResponse { plan })
}

pub(crate) async fn get_plan(
    site: &Site,
    call: &Admitted,
    request: v1::GetPlanRequest,
) -> Result<v1::GetPlanResponse, Failure> {
    let id = App::id(&request.plan_id)?;
    let shown = site.app.my_plan(call, id).await?;
    let plan = dated::plan(&site.app.registry(), &shown, call.now.date());
    Ok(v1::GetPlanResponse { plan: Some(plan) })
}

pub(crate) async fn list_my_plans(
    site: &Site,
    call: &Admitted,
    request: v1::ListMyPlansRequest,
) -> Result<v1::ListMyPlansResponse, Failure> {
    let v1::ListMyPlansRequest { page_size, page_token } = request;
    let page = site.app.my_plans(call, page_size, &page_token).await?;
    let today = call.now.date();
    Ok(v1::ListMyPlansResponse {
        plans: page.rows.iter().map(|plan| dated::summary(plan, today)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn update_plan(
    site: &Site,
    call: &Admitted,
    request: v1::UpdatePlanRequest,
) -> Result<v1::UpdatePlanResponse, Failure> {
    let use_case = dated::change(request);
    let plan = written(site, call, use_case).await?;
    Ok(v1::UpdatePlanResponse { plan })
}

pub(crate) async fn update_step(
    site: &Site,
    call: &Admitted,
    request: v1::UpdateStepRequest,
) -> Result<v1::UpdateStepResponse, Failure> {
    let use_case = dated::edit(request, call.now.date());
    let plan = written(site, call, use_case).await?;
    Ok(v1::UpdateStepResponse { plan })
}

pub(crate) async fn create_step(
    site: &Site,
    call: &Admitted,
    request: v1::CreateStepRequest,
) -> Result<v1::CreateStepResponse, Failure> {
    let use_case = dated::create_step(request);
    let plan = written(site, call, use_case).await?;
    Ok(v1::CreateStepResponse { plan })
}

pub(crate) async fn delete_step(
    site: &Site,
    call: &Admitted,
    request: v1::DeleteStepRequest,
) -> Result<v1::DeleteStepResponse, Failure> {
    let use_case = dated::delete_step(request);
    let plan = written(site, call, use_case).await?;
    Ok(v1::DeleteStepResponse { plan })
}

pub(crate) async fn delete_plan(
    site: &Site,
    call: &Admitted,
    request: v1::DeletePlanRequest,
) -> Result<Encoded<v1::DeletePlanResponse>, Failure> {
    let use_case = App::id(&request.plan_id).map(|id| DropPlan { id });
    let message = |id: &PlanId| v1::DeletePlanResponse { plan_id: id.to_string() };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn export_calendar(
    site: &Site,
    call: &Admitted,
    request: v1::ExportCalendarRequest,
) -> Result<v1::ExportCalendarResponse, Failure> {
    let text = request.plan_id;
    let id = if text.is_empty() { None } else { Some(App::id(&text)?) };
    let calendar = site.app.plan_calendar(call, id).await?;
    Ok(v1::ExportCalendarResponse { calendar })
}
