//! Swap rounds.

use std::pin::Pin;

use futures_util::{Stream, StreamExt as _};
use scionary_app::{
    App,
    rounds::{
        AllotRequest, BringLot, CallOffRound, ChangeRound, CheckInLot, CloseRound, CreateRound,
        HandOverShare, JoinRound, LeaveRound, NoteAdvice, ReopenRound, SetPresence, SetWishes, StartHandOver,
        TakeBackLot, TakeLeftOver,
    },
};
use scionary_domain::{
    claim::State,
    ids::{ClaimId, RoundId},
    round::Brought,
};
use scionary_proto::v1::{self, round_service_server::RoundService};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};

use crate::{
    call::Admitted,
    convert::{claim::write_state, round as convert},
};

/// Answers `RoundService`.
pub struct RoundRpc(pub App);

/// Steps of a settling that are told ahead of a slow reader.
const TOLD_AHEAD: usize = 64;

#[tonic::async_trait]
impl RoundService for RoundRpc {
    async fn create_round(
        &self,
        request: Request<v1::CreateRoundRequest>,
    ) -> Result<Response<v1::CreateRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::club_id(&request.club_id)
            .and_then(|club| Ok(CreateRound { club, draft: convert::draft(request.round.clone())? }));
        let message = |round: &_| v1::CreateRoundResponse { round: Some(convert::round(round)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn update_round(
        &self,
        request: Request<v1::UpdateRoundRequest>,
    ) -> Result<Response<v1::UpdateRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id)
            .and_then(|id| Ok(ChangeRound { id, draft: convert::draft(request.round.clone())? }));
        let message = |round: &_| v1::UpdateRoundResponse { round: Some(convert::round(round)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn get_round(
        &self,
        request: Request<v1::GetRoundRequest>,
    ) -> Result<Response<v1::GetRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let id = App::round_id(&request.into_inner().round_id).map_err(fail)?;
        let round = self.0.round(&admitted.call(), id).await.map_err(fail)?;
        Ok(Response::new(v1::GetRoundResponse { round: Some(convert::round(&round)) }))
    }

    async fn list_rounds(
        &self,
        request: Request<v1::ListRoundsRequest>,
    ) -> Result<Response<v1::ListRoundsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListRoundsRequest { club_id, open_only, page_size, page_token } = request.into_inner();
        let page = self.0.rounds(&admitted.call(), &club_id, open_only, page_size, &page_token).await;
        let page = page.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListRoundsResponse {
            rounds: page.rows.iter().map(convert::round).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn call_off_round(
        &self,
        request: Request<v1::CallOffRoundRequest>,
    ) -> Result<Response<v1::CallOffRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case =
            App::round_id(&request.round_id).map(|id| CallOffRound { id, reason: request.reason.clone() });
        let message = |round: &_| v1::CallOffRoundResponse { round: Some(convert::round(round)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn join_round(
        &self,
        request: Request<v1::JoinRoundRequest>,
    ) -> Result<Response<v1::JoinRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id)
            .map(|id| JoinRound { id, draft: convert::part(request.part.clone()) });
        let message = |id: &RoundId| v1::JoinRoundResponse { round_id: id.to_string() };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn leave_round(
        &self,
        request: Request<v1::LeaveRoundRequest>,
    ) -> Result<Response<v1::LeaveRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).map(|id| LeaveRound { id });
        let message = |id: &RoundId| v1::LeaveRoundResponse { round_id: id.to_string() };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn bring_lot(
        &self,
        request: Request<v1::BringLotRequest>,
    ) -> Result<Response<v1::BringLotResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).and_then(|id| {
            Ok(BringLot {
                id,
                offer: App::offer_id(&request.offer_id)?,
                units: convert::packs("units", request.units)?,
                per_unit: convert::packs("per_unit", request.per_unit)?,
                gift: request.gift,
                papers: request.papers.clone(),
            })
        });
        let message = |(id, lot): &(RoundId, Brought)| v1::BringLotResponse {
            round_id: id.to_string(),
            number: i32::try_from(lot.number).unwrap_or(i32::MAX),
            units: i32::try_from(lot.units).unwrap_or(i32::MAX),
            per_unit: i32::try_from(lot.per_unit).unwrap_or(i32::MAX),
        };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn take_back_lot(
        &self,
        request: Request<v1::TakeBackLotRequest>,
    ) -> Result<Response<v1::TakeBackLotResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case =
            App::round_id(&request.round_id).map(|id| TakeBackLot { id, lot: request.lot.clone() });
        let message = |id: &RoundId| v1::TakeBackLotResponse { round_id: id.to_string() };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn list_round_lots(
        &self,
        request: Request<v1::ListRoundLotsRequest>,
    ) -> Result<Response<v1::ListRoundLotsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let v1::ListRoundLotsRequest { round_id, left_only, page_size, page_token } = request.into_inner();
        let id = App::round_id(&round_id).map_err(fail)?;
        let call = admitted.call();
        let seen_by = call.account_id().map_err(fail)?;
        let page = self.0.round_lots(&call, id, left_only, page_size, &page_token).await.map_err(fail)?;
        Ok(Response::new(v1::ListRoundLotsResponse {
            lots: page.rows.iter().map(|lot| convert::lot(lot, seen_by)).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn set_wishes(
        &self,
        request: Request<v1::SetWishesRequest>,
    ) -> Result<Response<v1::SetWishesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id)
            .and_then(|id| Ok(SetWishes { id, lines: convert::lines(request.wishes.clone())? }));
        let message = |id: &RoundId| v1::SetWishesResponse { round_id: id.to_string() };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn get_my_round(
        &self,
        request: Request<v1::GetMyRoundRequest>,
    ) -> Result<Response<v1::GetMyRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let id = App::round_id(&request.into_inner().round_id).map_err(fail)?;
        let mine = self.0.my_round(&admitted.call(), id).await.map_err(fail)?;
        Ok(Response::new(convert::mine(&mine)))
    }

    async fn note_advice(
        &self,
        request: Request<v1::NoteAdviceRequest>,
    ) -> Result<Response<v1::NoteAdviceResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).map(|id| NoteAdvice {
            id,
            from: request.from_area_code.clone(),
            to: request.to_area_code.clone(),
            asked: request.asked.clone(),
            said: request.said.clone(),
        });
        let message = |round: &_| v1::NoteAdviceResponse { round: Some(convert::round(round)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn preview_round(
        &self,
        request: Request<v1::PreviewRoundRequest>,
    ) -> Result<Response<v1::PreviewRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let v1::PreviewRoundRequest { round_id, tried } = request.into_inner();
        let id = App::round_id(&round_id).map_err(fail)?;
        let found = self.0.preview_round(&admitted.call(), id, convert::tried(tried)).await.map_err(fail)?;
        Ok(Response::new(v1::PreviewRoundResponse { previews: convert::preview(&found) }))
    }

    async fn seal_round(
        &self,
        request: Request<v1::SealRoundRequest>,
    ) -> Result<Response<v1::SealRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let request = request.into_inner();
        let id = App::round_id(&request.round_id).map_err(fail)?;
        let call = admitted.write_call(&request);
        // a repeat finds its reply before anything is put together again
        if let Some(kept) = self.0.first_reply(&call).await.map_err(fail)? {
            return admitted.reply(Ok(kept));
        }
        let use_case = self.0.prepare_sealing(&call, id).await;
        let message = |round: &_| v1::SealRoundResponse { round: Some(convert::round(round)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn reopen_round(
        &self,
        request: Request<v1::ReopenRoundRequest>,
    ) -> Result<Response<v1::ReopenRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).map(|id| ReopenRound { id });
        let message = |round: &_| v1::ReopenRoundResponse { round: Some(convert::round(round)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    type SettleRoundStream = Pin<Box<dyn Stream<Item = Result<v1::SettleRoundResponse, Status>> + Send>>;

    async fn settle_round(
        &self,
        request: Request<v1::SettleRoundRequest>,
    ) -> Result<Response<Self::SettleRoundStream>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::SettleRoundRequest { round_id, only_checked_in } = request.into_inner();
        let id = App::round_id(&round_id).map_err(|e| admitted.fail(e))?;
        let (tell, told) = tokio::sync::mpsc::channel(TOLD_AHEAD);
        let app = self.0.clone();
        let call = admitted.call();
        app.check_settling(&call, id).await.map_err(|e| admitted.fail(e))?;
        // driven by whoever reads the stream: where they go away, it is dropped, and stops
        let work = async move { app.allot_round(&call, AllotRequest { id, only_checked_in }, tell).await };
        let end = futures_util::stream::once(work).filter_map(move |done| {
            let failed = done.err().map(|e| Err(admitted.fail(e)));
            async move { failed }
        });
        let told = ReceiverStream::new(told).map(|progress| Ok(convert::progress(progress)));
        Ok(Response::new(Box::pin(futures_util::stream::select(told, end))))
    }

    type ExportRoundAuditStream =
        Pin<Box<dyn Stream<Item = Result<v1::ExportRoundAuditResponse, Status>> + Send>>;

    async fn export_round_audit(
        &self,
        request: Request<v1::ExportRoundAuditRequest>,
    ) -> Result<Response<Self::ExportRoundAuditStream>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let v1::ExportRoundAuditRequest { round_id, run } = request.into_inner();
        let id = App::round_id(&round_id).map_err(fail)?;
        let run = convert::packs("run", run).map_err(fail)?;
        let chunks = self.0.round_audit(&admitted.call(), id, run).await.map_err(fail)?;
        let replies = chunks.into_iter().map(|chunk| Ok(v1::ExportRoundAuditResponse { chunk }));
        Ok(Response::new(Box::pin(futures_util::stream::iter(replies))))
    }

    async fn start_hand_over(
        &self,
        request: Request<v1::StartHandOverRequest>,
    ) -> Result<Response<v1::StartHandOverResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).map(|id| StartHandOver { id });
        let message = |round: &_| v1::StartHandOverResponse { round: Some(convert::round(round)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn check_in_lot(
        &self,
        request: Request<v1::CheckInLotRequest>,
    ) -> Result<Response<v1::CheckInLotResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).map(|id| CheckInLot {
            id,
            lot: request.lot.clone(),
            here: request.here,
        });
        let message = |(id, number): &(RoundId, u32)| v1::CheckInLotResponse {
            round_id: id.to_string(),
            number: i32::try_from(*number).unwrap_or(i32::MAX),
        };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn set_presence(
        &self,
        request: Request<v1::SetPresenceRequest>,
    ) -> Result<Response<v1::SetPresenceResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).map(|id| SetPresence {
            id,
            member: request.member.clone(),
            absent: request.absent,
        });
        let message = |(id, number): &(RoundId, u32)| v1::SetPresenceResponse {
            round_id: id.to_string(),
            number: i32::try_from(*number).unwrap_or(i32::MAX),
        };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn list_round_members(
        &self,
        request: Request<v1::ListRoundMembersRequest>,
    ) -> Result<Response<v1::ListRoundMembersResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let v1::ListRoundMembersRequest { round_id, page_size, page_token } = request.into_inner();
        let id = App::round_id(&round_id).map_err(fail)?;
        let page = self.0.round_members(&admitted.call(), id, page_size, &page_token).await.map_err(fail)?;
        Ok(Response::new(v1::ListRoundMembersResponse {
            members: page.rows.iter().map(convert::member).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn list_round_shares(
        &self,
        request: Request<v1::ListRoundSharesRequest>,
    ) -> Result<Response<v1::ListRoundSharesResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let v1::ListRoundSharesRequest { round_id, page_size, page_token } = request.into_inner();
        let id = App::round_id(&round_id).map_err(fail)?;
        let page = self.0.round_shares(&admitted.call(), id, page_size, &page_token).await.map_err(fail)?;
        Ok(Response::new(v1::ListRoundSharesResponse {
            shares: page.rows.iter().map(convert::changes).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn hand_over_share(
        &self,
        request: Request<v1::HandOverShareRequest>,
    ) -> Result<Response<v1::HandOverShareResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).map(|id| HandOverShare {
            id,
            lot: request.lot.clone(),
            member: request.member.clone(),
        });
        let message = |(id, state): &(ClaimId, State)| v1::HandOverShareResponse {
            claim_id: id.to_string(),
            state: write_state(*state),
        };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn take_left_over(
        &self,
        request: Request<v1::TakeLeftOverRequest>,
    ) -> Result<Response<v1::TakeLeftOverResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).and_then(|id| {
            let units = convert::packs("units", request.units)?;
            Ok(TakeLeftOver { id, lot: request.lot.clone(), units })
        });
        let message = |id: &ClaimId| v1::TakeLeftOverResponse { claim_id: id.to_string() };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn close_round(
        &self,
        request: Request<v1::CloseRoundRequest>,
    ) -> Result<Response<v1::CloseRoundResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::round_id(&request.round_id).map(|id| CloseRound { id });
        let message = |round: &_| v1::CloseRoundResponse { round: Some(convert::round(round)) };
        admitted.write(&self.0, &request, use_case, message).await
    }
}
