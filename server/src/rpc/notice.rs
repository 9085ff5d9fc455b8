//! Notices.

use std::time::Duration;

use futures_util::StreamExt as _;
use scionary_app::{
    Error,
    mail::{ConfirmMailAddress, RemoveMailAddress},
    notices::MarkRead,
};
use scionary_proto::v1;

use crate::{
    call::Admitted,
    convert::{count, notice as convert},
    dispatch::{Encoded, RepliesOf},
    site::Site,
    status::{Failure, Refusal},
};

/// How long a watch lasts before it has to begin again.
const WATCH_LASTS: Duration = Duration::from_secs(120);

fn small(n: u64) -> i32 {
    count(usize::try_from(n).unwrap_or(usize::MAX))
}

pub(crate) async fn list_notices(
    site: &Site,
    call: &Admitted,
    request: v1::ListNoticesRequest,
) -> Result<v1::ListNoticesResponse, Failure> {
    let v1::ListNoticesRequest { unread_only, page_size, page_token } = request;
    let found = site.app.notices(call, unread_only, page_size, &page_token).await;
    let (page, unread) = found?;
    Ok(v1::ListNoticesResponse {
        notices: page.rows.iter().map(convert::notice).collect(),
        next_page_token: page.next.unwrap_or_default(),
        unread: small(unread),
    })
}

pub(crate) async fn mark_notices_read(
    site: &Site,
    call: &Admitted,
    request: v1::MarkNoticesReadRequest,
) -> Result<Encoded<v1::MarkNoticesReadResponse>, Failure> {
    let read: Result<MarkRead, Error> = Ok(MarkRead { up_to: request.up_to });
    let message = |unread: &u64| v1::MarkNoticesReadResponse { unread: small(*unread) };
    call.write(&site.app, read, message).await
}

pub(crate) async fn watch_notices(
    site: &Site,
    call: &Admitted,
    request: v1::WatchNoticesRequest,
) -> Result<RepliesOf<v1::WatchNoticesRequest>, Failure> {
    let watch = site.app.watch_notices(call, request.after).await?;
    let begun = futures_util::stream::once(async { Ok(v1::WatchNoticesResponse::default()) });
    let coming = futures_util::stream::try_unfold(watch, |mut watch| async move {
        let notices = watch.next().await?.iter().map(convert::notice).collect();
        Ok(Some((v1::WatchNoticesResponse { notices }, watch)))
    });
    // a session may end meanwhile: a watcher comes again, and is looked at again
    let stop = site.stop.clone();
    let over = async move {
        tokio::select! { () = stop.cancelled() => {}, () = tokio::time::sleep(WATCH_LASTS) => {} }
    };
    let stream = begun.chain(coming).take_until(over);
    Ok(Box::pin(stream))
}

pub(crate) async fn set_mail_address(
    site: &Site,
    call: &Admitted,
    request: v1::SetMailAddressRequest,
) -> Result<v1::SetMailAddressResponse, Failure> {
    let new = site.app.prepare_mail_address(&request.address)?;
    let who = call.account_id()?.to_string();
    site.throttle.mail(&who, &request.address).map_err(Refusal::TooMany)?;
    site.app.set_mail_address(call, new).await?;
    Ok(v1::SetMailAddressResponse {})
}

pub(crate) async fn confirm_mail_address(
    site: &Site,
    call: &Admitted,
    request: v1::ConfirmMailAddressRequest,
) -> Result<Encoded<v1::ConfirmMailAddressResponse>, Failure> {
    let confirm = Ok(ConfirmMailAddress { code: request.code });
    let message = |address: &String| v1::ConfirmMailAddressResponse { address: address.clone() };
    call.write(&site.app, confirm, message).await
}

pub(crate) async fn delete_mail_address(
    site: &Site,
    call: &Admitted,
    _request: v1::DeleteMailAddressRequest,
) -> Result<Encoded<v1::DeleteMailAddressResponse>, Failure> {
    let remove: Result<RemoveMailAddress, Error> = Ok(RemoveMailAddress);
    call.write(&site.app, remove, |()| v1::DeleteMailAddressResponse {}).await
}

pub(crate) async fn get_mail_address(
    site: &Site,
    call: &Admitted,
    _request: v1::GetMailAddressRequest,
) -> Result<v1::GetMailAddressResponse, Failure> {
    let known = site.app.my_mail_address(call).await?;
    Ok(v1::GetMailAddressResponse {
        confirmed: known.as_ref().is_some_and(|k| k.confirmed_at.is_some()),
        address: known.map(|k| k.address).unwrap_or_default(),
        server_sends: site.app.mailer().is_some(),
    })
}
