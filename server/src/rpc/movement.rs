//! Movement of plants.

use scionary_app::{
    App, Error,
    movement::{ProposeRules, PublishRules, WithdrawRules},
};
use scionary_proto::v1::{self, movement_service_server::MovementService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::movement as convert};

/// Answers `MovementService`.
pub struct MovementRpc(pub App);

#[tonic::async_trait]
impl MovementService for MovementRpc {
    async fn check_movement(
        &self,
        request: Request<v1::CheckMovementRequest>,
    ) -> Result<Response<v1::CheckMovementResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let asked = convert::ask(request.into_inner()).map_err(|e| admitted.fail(e))?;
        let found = self.0.ask_movement(&admitted.call(), &asked).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(convert::found(&found)))
    }

    async fn list_movement_rules(
        &self,
        request: Request<v1::ListMovementRulesRequest>,
    ) -> Result<Response<v1::ListMovementRulesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListMovementRulesRequest { host, page_size, page_token } = request.into_inner();
        let rules = self.0.movement();
        let page = App::movement_page(&rules, &host, page_size, &page_token).map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListMovementRulesResponse {
            rules: page.rows.into_iter().map(convert::rule).collect(),
            next_page_token: page.next.unwrap_or_default(),
            empty_areas: rules.empty_areas().into_iter().map(Into::into).collect(),
        }))
    }

    async fn propose_movement_rules(
        &self,
        request: Request<v1::ProposeMovementRulesRequest>,
    ) -> Result<Response<v1::ProposeMovementRulesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let v1::ProposeMovementRulesRequest { files, note, dry_run } = request.clone();
        let files = files.into_iter().map(|file| (file.name, file.text)).collect();
        let use_case = ProposeRules { files, note, dry_run };
        let message = |r: &_| v1::ProposeMovementRulesResponse { release: Some(convert::release(r)) };
        admitted.write(&self.0, &request, Ok::<_, Error>(use_case), message).await
    }

    async fn publish_movement_rules(
        &self,
        request: Request<v1::PublishMovementRulesRequest>,
    ) -> Result<Response<v1::PublishMovementRulesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = PublishRules { release: request.release };
        let message = |r: &_| v1::PublishMovementRulesResponse { release: Some(convert::release(r)) };
        let reply = admitted.write(&self.0, &request, Ok::<_, Error>(use_case), message).await?;
        // at once here; other servers follow within a second
        self.0.take_up_rules().await.map_err(|e| admitted.fail(e))?;
        Ok(reply)
    }

    async fn withdraw_movement_rules(
        &self,
        request: Request<v1::WithdrawMovementRulesRequest>,
    ) -> Result<Response<v1::WithdrawMovementRulesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = WithdrawRules { release: request.release };
        let message = |r: &_| v1::WithdrawMovementRulesResponse { release: Some(convert::release(r)) };
        let reply = admitted.write(&self.0, &request, Ok::<_, Error>(use_case), message).await?;
        self.0.take_up_rules().await.map_err(|e| admitted.fail(e))?;
        Ok(reply)
    }

    async fn list_movement_releases(
        &self,
        request: Request<v1::ListMovementReleasesRequest>,
    ) -> Result<Response<v1::ListMovementReleasesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListMovementReleasesRequest { page_size, page_token } = request.into_inner();
        let page = self.0.releases(&admitted.call(), page_size, &page_token).await;
        let page = page.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListMovementReleasesResponse {
            releases: page.rows.iter().map(convert::release).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }
}
