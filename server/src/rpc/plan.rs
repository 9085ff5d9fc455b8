//! Odds of sowings.

use scionary_app::{App, Error};
use scionary_domain::{odds, routes};
use scionary_proto::v1::{self, plan_service_server::PlanService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::plan as convert};

/// Answers `PlanService`.
pub struct PlanRpc(pub App);

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
        let question = convert::question(&v1::EstimateSeedOddsRequest::default());
        let odds = odds::odds(&question, Some(crop), &record.findings, Some(record.answer));
        let found = routes::compare(crop, record.answer, &odds, yard);
        Ok(Response::new(convert::routes(&registry, record, &found)))
    }
}
