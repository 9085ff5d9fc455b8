//! Movement of plants.

use scionary_app::App;
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
}
