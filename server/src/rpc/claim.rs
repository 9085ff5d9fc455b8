//! Claims.

use prost::Message as _;
use scionary_app::{App, Error, KeepReply, UseCase, claims::ShownClaim};
use scionary_domain::ids::AccountId;
use scionary_proto::v1::{self, claim_service_server::ClaimService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::claim as convert};

/// Answers `ClaimService`.
pub struct ClaimRpc(pub App);

impl ClaimRpc {
    fn caller(admitted: &Admitted) -> Result<AccountId, Status> {
        admitted.call().account().map(|a| a.id).map_err(|e| admitted.fail(e))
    }

    /// Runs a use case that leaves a claim. The reply kept names it only, and is filled from what is stored, so that a
    /// repeat gets what stands then, and no contact is kept with it.
    async fn written<U: UseCase<Out = ShownClaim>>(
        &self,
        admitted: &Admitted,
        bound: &impl prost::Message,
        use_case: Result<U, Error>,
    ) -> Result<Option<v1::Claim>, Status> {
        let fail = |e| admitted.fail(e);
        let encode =
            |shown: &ShownClaim| v1::GetClaimRequest { claim_id: shown.claim.id.to_string() }.encode_to_vec();
        let call = admitted.write_call(bound);
        let kept = self.0.write(&call, use_case.map_err(fail)?, KeepReply::Yes, encode).await;
        let id: Response<v1::GetClaimRequest> = admitted.reply(kept)?;
        self.claim(admitted, &id.into_inner().claim_id).await
    }

    async fn claim(&self, admitted: &Admitted, id: &str) -> Result<Option<v1::Claim>, Status> {
        let fail = |e| admitted.fail(e);
        let id = App::claim_id(id).map_err(fail)?;
        let shown = self.0.my_claim(&admitted.call(), id).await.map_err(fail)?;
        Ok(Some(convert::claim(&shown, Self::caller(admitted)?)))
    }
}

#[tonic::async_trait]
impl ClaimService for ClaimRpc {
    async fn ask_for_offer(
        &self,
        request: Request<v1::AskForOfferRequest>,
    ) -> Result<Response<v1::AskForOfferResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let claim = self.written(&admitted, &request, convert::ask(request.clone())).await?;
        Ok(Response::new(v1::AskForOfferResponse { claim }))
    }

    async fn accept_claim(
        &self,
        request: Request<v1::AcceptClaimRequest>,
    ) -> Result<Response<v1::AcceptClaimResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let claim = self.written(&admitted, &request, convert::accept(request.clone())).await?;
        Ok(Response::new(v1::AcceptClaimResponse { claim }))
    }

    async fn decline_claim(
        &self,
        request: Request<v1::DeclineClaimRequest>,
    ) -> Result<Response<v1::DeclineClaimResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let claim = self.written(&admitted, &request, convert::decline(request.clone())).await?;
        Ok(Response::new(v1::DeclineClaimResponse { claim }))
    }

    async fn withdraw_claim(
        &self,
        request: Request<v1::WithdrawClaimRequest>,
    ) -> Result<Response<v1::WithdrawClaimResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let claim = self.written(&admitted, &request, convert::withdraw(&request)).await?;
        Ok(Response::new(v1::WithdrawClaimResponse { claim }))
    }

    async fn confirm_hand_over(
        &self,
        request: Request<v1::ConfirmHandOverRequest>,
    ) -> Result<Response<v1::ConfirmHandOverResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let claim = self.written(&admitted, &request, convert::confirm(&request)).await?;
        Ok(Response::new(v1::ConfirmHandOverResponse { claim }))
    }

    async fn note_missed(
        &self,
        request: Request<v1::NoteMissedRequest>,
    ) -> Result<Response<v1::NoteMissedResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let claim = self.written(&admitted, &request, convert::missed(request.clone())).await?;
        Ok(Response::new(v1::NoteMissedResponse { claim }))
    }

    async fn get_claim(
        &self,
        request: Request<v1::GetClaimRequest>,
    ) -> Result<Response<v1::GetClaimResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let claim = self.claim(&admitted, &request.into_inner().claim_id).await?;
        Ok(Response::new(v1::GetClaimResponse { claim }))
    }

    async fn list_my_claims(
        &self,
        request: Request<v1::ListMyClaimsRequest>,
    ) -> Result<Response<v1::ListMyClaimsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListMyClaimsRequest { side, open_only, page_size, page_token } = request.into_inner();
        let fail = |e| admitted.fail(e);
        let role = convert::role(side).map_err(fail)?;
        let call = admitted.call();
        let page = self.0.my_claims(&call, role, open_only, page_size, &page_token).await.map_err(fail)?;
        let caller = Self::caller(&admitted)?;
        Ok(Response::new(v1::ListMyClaimsResponse {
            claims: page.rows.iter().map(|c| convert::claim(c, caller)).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn list_club_claims(
        &self,
        request: Request<v1::ListClubClaimsRequest>,
    ) -> Result<Response<v1::ListClubClaimsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let v1::ListClubClaimsRequest { club_id, page_size, page_token } = request.into_inner();
        let club = App::club_id(&club_id).map_err(fail)?;
        let page = self.0.club_claims(&admitted.call(), club, page_size, &page_token).await.map_err(fail)?;
        let caller = Self::caller(&admitted)?;
        Ok(Response::new(v1::ListClubClaimsResponse {
            claims: page.rows.iter().map(|c| convert::claim(c, caller)).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn list_missed(
        &self,
        request: Request<v1::ListMissedRequest>,
    ) -> Result<Response<v1::ListMissedResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListMissedRequest { page_size, page_token } = request.into_inner();
        let page = self
            .0
            .missed_hand_overs(&admitted.call(), page_size, &page_token)
            .await
            .map_err(|e| admitted.fail(e))?;
        let caller = Self::caller(&admitted)?;
        Ok(Response::new(v1::ListMissedResponse {
            claims: page.rows.iter().map(|c| convert::claim(c, caller)).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }
}
