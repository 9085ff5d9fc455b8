//! Movement of plants.

use scionary_app::{
    App, Error,
    movement::{ProposeRules, PublishRules, WithdrawRules},
};
use scionary_proto::v1;

use crate::{call::Admitted, convert::movement as convert, dispatch::Encoded, site::Site, status::Failure};

pub(crate) async fn check_movement(
    site: &Site,
    call: &Admitted,
    request: v1::CheckMovementRequest,
) -> Result<v1::CheckMovementResponse, Failure> {
    let asked = convert::ask(request)?;
    let found = site.app.ask_movement(call, &asked).await?;
    Ok(convert::found(&found))
}

pub(crate) async fn list_movement_rules(
    site: &Site,
    _call: &Admitted,
    request: v1::ListMovementRulesRequest,
) -> Result<v1::ListMovementRulesResponse, Failure> {
    let v1::ListMovementRulesRequest { host, page_size, page_token } = request;
    let rules = site.app.movement();
    let page = App::movement_page(&rules, &host, page_size, &page_token)?;
    Ok(v1::ListMovementRulesResponse {
        rules: page.rows.into_iter().map(convert::rule).collect(),
        next_page_token: page.next.unwrap_or_default(),
        empty_areas: rules.empty_areas().into_iter().map(Into::into).collect(),
    })
}

pub(crate) async fn propose_movement_rules(
    site: &Site,
    call: &Admitted,
    request: v1::ProposeMovementRulesRequest,
) -> Result<Encoded<v1::ProposeMovementRulesResponse>, Failure> {
    let v1::ProposeMovementRulesRequest { files, note, dry_run } = request;
    let files = files.into_iter().map(|file| (file.name, file.text)).collect();
    let use_case = ProposeRules { files, note, dry_run };
    let message = |r: &_| v1::ProposeMovementRulesResponse { release: Some(convert::release(r)) };
    call.write(&site.app, Ok::<_, Error>(use_case), message).await
}

pub(crate) async fn publish_movement_rules(
    site: &Site,
    call: &Admitted,
    request: v1::PublishMovementRulesRequest,
) -> Result<Encoded<v1::PublishMovementRulesResponse>, Failure> {
    let use_case = PublishRules { release: request.release };
    let message = |r: &_| v1::PublishMovementRulesResponse { release: Some(convert::release(r)) };
    let reply = call.write(&site.app, Ok::<_, Error>(use_case), message).await?;
    // at once here; other servers follow within a second
    site.app.take_up_rules().await?;
    Ok(reply)
}

pub(crate) async fn withdraw_movement_rules(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawMovementRulesRequest,
) -> Result<Encoded<v1::WithdrawMovementRulesResponse>, Failure> {
    let use_case = WithdrawRules { release: request.release };
    let message = |r: &_| v1::WithdrawMovementRulesResponse { release: Some(convert::release(r)) };
    let reply = call.write(&site.app, Ok::<_, Error>(use_case), message).await?;
    site.app.take_up_rules().await?;
    Ok(reply)
}

pub(crate) async fn list_movement_releases(
    site: &Site,
    call: &Admitted,
    request: v1::ListMovementReleasesRequest,
) -> Result<v1::ListMovementReleasesResponse, Failure> {
    let v1::ListMovementReleasesRequest { page_size, page_token } = request;
    let page = site.app.releases(call, page_size, &page_token).await;
    let page = page?;
    Ok(v1::ListMovementReleasesResponse {
        releases: page.rows.iter().map(convert::release).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}
