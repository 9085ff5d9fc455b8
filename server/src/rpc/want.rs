//! Wants.

use scionary_app::{App, wants::WithdrawWant};
use scionary_proto::v1::{self, want_service_server::WantService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::want as convert};

/// Answers `WantService`.
pub struct WantRpc(pub App);

#[tonic::async_trait]
impl WantService for WantRpc {
    async fn make_want(
        &self,
        request: Request<v1::MakeWantRequest>,
    ) -> Result<Response<v1::MakeWantResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let message = |want: &_| v1::MakeWantResponse { want: Some(convert::want(want)) };
        admitted.write(&self.0, &request, convert::make(request.clone()), message).await
    }

    async fn withdraw_want(
        &self,
        request: Request<v1::WithdrawWantRequest>,
    ) -> Result<Response<v1::WithdrawWantResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::want_id(&request.want_id).map(|id| WithdrawWant { id });
        admitted.write(&self.0, &request, use_case, |()| v1::WithdrawWantResponse {}).await
    }

    async fn list_my_wants(
        &self,
        request: Request<v1::ListMyWantsRequest>,
    ) -> Result<Response<v1::ListMyWantsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListMyWantsRequest { closed_too, page_size, page_token } = request.into_inner();
        let page = self.0.my_wants(&admitted.call(), closed_too, page_size, &page_token).await;
        let page = page.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListMyWantsResponse {
            wants: page.rows.iter().map(convert::want).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn search_wants(
        &self,
        request: Request<v1::SearchWantsRequest>,
    ) -> Result<Response<v1::SearchWantsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let (search, size, token) = convert::search(request.into_inner()).map_err(fail)?;
        let page = self.0.sought(&admitted.call(), &search, size, &token).await.map_err(fail)?;
        Ok(Response::new(v1::SearchWantsResponse {
            wants: page.rows.iter().map(convert::sought).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }
}
