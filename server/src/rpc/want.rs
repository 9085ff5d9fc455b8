//! Wants.

use scionary_app::{App, wants::WithdrawWant};
use scionary_proto::v1;

use crate::{call::Admitted, convert::want as convert, dispatch::Encoded, site::Site, status::Failure};

pub(crate) async fn create_want(
    site: &Site,
    call: &Admitted,
    request: v1::CreateWantRequest,
) -> Result<Encoded<v1::CreateWantResponse>, Failure> {
    let message = |want: &_| v1::CreateWantResponse { want: Some(convert::want(want)) };
    call.write(&site.app, convert::make(request), message).await
}

pub(crate) async fn withdraw_want(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawWantRequest,
) -> Result<Encoded<v1::WithdrawWantResponse>, Failure> {
    let use_case = App::id(&request.want_id).map(|id| WithdrawWant { id });
    call.write(&site.app, use_case, |()| v1::WithdrawWantResponse {}).await
}

pub(crate) async fn list_my_wants(
    site: &Site,
    call: &Admitted,
    request: v1::ListMyWantsRequest,
) -> Result<v1::ListMyWantsResponse, Failure> {
    let v1::ListMyWantsRequest { closed_too, page_size, page_token } = request;
    let page = site.app.my_wants(call, closed_too, page_size, &page_token).await;
    let page = page?;
    Ok(v1::ListMyWantsResponse {
        wants: page.rows.iter().map(convert::want).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn search_wants(
    site: &Site,
    call: &Admitted,
    request: v1::SearchWantsRequest,
) -> Result<v1::SearchWantsResponse, Failure> {
    let (search, size, token) = convert::search(request)?;
    let page = site.app.sought(call, &search, size, &token).await?;
    Ok(v1::SearchWantsResponse {
        wants: page.rows.iter().map(convert::sought).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}
