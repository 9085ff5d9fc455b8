//! Curation: proposals, rulings, names, history, locks, complaints.

use scionary_app::{App, Error, UseCase, curation::EnterCultivar};
use scionary_domain::{
    field::Fields,
    ids::{CultivarId, ProposalId},
    limits,
};
use scionary_proto::v1;

use crate::{call::Admitted, convert::curation as convert, dispatch::Encoded, site::Site, status::Failure};

/// Runs a use case on a proposal and shows it as it is current then.
async fn proposal<U: UseCase<Out = ProposalId>>(
    site: &Site,
    call: &Admitted,
    use_case: Result<U, Error>,
) -> Result<Option<v1::Proposal>, Failure> {
    let id = call.write_named(&site.app, use_case, ToString::to_string).await?;
    site.app.refresh_registry().await?;
    let shown = site.app.proposal(App::id(&id)?).await?;
    Ok(Some(convert::proposal(&shown, call.now, true)))
}

pub(crate) async fn enter_cultivar(
    site: &Site,
    call: &Admitted,
    request: v1::EnterCultivarRequest,
) -> Result<Encoded<v1::EnterCultivarResponse>, Failure> {
    let use_case = Ok(EnterCultivar { crop: request.crop.clone(), name: request.name.clone() });
    let message = |(id, on_file): &(CultivarId, bool)| v1::EnterCultivarResponse {
        cultivar_id: id.to_string(),
        on_file: *on_file,
    };
    let reply = call.write(&site.app, use_case, message).await?;
    site.app.refresh_registry().await?;
    Ok(reply)
}

pub(crate) async fn create_proposal(
    site: &Site,
    call: &Admitted,
    request: v1::CreateProposalRequest,
) -> Result<v1::CreateProposalResponse, Failure> {
    let proposal = proposal(site, call, convert::propose(request, &site.app.registry())).await?;
    Ok(v1::CreateProposalResponse { proposal })
}

pub(crate) async fn get_proposal(
    site: &Site,
    call: &Admitted,
    request: v1::GetProposalRequest,
) -> Result<v1::GetProposalResponse, Failure> {
    let id = App::id(&request.proposal_id)?;
    let shown = site.app.proposal(id).await?;
    let proposal = Some(convert::proposal(&shown, call.now, true));
    Ok(v1::GetProposalResponse { proposal })
}

pub(crate) async fn list_proposals(
    site: &Site,
    call: &Admitted,
    request: v1::ListProposalsRequest,
) -> Result<v1::ListProposalsResponse, Failure> {
    let v1::ListProposalsRequest { crop, cultivar, state, page_size, page_token } = request;
    let filter = convert::filter(&crop, &cultivar, state, false)?;
    let page = site.app.proposals(call, &filter, page_size, &page_token).await?;
    Ok(v1::ListProposalsResponse {
        proposals: page.rows.iter().map(|p| convert::proposal(p, call.now, false)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn list_my_proposals(
    site: &Site,
    call: &Admitted,
    request: v1::ListMyProposalsRequest,
) -> Result<v1::ListMyProposalsResponse, Failure> {
    let v1::ListMyProposalsRequest { state, page_size, page_token } = request;
    let filter = convert::filter("", "", state, true)?;
    let page = site.app.proposals(call, &filter, page_size, &page_token).await?;
    Ok(v1::ListMyProposalsResponse {
        proposals: page.rows.iter().map(|p| convert::proposal(p, call.now, false)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn withdraw_proposal(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawProposalRequest,
) -> Result<v1::WithdrawProposalResponse, Failure> {
    let proposal = proposal(site, call, convert::withdraw(&request)).await?;
    Ok(v1::WithdrawProposalResponse { proposal })
}

pub(crate) async fn decide_proposal(
    site: &Site,
    call: &Admitted,
    request: v1::DecideProposalRequest,
) -> Result<v1::DecideProposalResponse, Failure> {
    let proposal = proposal(site, call, convert::rule(request)).await?;
    Ok(v1::DecideProposalResponse { proposal })
}

pub(crate) async fn check_name(
    site: &Site,
    call: &Admitted,
    request: v1::CheckNameRequest,
) -> Result<v1::CheckNameResponse, Failure> {
    let v1::CheckNameRequest { crop, name, historic } = request;
    let registry = site.app.registry();
    let crop = crop.trim().to_lowercase();
    let mut fields = Fields::new();
    if registry.crop(&crop).is_none() {
        fields.wrong("crop", registry.crop_expected(&crop));
    }
    let name = fields.line("name", &name, 1, limits::NAME_CHARS_MAX);
    let name = fields.finish(name)?;
    let typed = name.clone();
    let work = move || {
        let remarks = registry.name_remarks(&crop, &name, historic);
        Ok(v1::CheckNameResponse {
            acceptable: !remarks.iter().any(|r| r.severe),
            remarks: remarks.iter().map(convert::remark).collect(),
        })
    };
    site.by_name(call, &typed, work).await
}

pub(crate) async fn get_history(
    site: &Site,
    _call: &Admitted,
    request: v1::GetHistoryRequest,
) -> Result<v1::GetHistoryResponse, Failure> {
    let v1::GetHistoryRequest { cultivar, crop, page_size, page_token } = request;
    let page = site.app.history(&cultivar, &crop, page_size, &page_token).await?;
    Ok(v1::GetHistoryResponse {
        events: page.rows.iter().map(convert::event).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn lock_record(
    site: &Site,
    call: &Admitted,
    request: v1::LockRecordRequest,
) -> Result<Encoded<v1::LockRecordResponse>, Failure> {
    let message = |id: &CultivarId| v1::LockRecordResponse { cultivar_id: id.to_string() };
    let reply = call.write(&site.app, convert::lock(request), message).await?;
    site.app.refresh_registry().await?;
    Ok(reply)
}

pub(crate) async fn create_ticket(
    site: &Site,
    call: &Admitted,
    request: v1::CreateTicketRequest,
) -> Result<Encoded<v1::CreateTicketResponse>, Failure> {
    let use_case = convert::file(request);
    let message = |shown: &_| v1::CreateTicketResponse { ticket: Some(convert::ticket(shown)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn list_tickets(
    site: &Site,
    call: &Admitted,
    request: v1::ListTicketsRequest,
) -> Result<v1::ListTicketsResponse, Failure> {
    let v1::ListTicketsRequest { mine, open_only, page_size, page_token } = request;
    let page = site.app.tickets(call, mine, open_only, page_size, &page_token).await?;
    Ok(v1::ListTicketsResponse {
        tickets: page.rows.iter().map(convert::ticket).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn close_ticket(
    site: &Site,
    call: &Admitted,
    request: v1::CloseTicketRequest,
) -> Result<Encoded<v1::CloseTicketResponse>, Failure> {
    let use_case = convert::close(request);
    let message = |shown: &_| v1::CloseTicketResponse { ticket: Some(convert::ticket(shown)) };
    call.write(&site.app, use_case, message).await
}
