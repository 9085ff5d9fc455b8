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

pub(crate) async fn create_movement_release(
    site: &Site,
    call: &Admitted,
    request: v1::CreateMovementReleaseRequest,
) -> Result<Encoded<v1::CreateMovementReleaseResponse>, Failure> {
    let v1::CreateMovementReleaseRequest { files, note, dry_run } = request;
    let files = files.into_iter().map(|file| (file.name, file.text)).collect();
    let use_case = ProposeRules { files, note, dry_run };
    let message = |r: &_| v1::CreateMovementReleaseResponse { release: Some(convert::release(r)) };
    call.write(&site.app, Ok::<_, Error>(use_case), message).await
}

pub(crate) async fn publish_movement_release(
    site: &Site,
    call: &Admitted,
    request: v1::PublishMovementReleaseRequest,
) -> Result<Encoded<v1::PublishMovementReleaseResponse>, Failure> {
    let use_case = PublishRules { release: request.release };
    let message = |r: &_| v1::PublishMovementReleaseResponse { release: Some(convert::release(r)) };
    let reply = call.write(&site.app, Ok::<_, Error>(use_case), message).await?;
    // at once here; other servers follow within a second
    site.app.take_up_rules().await?;
    Ok(reply)
}

pub(crate) async fn withdraw_movement_release(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawMovementReleaseRequest,
) -> Result<Encoded<v1::WithdrawMovementReleaseResponse>, Failure> {
    let use_case = WithdrawRules { release: request.release };
    let message = |r: &_| v1::WithdrawMovementReleaseResponse { release: Some(convert::release(r)) };
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
