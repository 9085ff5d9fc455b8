//! Odds of sowings.

use scionary_app::{App, Error, registry::Record};
use scionary_domain::{calendar, field::Fields, limits, odds, place::GridCode, routes};
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
        let south = near.map_or(south, |grid| grid.middle().0 < 0.0);
        let mut records: Vec<&Record> = Vec::new();
        for (at, name) in cultivars.iter().enumerate() {
            let field = format!("cultivars[{at}]");
            let record = registry.resolve(&field, name, &crop).map_err(|e| admitted.fail(e))?;
            if !records.iter().any(|r| r.cultivar.id == record.cultivar.id) {
                records.push(record);
            }
        }
        let have: Vec<_> = records.iter().filter_map(|r| convert::bars(r, south)).collect();
        let gaps = calendar::gaps(&have);
        let mut fillers = Vec::new();
        if fill_gaps {
            let offered = self
                .0
                .offered(&admitted.call(), &crop, &near_grid_code, within_km)
                .await
                .map_err(|e| admitted.fail(e))?;
            let mut others: Vec<(&Record, calendar::Bars)> = offered
                .keys()
                .filter_map(|id| registry.record(*id))
                .filter(|r| !records.iter().any(|own| own.cultivar.id == r.cultivar.id))
                .filter_map(|r| Some((r, convert::bars(r, south)?)))
                .collect();
            others.sort_by_key(|(record, _)| record.cultivar.full_name());
            let bars: Vec<calendar::Bars> = others.iter().map(|(_, bars)| *bars).collect();
            for filler in calendar::fillers(&gaps, &bars, limits::FILLERS_MAX) {
                if let Some((record, _)) = others.get(filler.at) {
                    let offered = offered.get(&record.cultivar.id).copied().unwrap_or_default();
                    fillers.push(convert::filler(record, south, &filler, offered));
                }
            }
        }
        Ok(Response::new(v1::ShowSeasonsResponse {
            rows: records.into_iter().map(|r| convert::season(r, south)).collect(),
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
        let question = convert::question(&v1::EstimateSeedOddsRequest::default());
        let odds = odds::odds(&question, Some(crop), &record.findings, Some(record.answer));
        let found = routes::compare(crop, record.answer, &odds, yard);
        Ok(Response::new(convert::routes(&registry, record, &found)))
    }
}
