//! The grafting log.

use prost::Message as _;
use scionary_app::{App, Error, KeepReply, grafts::RemoveGrafts};
use scionary_domain::{field::FieldError, ids::CultivarId};
use scionary_proto::v1::{self, graft_service_server::GraftService};
use tonic::{Request, Response, Status};

use crate::{
    call::Admitted,
    convert::{grafts as convert, registry},
};

/// Answers `GraftService`.
pub struct GraftRpc(pub App);

#[tonic::async_trait]
impl GraftService for GraftRpc {
    async fn log_grafts(
        &self,
        request: Request<v1::LogGraftsRequest>,
    ) -> Result<Response<v1::LogGraftsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let use_case = convert::log(request).map_err(|e| admitted.fail(e))?;
        let today = admitted.now.date();
        let encode = move |shown: &_| {
            v1::LogGraftsResponse { grafts: Some(convert::grafts(shown, today)) }.encode_to_vec()
        };
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn report_takes(
        &self,
        request: Request<v1::ReportTakesRequest>,
    ) -> Result<Response<v1::ReportTakesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let use_case = convert::report(&request).map_err(|e| admitted.fail(e))?;
        let today = admitted.now.date();
        let encode = move |shown: &_| {
            v1::ReportTakesResponse { grafts: Some(convert::grafts(shown, today)) }.encode_to_vec()
        };
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn list_my_grafts(
        &self,
        request: Request<v1::ListMyGraftsRequest>,
    ) -> Result<Response<v1::ListMyGraftsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListMyGraftsRequest { unreported_only, page_size, page_token } = request.into_inner();
        let page = self
            .0
            .my_grafts(&admitted.call(), unreported_only, page_size, &page_token)
            .await
            .map_err(|e| admitted.fail(e))?;
        let today = admitted.now.date();
        Ok(Response::new(v1::ListMyGraftsResponse {
            grafts: page.rows.iter().map(|g| convert::grafts(g, today)).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn remove_grafts(
        &self,
        request: Request<v1::RemoveGraftsRequest>,
    ) -> Result<Response<v1::RemoveGraftsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let id = App::graft_id(&request.graft_id).map_err(|e| admitted.fail(e))?;
        let encode = |id: &scionary_domain::ids::GraftId| {
            v1::RemoveGraftsResponse { graft_id: id.to_string() }.encode_to_vec()
        };
        admitted.reply(self.0.write(&call, RemoveGrafts { id }, KeepReply::Yes, encode).await)
    }

    async fn get_graft_rates(
        &self,
        request: Request<v1::GetGraftRatesRequest>,
    ) -> Result<Response<v1::GetGraftRatesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::GetGraftRatesRequest { crop, cultivar } = request.into_inner();
        let registry = self.0.registry();
        let (record, crop) = registry.asked_about(&cultivar, &crop).map_err(|e| admitted.fail(e))?;
        let Some(crop) = crop else {
            return Err(admitted.fail(Error::from(FieldError::new("crop", "a crop or a cultivar expected"))));
        };
        let ids: Option<Vec<CultivarId>> = record.map(|r| r.ids().collect());
        let rates = self
            .0
            .graft_rates(&crop.slug, ids.as_deref(), admitted.now.date())
            .await
            .map_err(|e| admitted.fail(e))?;
        let published: Vec<_> = crop.timings_of("graft_").filter(|t| t.unit == "%").collect();
        Ok(Response::new(v1::GetGraftRatesResponse {
            rates: rates.iter().map(convert::rate).collect(),
            sources: registry::sources(&registry, published.iter().map(|t| t.origin())),
            published: published.into_iter().map(registry::timing).collect(),
        }))
    }
}
