//! Evidence: entering, correcting, checking, importing; sowings; agreement.

use std::time::Duration;

use prost::Message as _;
use scionary_app::{App, Error, UseCase, evidence::ImportState};
use scionary_domain::{field::FieldError, ids::EvidenceId, limits};
use scionary_proto::v1;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;

use crate::{
    call::Admitted,
    convert::evidence as convert,
    dispatch::{Encoded, RepliesOf, RequestsOf},
    site::Site,
    status::Failure,
};

/// Progress messages that wait for a slow reader.
const PROGRESS_WAITING: usize = 16;

/// Runs a use case that leaves pieces. The reply is filled from what is stored, so that a repeat gets what is current
/// then.
async fn pieces<U: UseCase>(
    site: &Site,
    call: &Admitted,
    use_case: Result<U, Error>,
    ids: impl Fn(&U::Out) -> &[EvidenceId] + Send + Sync + 'static,
) -> Result<Vec<v1::EvidenceDetail>, Failure> {
    let names = move |out: &U::Out| ids(out).iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
    let names = call.write_named(&site.app, use_case, names).await?;
    site.app.refresh_registry().await?;
    let ids: Vec<EvidenceId> = names.split_whitespace().map(App::id).collect::<Result<_, _>>()?;
    Ok(site.app.evidence_of(&ids).await?.iter().map(convert::detail).collect())
}

pub(crate) async fn create_evidence(
    site: &Site,
    call: &Admitted,
    request: v1::CreateEvidenceRequest,
) -> Result<v1::CreateEvidenceResponse, Failure> {
    let evidence = pieces(site, call, convert::add(request), |ids| ids).await?;
    Ok(v1::CreateEvidenceResponse { evidence })
}

pub(crate) async fn correct_evidence(
    site: &Site,
    call: &Admitted,
    request: v1::CorrectEvidenceRequest,
) -> Result<v1::CorrectEvidenceResponse, Failure> {
    let evidence = pieces(site, call, convert::correct(request), |ids| ids).await?;
    Ok(v1::CorrectEvidenceResponse { evidence })
}

pub(crate) async fn withdraw_evidence(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawEvidenceRequest,
) -> Result<Encoded<v1::WithdrawEvidenceResponse>, Failure> {
    let message = |ids: &Vec<EvidenceId>| v1::WithdrawEvidenceResponse {
        evidence_ids: ids.iter().map(ToString::to_string).collect(),
    };
    let reply = call.write(&site.app, convert::withdraw(request), message).await?;
    site.app.refresh_registry().await?;
    Ok(reply)
}

pub(crate) async fn get_evidence(
    site: &Site,
    _call: &Admitted,
    request: v1::GetEvidenceRequest,
) -> Result<v1::GetEvidenceResponse, Failure> {
    let id = App::id(&request.evidence_id)?;
    let shown = site.app.evidence(id).await?;
    Ok(v1::GetEvidenceResponse { evidence: Some(convert::detail(&shown)) })
}

pub(crate) async fn list_my_evidence(
    site: &Site,
    call: &Admitted,
    request: v1::ListMyEvidenceRequest,
) -> Result<v1::ListMyEvidenceResponse, Failure> {
    let v1::ListMyEvidenceRequest { page_size, page_token } = request;
    let page = site.app.my_evidence(call, page_size, &page_token).await?;
    Ok(v1::ListMyEvidenceResponse {
        evidence: page.rows.iter().map(convert::detail).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn check_evidence(
    site: &Site,
    call: &Admitted,
    request: v1::CheckEvidenceRequest,
) -> Result<v1::CheckEvidenceResponse, Failure> {
    let evidence = pieces(site, call, convert::check(&request), std::slice::from_ref).await?.pop();
    Ok(v1::CheckEvidenceResponse { evidence })
}

pub(crate) async fn withdraw_check(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawCheckRequest,
) -> Result<v1::WithdrawCheckResponse, Failure> {
    let evidence = pieces(site, call, convert::withdraw_check(&request), std::slice::from_ref).await?.pop();
    Ok(v1::WithdrawCheckResponse { evidence })
}

pub(crate) async fn import_evidence(
    site: &Site,
    call: &Admitted,
    request: RequestsOf<v1::ImportEvidenceRequest>,
) -> Result<RepliesOf<v1::ImportEvidenceRequest>, Failure> {
    let place = site.app.begin_import(call)?;
    let (sender, receiver) = mpsc::channel(PROGRESS_WAITING);
    let (app, call) = (site.app.clone(), call.clone());
    tokio::spawn(async move {
        let limit = Duration::from_secs(limits::IMPORT_SECONDS_MAX);
        let work = import(&app, &call, place, request, &sender);
        let outcome = match tokio::time::timeout(limit, work).await {
            Ok(outcome) => outcome,
            Err(_) => Err(scionary_app::Error::Limited { retry_after_seconds: 60 }.into()),
        };
        let _ = sender.send(outcome).await;
    });
    Ok(Box::pin(ReceiverStream::new(receiver)))
}

pub(crate) async fn create_sowing(
    site: &Site,
    call: &Admitted,
    request: v1::CreateSowingRequest,
) -> Result<Encoded<v1::CreateSowingResponse>, Failure> {
    let today = call.now.date();
    let use_case = convert::create_sowing(request);
    let message = move |shown: &_| v1::CreateSowingResponse { sowing: Some(convert::sowing(shown, today)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn list_my_sowings(
    site: &Site,
    call: &Admitted,
    request: v1::ListMySowingsRequest,
) -> Result<v1::ListMySowingsResponse, Failure> {
    let v1::ListMySowingsRequest { open_only, page_size, page_token } = request;
    let page = site.app.my_sowings(call, open_only, page_size, &page_token).await?;
    Ok(v1::ListMySowingsResponse {
        sowings: page.rows.iter().map(|s| convert::sowing(s, call.now.date())).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn close_sowing(
    site: &Site,
    call: &Admitted,
    request: v1::CloseSowingRequest,
) -> Result<Encoded<v1::CloseSowingResponse>, Failure> {
    let today = call.now.date();
    let use_case = convert::close_sowing(request);
    let message = move |shown: &_| v1::CloseSowingResponse { sowing: Some(convert::sowing(shown, today)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn get_agreement(
    site: &Site,
    _call: &Admitted,
    request: v1::GetAgreementRequest,
) -> Result<v1::GetAgreementResponse, Failure> {
    let found = site.app.agreement(&request.crop).await?;
    Ok(v1::GetAgreementResponse { descriptors: found.iter().map(convert::agreement).collect() })
}

pub(crate) async fn get_grower_record(
    site: &Site,
    call: &Admitted,
    request: v1::GetGrowerRecordRequest,
) -> Result<v1::GetGrowerRecordResponse, Failure> {
    let handle = request.handle;
    let found = site.app.grower_record(call, &handle).await?;
    Ok(convert::grower_record(&found))
}

/// Reads all rows, checks them, writes them, and tells how far it has come.
async fn import(
    app: &App,
    call: &Admitted,
    place: scionary_app::evidence::ImportPlace,
    mut incoming: RequestsOf<v1::ImportEvidenceRequest>,
    progress: &mpsc::Sender<Result<v1::ImportEvidenceResponse, Failure>>,
) -> Result<v1::ImportEvidenceResponse, Failure> {
    let mut mode = None;
    let mut rows = Vec::new();
    let mut unread = Vec::new();
    let mut bytes = 0;
    while let Some(part) = incoming.next().await? {
        if mode.is_none() {
            mode = Some(convert::import_mode(part.mode)?);
        }
        bytes += part.encoded_len();
        if bytes > limits::IMPORT_BYTES_MAX {
            let most = limits::IMPORT_BYTES_MAX >> 20;
            return Err(FieldError::new("rows", format!("at most {most} MiB in all expected")).into());
        }
        for row in part.rows {
            match convert::import_row(row) {
                Ok(row) => rows.push(row),
                Err(wrong) => unread.push(wrong),
            }
        }
        if rows.len() + unread.len() > limits::IMPORT_ROWS_MAX {
            return Err(FieldError::new(
                "rows",
                format!("at most {} rows expected", limits::IMPORT_ROWS_MAX),
            )
            .into());
        }
    }
    let Some(mut mode) = mode else {
        return Err(FieldError::new("mode", "a first message with a mode expected").into());
    };
    let unreadable = !unread.is_empty();
    if unreadable && mode == scionary_app::evidence::ImportMode::AllOrNothing {
        // the rest is checked all the same, so that everything wrong is listed
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
    let done = app.import_evidence(call, place, rows, mode, &mut tell).await?;
    Ok(convert::imported(&done, unread))
}
