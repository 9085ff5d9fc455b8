//! Claims.

use scionary_app::{App, Error, UseCase};
use scionary_domain::ids::ClaimId;
use scionary_proto::v1;

use crate::{call::Admitted, convert::claim as convert, site::Site, status::Failure};

/// Runs a use case that leaves a claim. The reply is filled from what is stored, so that a repeat gets what is current
/// then, and no contact is kept with a key.
async fn written<U: UseCase>(
    site: &Site,
    call: &Admitted,
    use_case: Result<U, Error>,
    id: impl Fn(&U::Out) -> ClaimId + Send + Sync + 'static,
) -> Result<Option<v1::Claim>, Failure> {
    let id = call.write_named(&site.app, use_case, move |out| id(out).to_string()).await?;
    claim(site, call, &id).await
}

async fn claim(site: &Site, call: &Admitted, id: &str) -> Result<Option<v1::Claim>, Failure> {
    let shown = site.app.my_claim(call, App::id(id)?).await?;
    Ok(Some(convert::claim(&shown, call.account_id()?)))
}

pub(crate) async fn create_claim(
    site: &Site,
    call: &Admitted,
    request: v1::CreateClaimRequest,
) -> Result<v1::CreateClaimResponse, Failure> {
    let claim = written(site, call, convert::ask(request), |id| *id).await?;
    Ok(v1::CreateClaimResponse { claim })
}

pub(crate) async fn accept_claim(
    site: &Site,
    call: &Admitted,
    request: v1::AcceptClaimRequest,
) -> Result<v1::AcceptClaimResponse, Failure> {
    let claim = written(site, call, convert::accept(request), |id| *id).await?;
    Ok(v1::AcceptClaimResponse { claim })
}

pub(crate) async fn decline_claim(
    site: &Site,
    call: &Admitted,
    request: v1::DeclineClaimRequest,
) -> Result<v1::DeclineClaimResponse, Failure> {
    let claim = written(site, call, convert::decline(request), |id| *id).await?;
    Ok(v1::DeclineClaimResponse { claim })
}

pub(crate) async fn withdraw_claim(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawClaimRequest,
) -> Result<v1::WithdrawClaimResponse, Failure> {
    let claim = written(site, call, convert::withdraw(&request), |id| *id).await?;
    Ok(v1::WithdrawClaimResponse { claim })
}

pub(crate) async fn confirm_hand_over(
    site: &Site,
    call: &Admitted,
    request: v1::ConfirmHandOverRequest,
) -> Result<v1::ConfirmHandOverResponse, Failure> {
    let claim = written(site, call, convert::confirm(&request), |(id, _)| *id).await?;
    Ok(v1::ConfirmHandOverResponse { claim })
}

pub(crate) async fn note_missed(
    site: &Site,
    call: &Admitted,
    request: v1::NoteMissedRequest,
) -> Result<v1::NoteMissedResponse, Failure> {
    let claim = written(site, call, convert::missed(request), |id| *id).await?;
    Ok(v1::NoteMissedResponse { claim })
}

pub(crate) async fn get_claim(
    site: &Site,
    call: &Admitted,
    request: v1::GetClaimRequest,
) -> Result<v1::GetClaimResponse, Failure> {
    let claim = claim(site, call, &request.claim_id).await?;
    Ok(v1::GetClaimResponse { claim })
}

pub(crate) async fn list_my_claims(
    site: &Site,
    call: &Admitted,
    request: v1::ListMyClaimsRequest,
) -> Result<v1::ListMyClaimsResponse, Failure> {
    let v1::ListMyClaimsRequest { side, open_only, page_size, page_token } = request;
    let role = convert::role(side)?;
    let page = site.app.my_claims(call, role, open_only, page_size, &page_token).await?;
    let caller = call.account_id()?;
    Ok(v1::ListMyClaimsResponse {
        claims: page.rows.iter().map(|c| convert::claim(c, caller)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn list_club_claims(
    site: &Site,
    call: &Admitted,
    request: v1::ListClubClaimsRequest,
) -> Result<v1::ListClubClaimsResponse, Failure> {
    let v1::ListClubClaimsRequest { club_id, page_size, page_token } = request;
    let club = App::id(&club_id)?;
    let page = site.app.club_claims(call, club, page_size, &page_token).await?;
    let caller = call.account_id()?;
    Ok(v1::ListClubClaimsResponse {
        claims: page.rows.iter().map(|c| convert::claim(c, caller)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn list_missed(
    site: &Site,
    call: &Admitted,
    request: v1::ListMissedRequest,
) -> Result<v1::ListMissedResponse, Failure> {
    let v1::ListMissedRequest { page_size, page_token } = request;
    let page = site.app.missed_hand_overs(call, page_size, &page_token).await?;
    let caller = call.account_id()?;
    Ok(v1::ListMissedResponse {
        claims: page.rows.iter().map(|c| convert::claim(c, caller)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}
