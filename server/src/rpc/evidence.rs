//! Evidence: entering, correcting, checking, importing; sowings; agreement.

use std::{pin::Pin, time::Duration};

use futures_util::Stream;
use prost::Message as _;
use scionary_app::{App, KeepReply, UseCase, evidence::ImportState};
use scionary_domain::{evidence::Evidence, field::FieldError, limits};
use scionary_proto::v1::{self, evidence_service_server::EvidenceService};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status, Streaming};

use crate::{call::Admitted, convert::evidence as convert};

/// Answers `EvidenceService`.
pub struct EvidenceRpc(pub App);

/// Progress messages that wait for a slow reader.
const PROGRESS_WAITING: usize = 16;

impl EvidenceRpc {
    /// Runs a use case that leaves pieces; the reply names their ids, and is filled from what is stored, so that a
    /// repeat gets what stands then.
    async fn pieces<U: UseCase<Out = Vec<Evidence>>>(
        &self,
        admitted: &Admitted,
        bound: &impl prost::Message,
        use_case: U,
    ) -> Result<Vec<v1::EvidenceDetail>, Status> {
        let encode = |pieces: &Vec<Evidence>| {
            let evidence_ids = pieces.iter().map(|p| p.id.to_string()).collect();
            v1::WithdrawEvidenceResponse { evidence_ids }.encode_to_vec()
        };
        let call = admitted.write_call(bound);
        let kept = self.0.write(&call, use_case, KeepReply::Yes, encode).await;
        let ids: Response<v1::WithdrawEvidenceResponse> = admitted.reply(kept)?;
        let fail = |e| admitted.fail(e);
        self.0.refresh_registry().await.map_err(fail)?;
        let mut all = Vec::new();
        for id in ids.into_inner().evidence_ids {
            let id = convert::read_id(&id).map_err(fail)?;
            all.push(convert::detail(&self.0.evidence(id).await.map_err(fail)?));
        }
        Ok(all)
    }

    /// The same for a check: one piece.
    async fn piece<U: UseCase<Out = Evidence>>(
        &self,
        admitted: &Admitted,
        bound: &impl prost::Message,
        use_case: U,
    ) -> Result<v1::EvidenceDetail, Status> {
        let encode =
            |piece: &Evidence| v1::GetEvidenceRequest { evidence_id: piece.id.to_string() }.encode_to_vec();
        let call = admitted.write_call(bound);
        let kept = self.0.write(&call, use_case, KeepReply::Yes, encode).await;
        let id: Response<v1::GetEvidenceRequest> = admitted.reply(kept)?;
        let fail = |e| admitted.fail(e);
        self.0.refresh_registry().await.map_err(fail)?;
        let id = convert::read_id(&id.into_inner().evidence_id).map_err(fail)?;
        Ok(convert::detail(&self.0.evidence(id).await.map_err(fail)?))
    }
}

#[tonic::async_trait]
impl EvidenceService for EvidenceRpc {
    async fn add_evidence(
        &self,
        request: Request<v1::AddEvidenceRequest>,
    ) -> Result<Response<v1::AddEvidenceResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = convert::add(request.clone()).map_err(|e| admitted.fail(e))?;
        let evidence = self.pieces(&admitted, &request, use_case).await?;
        Ok(Response::new(v1::AddEvidenceResponse { evidence }))
    }

    async fn correct_evidence(
        &self,
        request: Request<v1::CorrectEvidenceRequest>,
    ) -> Result<Response<v1::CorrectEvidenceResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = convert::correct(request.clone()).map_err(|e| admitted.fail(e))?;
        let evidence = self.pieces(&admitted, &request, use_case).await?;
        Ok(Response::new(v1::CorrectEvidenceResponse { evidence }))
    }

    async fn withdraw_evidence(
        &self,
        request: Request<v1::WithdrawEvidenceRequest>,
    ) -> Result<Response<v1::WithdrawEvidenceResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let use_case = convert::withdraw(request).map_err(|e| admitted.fail(e))?;
        let encode = |ids: &Vec<scionary_domain::ids::EvidenceId>| {
            let evidence_ids = ids.iter().map(ToString::to_string).collect();
            v1::WithdrawEvidenceResponse { evidence_ids }.encode_to_vec()
        };
        let kept = self.0.write(&call, use_case, KeepReply::Yes, encode).await;
        let reply = admitted.reply(kept)?;
        self.0.refresh_registry().await.map_err(|e| admitted.fail(e))?;
        Ok(reply)
    }

    async fn get_evidence(
        &self,
        request: Request<v1::GetEvidenceRequest>,
    ) -> Result<Response<v1::GetEvidenceResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let id = convert::read_id(&request.into_inner().evidence_id).map_err(|e| admitted.fail(e))?;
        let shown = self.0.evidence(id).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::GetEvidenceResponse { evidence: Some(convert::detail(&shown)) }))
    }

    async fn list_my_evidence(
        &self,
        request: Request<v1::ListMyEvidenceRequest>,
    ) -> Result<Response<v1::ListMyEvidenceResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListMyEvidenceRequest { page_size, page_token } = request.into_inner();
        let page = self
            .0
            .my_evidence(&admitted.call(), page_size, &page_token)
            .await
            .map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListMyEvidenceResponse {
            evidence: page.rows.iter().map(convert::detail).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn check_evidence(
        &self,
        request: Request<v1::CheckEvidenceRequest>,
    ) -> Result<Response<v1::CheckEvidenceResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = convert::check(&request).map_err(|e| admitted.fail(e))?;
        let evidence = Some(self.piece(&admitted, &request, use_case).await?);
        Ok(Response::new(v1::CheckEvidenceResponse { evidence }))
    }

    async fn withdraw_check(
        &self,
        request: Request<v1::WithdrawCheckRequest>,
    ) -> Result<Response<v1::WithdrawCheckResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = convert::withdraw_check(&request).map_err(|e| admitted.fail(e))?;
        let evidence = Some(self.piece(&admitted, &request, use_case).await?);
        Ok(Response::new(v1::WithdrawCheckResponse { evidence }))
    }

    type ImportEvidenceStream =
        Pin<Box<dyn Stream<Item = Result<v1::ImportEvidenceResponse, Status>> + Send>>;

    async fn import_evidence(
        &self,
        request: Request<Streaming<v1::ImportEvidenceRequest>>,
    ) -> Result<Response<Self::ImportEvidenceStream>, Status> {
        let admitted = Admitted::of(&request)?;
        let (sender, receiver) = mpsc::channel(PROGRESS_WAITING);
        let app = self.0.clone();
        let incoming = request.into_inner();
        tokio::spawn(async move {
            let limit = Duration::from_secs(limits::IMPORT_SECONDS_MAX);
            let work = import(&app, &admitted, incoming, &sender);
            let outcome = match tokio::time::timeout(limit, work).await {
                Ok(outcome) => outcome,
                Err(_) => Err(admitted.fail(scionary_app::Error::Limited { retry_after_seconds: 60 })),
            };
            let _ = sender.send(outcome).await;
        });
        Ok(Response::new(Box::pin(ReceiverStream::new(receiver))))
    }

    async fn record_sowing(
        &self,
        request: Request<v1::RecordSowingRequest>,
    ) -> Result<Response<v1::RecordSowingResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let today = call.now.date();
        let use_case = convert::record_sowing(request).map_err(|e| admitted.fail(e))?;
        let encode = move |shown: &_| {
            v1::RecordSowingResponse { sowing: Some(convert::sowing(shown, today)) }.encode_to_vec()
        };
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn list_my_sowings(
        &self,
        request: Request<v1::ListMySowingsRequest>,
    ) -> Result<Response<v1::ListMySowingsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let call = admitted.call();
        let v1::ListMySowingsRequest { open_only, page_size, page_token } = request.into_inner();
        let page = self
            .0
            .my_sowings(&call, open_only, page_size, &page_token)
            .await
            .map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListMySowingsResponse {
            sowings: page.rows.iter().map(|s| convert::sowing(s, call.now.date())).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn close_sowing(
        &self,
        request: Request<v1::CloseSowingRequest>,
    ) -> Result<Response<v1::CloseSowingResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let today = call.now.date();
        let use_case = convert::close_sowing(request).map_err(|e| admitted.fail(e))?;
        let encode = move |shown: &_| {
            v1::CloseSowingResponse { sowing: Some(convert::sowing(shown, today)) }.encode_to_vec()
        };
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn get_agreement(
        &self,
        request: Request<v1::GetAgreementRequest>,
    ) -> Result<Response<v1::GetAgreementResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let found = self.0.agreement(&request.into_inner().crop).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::GetAgreementResponse {
            descriptors: found.iter().map(convert::agreement).collect(),
        }))
    }

    async fn get_grower_record(
        &self,
        request: Request<v1::GetGrowerRecordRequest>,
    ) -> Result<Response<v1::GetGrowerRecordResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let handle = request.into_inner().handle;
        let found = self.0.grower_record(&admitted.call(), &handle).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(convert::grower_record(&found)))
    }
}

/// Reads all rows, checks them, writes them, and tells how far it has come.
async fn import(
    app: &App,
    admitted: &Admitted,
    mut incoming: Streaming<v1::ImportEvidenceRequest>,
    progress: &mpsc::Sender<Result<v1::ImportEvidenceResponse, Status>>,
) -> Result<v1::ImportEvidenceResponse, Status> {
    let mut mode = None;
    let mut rows = Vec::new();
    let mut unread = Vec::new();
    let mut bytes = 0;
    while let Some(part) = incoming.message().await? {
        if mode.is_none() {
            mode = Some(convert::import_mode(part.mode).map_err(|e| admitted.fail(e))?);
        }
        bytes += part.encoded_len();
        if bytes > limits::IMPORT_BYTES_MAX {
            let most = limits::IMPORT_BYTES_MAX >> 20;
            return Err(admitted.fail(FieldError::new("rows", format!("at most {most} MiB in all expected"))));
        }
        for row in part.rows {
            match convert::import_row(row) {
                Ok(row) => rows.push(row),
                Err(wrong) => unread.push(wrong),
            }
        }
        if rows.len() + unread.len() > limits::IMPORT_ROWS_MAX {
            return Err(admitted.fail(FieldError::new(
                "rows",
                format!("at most {} rows expected", limits::IMPORT_ROWS_MAX),
            )));
        }
    }
    let Some(mut mode) = mode else {
        return Err(admitted.fail(FieldError::new("mode", "a first message with a mode expected")));
    };
    let unreadable = !unread.is_empty();
    if unreadable && mode == scionary_app::evidence::ImportMode::AllOrNothing {
        // the rest is checked all the same, so that everything wrong is told
        mode = scionary_app::evidence::ImportMode::DryRun;
    }
    if rows.is_empty() && unreadable {
        return Ok(convert::imported(&scionary_app::evidence::Imported::default(), unread));
    }
    let mut tell = |state: ImportState| {
        let (checked, written) = match state {
            ImportState::Checked(n) => (n, 0),
            ImportState::Written(n) => (0, n),
        };
        let message = v1::ImportEvidenceResponse {
            checked: crate::convert::count(checked),
            written: crate::convert::count(written),
            ..Default::default()
        };
        // a reader that lags misses some progress, never the end
        let _ = progress.try_send(Ok(message));
    };
    let done =
        app.import_evidence(&admitted.call(), rows, mode, &mut tell).await.map_err(|e| admitted.fail(e))?;
    Ok(convert::imported(&done, unread))
}
