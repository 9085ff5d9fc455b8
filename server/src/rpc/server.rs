//! About the server.

use scionary_domain::{limits, seed};
use scionary_proto::v1;

use crate::{VERSION, call::Admitted, convert, site::Site, status::Failure};

pub(crate) async fn get_server(
    site: &Site,
    _call: &Admitted,
    _request: v1::GetServerRequest,
) -> Result<v1::GetServerResponse, Failure> {
    let registry = site.app.registry();
    Ok(v1::GetServerResponse {
        version: VERSION.into(),
        name: site.name.clone(),
        sign_up: convert::account::sign_up_mode(site.app.policy().sign_up).into(),
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
    })
}
