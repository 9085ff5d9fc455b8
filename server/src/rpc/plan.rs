//! Odds of sowings.

use scionary_app::{App, Error};
use scionary_domain::odds;
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
}
