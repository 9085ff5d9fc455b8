//! Notices.

use std::pin::Pin;

use futures_util::{Stream, StreamExt as _};
use scionary_app::{App, Error, notices::MarkRead};
use scionary_proto::v1::{self, notice_service_server::NoticeService};
use tonic::{Request, Response, Status};

use crate::{
    call::Admitted,
    convert::{count, notice as convert},
};

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
        let stream = begun.chain(coming).take_until(self.stop.clone().cancelled_owned());
        Ok(Response::new(Box::pin(stream)))
    }
}
