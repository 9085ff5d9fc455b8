//! Curation: proposals, rulings, names, history, locks, complaints.

use prost::Message as _;
use scionary_app::{App, KeepReply, UseCase};
use scionary_domain::{
    curation::Proposal,
    field::{FieldError, Fields},
    ids::CultivarId,
    limits,
};
use scionary_proto::v1::{self, curation_service_server::CurationService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::curation as convert};

/// Answers `CurationService`.
pub struct CurationRpc(pub App);

impl CurationRpc {
    /// Runs a use case on a proposal and shows it as it stands.
    async fn proposal<U: UseCase<Out = Proposal>>(
        &self,
        admitted: &Admitted,
        bound: &impl prost::Message,
        use_case: U,
    ) -> Result<v1::Proposal, Status> {
        let encode = |p: &Proposal| v1::GetProposalRequest { proposal_id: p.id.to_string() }.encode_to_vec();
        let call = admitted.write_call(bound);
        let kept = self.0.write(&call, use_case, KeepReply::Yes, encode).await;
        let id: Response<v1::GetProposalRequest> = admitted.reply(kept)?;
        let fail = |e| admitted.fail(e);
        self.0.refresh_registry().await.map_err(fail)?;
        let id = convert::read_id(&id.into_inner().proposal_id).map_err(fail)?;
        let shown = self.0.proposal(id).await.map_err(fail)?;
        Ok(convert::proposal(&shown, call.now, true))
    }
}

#[tonic::async_trait]
impl CurationService for CurationRpc {
    async fn propose_change(
        &self,
        request: Request<v1::ProposeChangeRequest>,
    ) -> Result<Response<v1::ProposeChangeResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = convert::propose(request.clone(), &self.0.registry()).map_err(|e| admitted.fail(e))?;
        let proposal = Some(self.proposal(&admitted, &request, use_case).await?);
        Ok(Response::new(v1::ProposeChangeResponse { proposal }))
    }

    async fn get_proposal(
        &self,
        request: Request<v1::GetProposalRequest>,
    ) -> Result<Response<v1::GetProposalResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let id = convert::read_id(&request.into_inner().proposal_id).map_err(|e| admitted.fail(e))?;
        let shown = self.0.proposal(id).await.map_err(|e| admitted.fail(e))?;
        let proposal = Some(convert::proposal(&shown, admitted.call().now, true));
        Ok(Response::new(v1::GetProposalResponse { proposal }))
    }

    async fn list_proposals(
        &self,
        request: Request<v1::ListProposalsRequest>,
    ) -> Result<Response<v1::ListProposalsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let call = admitted.call();
        let v1::ListProposalsRequest { crop, cultivar, state, page_size, page_token } = request.into_inner();
        let filter = convert::filter(&crop, &cultivar, state, false).map_err(|e| admitted.fail(e))?;
        let page =
            self.0.proposals(&call, &filter, page_size, &page_token).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListProposalsResponse {
            proposals: page.rows.iter().map(|p| convert::proposal(p, call.now, false)).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn list_my_proposals(
        &self,
        request: Request<v1::ListMyProposalsRequest>,
    ) -> Result<Response<v1::ListMyProposalsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let call = admitted.call();
        let v1::ListMyProposalsRequest { state, page_size, page_token } = request.into_inner();
        let filter = convert::filter("", "", state, true).map_err(|e| admitted.fail(e))?;
        let page =
            self.0.proposals(&call, &filter, page_size, &page_token).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListMyProposalsResponse {
            proposals: page.rows.iter().map(|p| convert::proposal(p, call.now, false)).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn withdraw_proposal(
        &self,
        request: Request<v1::WithdrawProposalRequest>,
    ) -> Result<Response<v1::WithdrawProposalResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = convert::withdraw(&request).map_err(|e| admitted.fail(e))?;
        let proposal = Some(self.proposal(&admitted, &request, use_case).await?);
        Ok(Response::new(v1::WithdrawProposalResponse { proposal }))
    }

    async fn rule_on_proposal(
        &self,
        request: Request<v1::RuleOnProposalRequest>,
    ) -> Result<Response<v1::RuleOnProposalResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = convert::rule(request.clone()).map_err(|e| admitted.fail(e))?;
        let proposal = Some(self.proposal(&admitted, &request, use_case).await?);
        Ok(Response::new(v1::RuleOnProposalResponse { proposal }))
    }

    async fn check_name(
        &self,
        request: Request<v1::CheckNameRequest>,
    ) -> Result<Response<v1::CheckNameResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::CheckNameRequest { crop, name, historic } = request.into_inner();
        let registry = self.0.registry();
        let crop = crop.trim().to_lowercase();
        let mut fields = Fields::new();
        if registry.crop(&crop).is_none() {
            fields.wrong("crop", registry.crop_expected(&crop));
        }
        let name = fields.line("name", &name, 1, limits::NAME_CHARS_MAX);
        let name = fields.finish(name).map_err(|e: Vec<FieldError>| admitted.fail(e))?;
        let remarks = registry.name_remarks(&crop, &name, historic);
        Ok(Response::new(v1::CheckNameResponse {
            acceptable: !remarks.iter().any(|r| r.severe),
            remarks: remarks.iter().map(convert::remark).collect(),
        }))
    }

    async fn get_history(
        &self,
        request: Request<v1::GetHistoryRequest>,
    ) -> Result<Response<v1::GetHistoryResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::GetHistoryRequest { cultivar, crop, page_size, page_token } = request.into_inner();
        let page =
            self.0.history(&cultivar, &crop, page_size, &page_token).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::GetHistoryResponse {
            events: page.rows.iter().map(convert::event).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn lock_record(
        &self,
        request: Request<v1::LockRecordRequest>,
    ) -> Result<Response<v1::LockRecordResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let use_case = convert::lock(request);
        let encode = |id: &CultivarId| v1::LockRecordResponse { cultivar_id: id.to_string() }.encode_to_vec();
        let kept = self.0.write(&call, use_case, KeepReply::Yes, encode).await;
        let reply = admitted.reply(kept)?;
        self.0.refresh_registry().await.map_err(|e| admitted.fail(e))?;
        Ok(reply)
    }

    async fn file_ticket(
        &self,
        request: Request<v1::FileTicketRequest>,
    ) -> Result<Response<v1::FileTicketResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let use_case = convert::file(request).map_err(|e| admitted.fail(e))?;
        let encode =
            |shown: &_| v1::FileTicketResponse { ticket: Some(convert::ticket(shown)) }.encode_to_vec();
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn list_tickets(
        &self,
        request: Request<v1::ListTicketsRequest>,
    ) -> Result<Response<v1::ListTicketsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListTicketsRequest { mine, open_only, page_size, page_token } = request.into_inner();
        let page = self
            .0
            .tickets(&admitted.call(), mine, open_only, page_size, &page_token)
            .await
            .map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListTicketsResponse {
            tickets: page.rows.iter().map(convert::ticket).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn close_ticket(
        &self,
        request: Request<v1::CloseTicketRequest>,
    ) -> Result<Response<v1::CloseTicketResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let use_case = convert::close(request).map_err(|e| admitted.fail(e))?;
        let encode =
            |shown: &_| v1::CloseTicketResponse { ticket: Some(convert::ticket(shown)) }.encode_to_vec();
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }
}
