//! About the server.

use scionary_app::App;
use scionary_domain::{limits, seed};
use scionary_proto::v1::{self, server_service_server::ServerService};
use tonic::{Request, Response, Status};

use crate::{VERSION, call::Admitted, convert};

/// Answers `ServerService`.
pub struct ServerRpc {
    /// The application.
    pub app: App,
    /// The name that the operator gave the server.
    pub name: String,
}

#[tonic::async_trait]
impl ServerService for ServerRpc {
    async fn get_server(
        &self,
        request: Request<v1::GetServerRequest>,
    ) -> Result<Response<v1::GetServerResponse>, Status> {
        Admitted::of(&request)?;
        let registry = self.app.registry();
        Ok(Response::new(v1::GetServerResponse {
            version: VERSION.into(),
            name: self.name.clone(),
            sign_up: convert::account::sign_up_mode(self.app.policy().sign_up).into(),
            crops: registry.crops().map(|c| c.slug.clone()).collect(),
            cultivar_count: convert::count(registry.record_count()),
            evidence_count: convert::count(registry.evidence_count()),
            evidence_policy_version: i32::try_from(seed::policy_version()).unwrap_or(i32::MAX),
            limits: limits::ALL
                .iter()
                .map(|(name, value, reason)| v1::Limit {
                    name: (*name).into(),
                    value: *value,
                    reason: (*reason).into(),
                })
                .collect(),
        }))
    }
}
