//! Swap rounds.

use futures_util::StreamExt as _;
use scionary_app::{
    App,
    rounds::{
        AddRoundMember, AllotRequest, BringLot, CallOffRound, CheckInLot, CloseRound, CreateRound,
        HandOverShare, JoinRound, LeaveRound, NoteAdvice, ReopenRound, SetPresence, SetWishes, StartHandOver,
        TakeBackLot, TakeLeftOver, UndoHandOver,
    },
};
use scionary_domain::{
    claim::State,
    ids::{ClaimId, RoundId},
    round::Brought,
};
use scionary_proto::v1;
use tokio_stream::wrappers::ReceiverStream;

use crate::{
    call::Admitted,
    convert::{claim::write_state, round as convert, said},
    dispatch::{Encoded, RepliesOf},
    site::Site,
    status::Failure,
};

/// Steps of a settling that are told ahead of a slow reader.
const TOLD_AHEAD: usize = 64;

pub(crate) async fn create_round(
    site: &Site,
    call: &Admitted,
    request: v1::CreateRoundRequest,
) -> Result<Encoded<v1::CreateRoundResponse>, Failure> {
    let use_case = App::id(&request.club_id)
        .and_then(|club| Ok(CreateRound { club, draft: convert::draft(request.round.clone())? }));
    let message = |round: &_| v1::CreateRoundResponse { round: Some(convert::round(round)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn update_round(
    site: &Site,
    call: &Admitted,
    request: v1::UpdateRoundRequest,
) -> Result<Encoded<v1::UpdateRoundResponse>, Failure> {
    let use_case = convert::change(request);
    let message = |round: &_| v1::UpdateRoundResponse { round: Some(convert::round(round)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn get_round(
    site: &Site,
    call: &Admitted,
    request: v1::GetRoundRequest,
) -> Result<v1::GetRoundResponse, Failure> {
    let id = App::id(&request.round_id)?;
    let round = site.app.round(call, id).await?;
    Ok(v1::GetRoundResponse { round: Some(convert::round(&round)) })
}

pub(crate) async fn list_rounds(
    site: &Site,
    call: &Admitted,
    request: v1::ListRoundsRequest,
) -> Result<v1::ListRoundsResponse, Failure> {
    let v1::ListRoundsRequest { club_id, open_only, page_size, page_token } = request;
    let page = site.app.rounds(call, &club_id, open_only, page_size, &page_token).await;
    let page = page?;
    Ok(v1::ListRoundsResponse {
        rounds: page.rows.iter().map(convert::round).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn call_off_round(
    site: &Site,
    call: &Admitted,
    request: v1::CallOffRoundRequest,
) -> Result<Encoded<v1::CallOffRoundResponse>, Failure> {
    let use_case = App::id(&request.round_id).map(|id| CallOffRound { id, reason: request.reason.clone() });
    let message = |round: &_| v1::CallOffRoundResponse { round: Some(convert::round(round)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn join_round(
    site: &Site,
    call: &Admitted,
    request: v1::JoinRoundRequest,
) -> Result<Encoded<v1::JoinRoundResponse>, Failure> {
    let use_case =
        App::id(&request.round_id).map(|id| JoinRound { id, draft: convert::part(request.part.clone()) });
    let message = |id: &RoundId| v1::JoinRoundResponse { round_id: id.to_string() };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn leave_round(
    site: &Site,
    call: &Admitted,
    request: v1::LeaveRoundRequest,
) -> Result<Encoded<v1::LeaveRoundResponse>, Failure> {
    let use_case = App::id(&request.round_id).map(|id| LeaveRound { id });
    let message = |id: &RoundId| v1::LeaveRoundResponse { round_id: id.to_string() };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn bring_lot(
    site: &Site,
    call: &Admitted,
    request: v1::BringLotRequest,
) -> Result<Encoded<v1::BringLotResponse>, Failure> {
    let use_case = App::id(&request.round_id).and_then(|id| {
        Ok(BringLot {
            id,
            offer: App::id(&request.offer_id)?,
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
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn take_back_lot(
    site: &Site,
    call: &Admitted,
    request: v1::TakeBackLotRequest,
) -> Result<Encoded<v1::TakeBackLotResponse>, Failure> {
    let use_case = App::id(&request.round_id).map(|id| TakeBackLot { id, lot: request.lot.clone() });
    let message = |id: &RoundId| v1::TakeBackLotResponse { round_id: id.to_string() };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn list_round_lots(
    site: &Site,
    call: &Admitted,
    request: v1::ListRoundLotsRequest,
) -> Result<v1::ListRoundLotsResponse, Failure> {
    let v1::ListRoundLotsRequest { round_id, left_only, page_size, page_token } = request;
    let id = App::id(&round_id)?;
    let seen_by = call.account_id()?;
    let page = site.app.round_lots(call, id, left_only, page_size, &page_token).await?;
    Ok(v1::ListRoundLotsResponse {
        lots: page.rows.iter().map(|lot| convert::lot(lot, seen_by)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn set_wishes(
    site: &Site,
    call: &Admitted,
    request: v1::SetWishesRequest,
) -> Result<Encoded<v1::SetWishesResponse>, Failure> {
    let use_case = App::id(&request.round_id)
        .and_then(|id| Ok(SetWishes { id, lines: convert::lines(request.wishes.clone())? }));
    let message = |id: &RoundId| v1::SetWishesResponse { round_id: id.to_string() };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn get_my_round(
    site: &Site,
    call: &Admitted,
    request: v1::GetMyRoundRequest,
) -> Result<v1::GetMyRoundResponse, Failure> {
    let id = App::id(&request.round_id)?;
    let mine = site.app.my_round(call, id).await?;
    Ok(convert::mine(&mine))
}

pub(crate) async fn note_advice(
    site: &Site,
    call: &Admitted,
    request: v1::NoteAdviceRequest,
) -> Result<Encoded<v1::NoteAdviceResponse>, Failure> {
    let use_case = App::id(&request.round_id).map(|id| NoteAdvice {
        id,
        from: request.from_area_code.clone(),
        to: request.to_area_code.clone(),
        asked: request.asked.clone(),
        said: request.said.clone(),
    });
    let message = |round: &_| v1::NoteAdviceResponse { round: Some(convert::round(round)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn preview_round(
    site: &Site,
    call: &Admitted,
    request: v1::PreviewRoundRequest,
) -> Result<v1::PreviewRoundResponse, Failure> {
    let v1::PreviewRoundRequest { round_id, tried } = request;
    let id = App::id(&round_id)?;
    let found = site.app.preview_round(call, id, convert::tried(tried)).await?;
    Ok(v1::PreviewRoundResponse { previews: convert::preview(&found) })
}

pub(crate) async fn seal_round(
    site: &Site,
    call: &Admitted,
    request: v1::SealRoundRequest,
) -> Result<Encoded<v1::SealRoundResponse>, Failure> {
    let id = App::id(&request.round_id)?;
    // a repeat finds its reply before anything is put together again
    if let Some(reply) = call.first_reply(&site.app).await? {
        return Ok(reply);
    }
    let use_case = site.app.prepare_sealing(call, id).await;
    let message = |round: &_| v1::SealRoundResponse { round: Some(convert::round(round)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn reopen_round(
    site: &Site,
    call: &Admitted,
    request: v1::ReopenRoundRequest,
) -> Result<Encoded<v1::ReopenRoundResponse>, Failure> {
    let use_case = App::id(&request.round_id).map(|id| ReopenRound { id });
    let message = |round: &_| v1::ReopenRoundResponse { round: Some(convert::round(round)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn settle_round(
    site: &Site,
    call: &Admitted,
    request: v1::SettleRoundRequest,
) -> Result<RepliesOf<v1::SettleRoundRequest>, Failure> {
    let v1::SettleRoundRequest { round_id, only_checked_in } = request;
    let id = App::id(&round_id)?;
    let (tell, told) = tokio::sync::mpsc::channel(TOLD_AHEAD);
    let (app, call) = (site.app.clone(), call.clone());
    app.check_settling(&call, id).await?;
    // driven by whoever reads the stream: where they go away, it is dropped, and stops
    let work = async move { app.allot_round(&call, AllotRequest { id, only_checked_in }, tell).await };
    let end = futures_util::stream::once(work).filter_map(move |done| {
        let failed = done.err().map(|e| Err(e.into()));
        async move { failed }
    });
    let told = ReceiverStream::new(told).map(|progress| Ok(convert::progress(progress)));
    Ok(Box::pin(futures_util::stream::select(told, end)))
}

pub(crate) async fn export_round_audit(
    site: &Site,
    call: &Admitted,
    request: v1::ExportRoundAuditRequest,
) -> Result<RepliesOf<v1::ExportRoundAuditRequest>, Failure> {
    let v1::ExportRoundAuditRequest { round_id, run } = request;
    let id = App::id(&round_id)?;
    let run = convert::packs("run", run)?;
    let chunks = site.app.round_audit(call, id, run).await?;
    let replies = chunks.into_iter().map(|chunk| Ok(v1::ExportRoundAuditResponse { chunk }));
    Ok(Box::pin(futures_util::stream::iter(replies)))
}

pub(crate) async fn start_hand_over(
    site: &Site,
    call: &Admitted,
    request: v1::StartHandOverRequest,
) -> Result<Encoded<v1::StartHandOverResponse>, Failure> {
    let (early, undo) = (request.early, request.undo);
    let use_case = App::id(&request.round_id).map(|id| StartHandOver { id, early, undo });
    let message = |round: &_| v1::StartHandOverResponse { round: Some(convert::round(round)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn check_in_lot(
    site: &Site,
    call: &Admitted,
    request: v1::CheckInLotRequest,
) -> Result<Encoded<v1::CheckInLotResponse>, Failure> {
    let use_case = App::id(&request.round_id).and_then(|id| {
        let came = Some(convert::packs("came", request.came)?).filter(|packs| *packs > 0);
        Ok(CheckInLot { id, lot: request.lot.clone(), here: said("here", request.here)?, came })
    });
    let message = |(id, number, short): &(RoundId, u32, u32)| v1::CheckInLotResponse {
        round_id: id.to_string(),
        number: i32::try_from(*number).unwrap_or(i32::MAX),
        short: i32::try_from(*short).unwrap_or(i32::MAX),
    };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn set_presence(
    site: &Site,
    call: &Admitted,
    request: v1::SetPresenceRequest,
) -> Result<Encoded<v1::SetPresenceResponse>, Failure> {
    let use_case = App::id(&request.round_id).and_then(|id| {
        Ok(SetPresence { id, member: request.member.clone(), absent: said("absent", request.absent)? })
    });
    let message = |(id, number): &(RoundId, u32)| v1::SetPresenceResponse {
        round_id: id.to_string(),
        number: i32::try_from(*number).unwrap_or(i32::MAX),
    };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn list_round_members(
    site: &Site,
    call: &Admitted,
    request: v1::ListRoundMembersRequest,
) -> Result<v1::ListRoundMembersResponse, Failure> {
    let v1::ListRoundMembersRequest { round_id, page_size, page_token } = request;
    let id = App::id(&round_id)?;
    let page = site.app.round_members(call, id, page_size, &page_token).await?;
    Ok(v1::ListRoundMembersResponse {
        members: page.rows.iter().map(convert::member).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn list_round_shares(
    site: &Site,
    call: &Admitted,
    request: v1::ListRoundSharesRequest,
) -> Result<v1::ListRoundSharesResponse, Failure> {
    let v1::ListRoundSharesRequest { round_id, page_size, page_token } = request;
    let id = App::id(&round_id)?;
    let page = site.app.round_shares(call, id, page_size, &page_token).await?;
    Ok(v1::ListRoundSharesResponse {
        shares: page.rows.iter().map(convert::changes).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn hand_over_share(
    site: &Site,
    call: &Admitted,
    request: v1::HandOverShareRequest,
) -> Result<Encoded<v1::HandOverShareResponse>, Failure> {
    let use_case = App::id(&request.round_id).map(|id| HandOverShare {
        id,
        lot: request.lot.clone(),
        member: request.member.clone(),
    });
    let message = |(id, state): &(ClaimId, State)| v1::HandOverShareResponse {
        claim_id: id.to_string(),
        state: write_state(*state),
    };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn undo_hand_over(
    site: &Site,
    call: &Admitted,
    request: v1::UndoHandOverRequest,
) -> Result<Encoded<v1::UndoHandOverResponse>, Failure> {
    let use_case = App::id(&request.round_id).map(|id| UndoHandOver {
        id,
        lot: request.lot.clone(),
        member: request.member.clone(),
    });
    let message = |id: &ClaimId| v1::UndoHandOverResponse { claim_id: id.to_string() };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn add_round_member(
    site: &Site,
    call: &Admitted,
    request: v1::AddRoundMemberRequest,
) -> Result<Encoded<v1::AddRoundMemberResponse>, Failure> {
    let use_case = App::id(&request.round_id).map(|id| AddRoundMember { id, member: request.member.clone() });
    let message = |(id, number): &(RoundId, u32)| v1::AddRoundMemberResponse {
        round_id: id.to_string(),
        number: i32::try_from(*number).unwrap_or(i32::MAX),
    };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn list_round_events(
    site: &Site,
    call: &Admitted,
    request: v1::ListRoundEventsRequest,
) -> Result<v1::ListRoundEventsResponse, Failure> {
    let v1::ListRoundEventsRequest { round_id, page_size, page_token } = request;
    let id = App::id(&round_id)?;
    let page = site.app.round_events(call, id, page_size, &page_token).await?;
    Ok(v1::ListRoundEventsResponse {
        events: page.rows.iter().map(convert::event).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn take_left_over(
    site: &Site,
    call: &Admitted,
    request: v1::TakeLeftOverRequest,
) -> Result<Encoded<v1::TakeLeftOverResponse>, Failure> {
    let use_case = App::id(&request.round_id).and_then(|id| {
        let units = convert::packs("units", request.units)?;
        Ok(TakeLeftOver { id, lot: request.lot.clone(), units, member: request.member.clone() })
    });
    let message = |id: &ClaimId| v1::TakeLeftOverResponse { claim_id: id.to_string() };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn close_round(
    site: &Site,
    call: &Admitted,
    request: v1::CloseRoundRequest,
) -> Result<Encoded<v1::CloseRoundResponse>, Failure> {
    let pending = request.pending;
    let use_case = App::id(&request.round_id).map(|id| CloseRound { id, pending });
    let message = |round: &_| v1::CloseRoundResponse { round: Some(convert::round(round)) };
    call.write(&site.app, use_case, message).await
}
