//! Notices.

use std::{pin::Pin, time::Duration};

use futures_util::{Stream, StreamExt as _};
use scionary_app::{
    App, Error,
    mail::{ConfirmMailAddress, RemoveMailAddress},
    notices::MarkRead,
};
use scionary_proto::v1::{self, notice_service_server::NoticeService};
use tonic::{Request, Response, Status};

use crate::{
    call::Admitted,
    convert::{count, notice as convert},
};

/// How long a watch lasts before it has to begin anew.
const WATCH_LASTS: Duration = Duration::from_secs(120);

/// Answers `NoticeService`.
pub struct NoticeRpc {
    /// The application.
    pub app: App,
    /// Set when the server stops: watches end.
    pub stop: tokio_util::sync::CancellationToken,
}

fn small(n: u64) -> i32 {
    count(usize::try_from(n).unwrap_or(usize::MAX))
}

#[tonic::async_trait]
impl NoticeService for NoticeRpc {
    async fn list_notices(
        &self,
        request: Request<v1::ListNoticesRequest>,
    ) -> Result<Response<v1::ListNoticesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListNoticesRequest { unread_only, page_size, page_token } = request.into_inner();
        let found = self.app.notices(&admitted.call(), unread_only, page_size, &page_token).await;
        let (page, unread) = found.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListNoticesResponse {
            notices: page.rows.iter().map(convert::notice).collect(),
            next_page_token: page.next.unwrap_or_default(),
            unread: small(unread),
        }))
    }

    async fn mark_notices_read(
        &self,
        request: Request<v1::MarkNoticesReadRequest>,
    ) -> Result<Response<v1::MarkNoticesReadResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let read: Result<MarkRead, Error> = Ok(MarkRead { up_to: request.up_to });
        let message = |unread: &u64| v1::MarkNoticesReadResponse { unread: small(*unread) };
        admitted.write(&self.app, &request, read, message).await
    }

    type WatchNoticesStream = Pin<Box<dyn Stream<Item = Result<v1::WatchNoticesResponse, Status>> + Send>>;

    async fn watch_notices(
        &self,
        request: Request<v1::WatchNoticesRequest>,
    ) -> Result<Response<Self::WatchNoticesStream>, Status> {
        let admitted = Admitted::of(&request)?;
        let watch = self.app.watch_notices(&admitted.call(), request.into_inner().after).await;
        let watch = watch.map_err(|e| admitted.fail(e))?;
        let begun = futures_util::stream::once(async { Ok(v1::WatchNoticesResponse::default()) });
        let coming = futures_util::stream::try_unfold(watch, move |mut watch| {
            let admitted = admitted.clone();
            async move {
                let notices = watch.next().await.map_err(|e| admitted.fail(e))?;
                let notices = notices.iter().map(convert::notice).collect();
                Ok(Some((v1::WatchNoticesResponse { notices }, watch)))
            }
        });
        // a session may end meanwhile: a watcher comes again, and is looked at again
        let stop = self.stop.clone();
        let over = async move {
            tokio::select! { () = stop.cancelled() => {}, () = tokio::time::sleep(WATCH_LASTS) => {} }
        };
        let stream = begun.chain(coming).take_until(over);
        Ok(Response::new(Box::pin(stream)))
    }

    async fn set_mail_address(
        &self,
        request: Request<v1::SetMailAddressRequest>,
    ) -> Result<Response<v1::SetMailAddressResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let fail = |e| admitted.fail(e);
        let call = admitted.write_call(&request);
        let new = self.app.prepare_mail_address(&request.address).map_err(fail)?;
        self.app.set_mail_address(&call, new).await.map_err(fail)?;
        Ok(Response::new(v1::SetMailAddressResponse {}))
    }

    async fn confirm_mail_address(
        &self,
        request: Request<v1::ConfirmMailAddressRequest>,
    ) -> Result<Response<v1::ConfirmMailAddressResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let code = request.into_inner().code;
        // a key is bound to no code, as for passwords
        let bound = v1::ConfirmMailAddressRequest::default();
        let confirm: Result<ConfirmMailAddress, Error> = Ok(ConfirmMailAddress { code });
        let message = |address: &String| v1::ConfirmMailAddressResponse { address: address.clone() };
        admitted.write(&self.app, &bound, confirm, message).await
    }

    async fn remove_mail_address(
        &self,
        request: Request<v1::RemoveMailAddressRequest>,
    ) -> Result<Response<v1::RemoveMailAddressResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let remove: Result<RemoveMailAddress, Error> = Ok(RemoveMailAddress);
        admitted.write(&self.app, &request, remove, |()| v1::RemoveMailAddressResponse {}).await
    }

    async fn get_mail_address(
        &self,
        request: Request<v1::GetMailAddressRequest>,
    ) -> Result<Response<v1::GetMailAddressResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let known = self.app.my_mail_address(&admitted.call()).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::GetMailAddressResponse {
            confirmed: known.as_ref().is_some_and(|k| k.confirmed_at.is_some()),
            address: known.map(|k| k.address).unwrap_or_default(),
            server_sends: self.app.mailer().is_some(),
        }))
    }
}
