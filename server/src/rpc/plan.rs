//! Odds, ways, seasons, and dated plans.

use std::sync::Arc;

use prost::Message as _;
use scionary_app::{
    App, Error, KeepReply, UseCase,
    plans::{self, DropPlan, ShownPlan},
    registry::{Record, Season},
};
use scionary_domain::{
    calendar, field::Fields, ids::PlanId, limits, odds, odds::Question, place::GridCode, routes,
};
use scionary_proto::v1::{self, plan_service_server::PlanService};
use tonic::{Request, Response, Status};

use crate::{
    call::Admitted,
    convert::{dated, plan as convert},
};

/// Answers `PlanService`.
pub struct PlanRpc(pub App);

impl PlanRpc {
    /// Runs a use case that leaves a plan. The reply kept names it only, and is filled from what is stored, so that a
    /// repeat gets what stands then.
    async fn written<U: UseCase<Out = ShownPlan>>(
        &self,
        admitted: &Admitted,
        bound: &impl prost::Message,
        use_case: Result<U, Error>,
    ) -> Result<Option<v1::Plan>, Status> {
        let fail = |e| admitted.fail(e);
        let encode =
            |shown: &ShownPlan| v1::GetPlanRequest { plan_id: shown.plan.id.to_string() }.encode_to_vec();
        let call = admitted.write_call(bound);
        let kept = self.0.write(&call, use_case.map_err(fail)?, KeepReply::Yes, encode).await;
        let id: Response<v1::GetPlanRequest> = admitted.reply(kept)?;
        let id = App::plan_id(&id.into_inner().plan_id).map_err(fail)?;
        let shown = self.0.my_plan(&admitted.call(), id).await.map_err(fail)?;
        Ok(Some(dated::plan(&self.0.registry(), &shown, admitted.now.date())))
    }
}

#[tonic::async_trait]
impl PlanService for PlanRpc {
    async fn estimate_seed_odds(
        &self,
        request: Request<v1::EstimateSeedOddsRequest>,
    ) -> Result<Response<v1::EstimateSeedOddsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let registry = self.0.registry();
        let question = convert::question(&request);
        let (record, crop) =
            registry.asked_about(&request.cultivar, &request.crop).map_err(|e| admitted.fail(e))?;
        question.check(crop).map_err(|e| admitted.fail(Error::from(e)))?;
        let found = odds::odds(
            &question,
            crop,
            record.map(|r| r.findings.as_slice()).unwrap_or_default(),
            record.map(|r| r.answer),
        );
        Ok(Response::new(convert::odds(&registry, record, crop, &question, &found)))
    }

    async fn show_seasons(
        &self,
        request: Request<v1::ShowSeasonsRequest>,
    ) -> Result<Response<v1::ShowSeasonsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let v1::ShowSeasonsRequest { cultivars, crop, south, fill_gaps, near_grid_code, within_km } = request;
        let registry = self.0.registry();
        let mut fields = Fields::new();
        if cultivars.is_empty() || cultivars.len() > limits::CALENDAR_CULTIVARS_MAX {
            fields.wrong("cultivars", format!("1 to {} cultivars expected", limits::CALENDAR_CULTIVARS_MAX));
        }
        if fill_gaps && crop.is_empty() {
            fields.wrong("crop", "a crop expected, to look for others that fill the gaps");
        }
        fields.take("crop", registry.check_crop(&crop).map_err(|e| e.expected));
        let near = if near_grid_code.is_empty() {
            None
        } else {
            fields.take("near_grid_code", GridCode::parse(&near_grid_code))
        };
        fields.finish(Some(())).map_err(|e| admitted.fail(Error::from(e)))?;
        let south = near.as_ref().map_or(south, |grid| grid.middle().0 < 0.0);
        let mut seasons = registry.seasons(south, near);
        let mut records: Vec<(&Record, Season)> = Vec::new();
        for (at, name) in cultivars.iter().enumerate() {
            let field = format!("cultivars[{at}]");
            let record = registry.resolve(&field, name, &crop).map_err(|e| admitted.fail(e))?;
            if !records.iter().any(|(r, _)| r.cultivar.id == record.cultivar.id) {
                records.push((record, seasons.of(record)));
            }
        }
        let have: Vec<_> = records.iter().filter_map(|(_, season)| season.expected).collect();
        let gaps = calendar::gaps(&have);
        let mut fillers = Vec::new();
        if fill_gaps {
            let offered = self
                .0
                .offered(&admitted.call(), &crop, &near_grid_code, within_km)
                .await
                .map_err(|e| admitted.fail(e))?;
            let mut others: Vec<(&Record, Season)> = offered
                .keys()
                .filter_map(|id| registry.record(*id))
                .filter(|r| !records.iter().any(|(own, _)| own.cultivar.id == r.cultivar.id))
                // the crop's pattern alone is no reason to plant one of them
                .filter(|r| seasons.may_fill(r, &gaps))
                .take(limits::FILLERS_LOOKED_AT)
                .collect::<Vec<_>>()
                .into_iter()
                .map(|r| (r, seasons.of(r)))
                .collect();
            others.sort_by_key(|(record, _)| record.cultivar.full_name());
            let bars: Vec<calendar::Bars> =
                others.iter().map(|(_, season)| season.expected.unwrap_or_default()).collect();
            for filler in calendar::fillers(&gaps, &bars, limits::FILLERS_MAX) {
                if let Some((record, season)) = others.get(filler.at) {
                    let offered = offered.get(&record.cultivar.id).copied().unwrap_or_default();
                    fillers.push(convert::filler(record, season, &filler, offered));
                }
            }
        }
        Ok(Response::new(v1::ShowSeasonsResponse {
            rows: records.iter().map(|(r, season)| convert::season(r, season)).collect(),
            gaps: convert::halves(&gaps),
            fillers,
            south,
        }))
    }

    async fn compare_routes(
        &self,
        request: Request<v1::CompareRoutesRequest>,
    ) -> Result<Response<v1::CompareRoutesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let registry = self.0.registry();
        let yard = convert::yard(&request);
        yard.check().map_err(|e| admitted.fail(Error::from(e)))?;
        let record =
            registry.resolve("cultivar", &request.cultivar, &request.crop).map_err(|e| admitted.fail(e))?;
        let crop = registry
            .crop(&record.cultivar.crop)
            .ok_or_else(|| admitted.fail(Error::not_found("crop", &record.cultivar.crop)))?;
        let rates = self.0.graft_rates_of_crop(&crop.slug, admitted.now).await;
        let odds = odds::odds(&Question::usual(), Some(crop), &record.findings, Some(record.answer));
        let found = routes::compare(crop, record.answer, &odds, yard);
        Ok(Response::new(convert::routes(&registry, record, &found, &rates)))
    }

    async fn draft_plan(
        &self,
        request: Request<v1::DraftPlanRequest>,
    ) -> Result<Response<v1::DraftPlanResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let today = admitted.now.date();
        let wanted = dated::wanted(request.into_inner()).map_err(|e| admitted.fail(e))?;
        let registry = self.0.registry();
        let found = plans::draft(&registry, &wanted, today).map_err(|e| admitted.fail(e))?;
        let rates = if routes::grafts(found.setting.way) {
            self.0.graft_rates_of_crop(&found.crop.slug, admitted.now).await
        } else {
            Arc::default()
        };
        Ok(Response::new(dated::drafted(&registry, &found, &rates, today)))
    }

    async fn keep_plan(
        &self,
        request: Request<v1::KeepPlanRequest>,
    ) -> Result<Response<v1::KeepPlanResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = dated::keep(request.clone());
        let plan = self.written(&admitted, &request, use_case).await?;
        Ok(Response::new(v1::KeepPlanResponse { plan }))
    }

    async fn get_plan(
        &self,
        request: Request<v1::GetPlanRequest>,
    ) -> Result<Response<v1::GetPlanResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let id = App::plan_id(&request.into_inner().plan_id).map_err(|e| admitted.fail(e))?;
        let shown = self.0.my_plan(&admitted.call(), id).await.map_err(|e| admitted.fail(e))?;
        let plan = dated::plan(&self.0.registry(), &shown, admitted.now.date());
        Ok(Response::new(v1::GetPlanResponse { plan: Some(plan) }))
    }

    async fn list_my_plans(
        &self,
        request: Request<v1::ListMyPlansRequest>,
    ) -> Result<Response<v1::ListMyPlansResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListMyPlansRequest { page_size, page_token } = request.into_inner();
        let page =
            self.0.my_plans(&admitted.call(), page_size, &page_token).await.map_err(|e| admitted.fail(e))?;
        let today = admitted.now.date();
        Ok(Response::new(v1::ListMyPlansResponse {
            plans: page.rows.iter().map(|plan| dated::summary(plan, today)).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn change_plan(
        &self,
        request: Request<v1::ChangePlanRequest>,
    ) -> Result<Response<v1::ChangePlanResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = dated::change(request.clone());
        let plan = self.written(&admitted, &request, use_case).await?;
        Ok(Response::new(v1::ChangePlanResponse { plan }))
    }

    async fn change_step(
        &self,
        request: Request<v1::ChangeStepRequest>,
    ) -> Result<Response<v1::ChangeStepResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = dated::edit(request.clone(), admitted.now.date());
        let plan = self.written(&admitted, &request, use_case).await?;
        Ok(Response::new(v1::ChangeStepResponse { plan }))
    }

    async fn add_step(
        &self,
        request: Request<v1::AddStepRequest>,
    ) -> Result<Response<v1::AddStepResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = dated::add_step(request.clone());
        let plan = self.written(&admitted, &request, use_case).await?;
        Ok(Response::new(v1::AddStepResponse { plan }))
    }

    async fn remove_step(
        &self,
        request: Request<v1::RemoveStepRequest>,
    ) -> Result<Response<v1::RemoveStepResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = dated::remove_step(request.clone());
        let plan = self.written(&admitted, &request, use_case).await?;
        Ok(Response::new(v1::RemoveStepResponse { plan }))
    }

    async fn drop_plan(
        &self,
        request: Request<v1::DropPlanRequest>,
    ) -> Result<Response<v1::DropPlanResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let id = App::plan_id(&request.plan_id).map_err(|e| admitted.fail(e))?;
        let encode = |id: &PlanId| v1::DropPlanResponse { plan_id: id.to_string() }.encode_to_vec();
        admitted.reply(self.0.write(&call, DropPlan { id }, KeepReply::Yes, encode).await)
    }

    async fn export_calendar(
        &self,
        request: Request<v1::ExportCalendarRequest>,
    ) -> Result<Response<v1::ExportCalendarResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let text = request.into_inner().plan_id;
        let id =
            if text.is_empty() { None } else { Some(App::plan_id(&text).map_err(|e| admitted.fail(e))?) };
        let calendar = self.0.plan_calendar(&admitted.call(), id).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ExportCalendarResponse { calendar }))
    }
}
