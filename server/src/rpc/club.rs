//! Clubs.

use scionary_app::{
    App, Error,
    clubs::{
        AllowHelp, AnswerInvitation, AnswerRequest, AskToJoin, CloseClub, CreateClub, InviteToClub,
        LeaveClub, RemoveMember, SetOrganiser, Uninvite,
    },
};
use scionary_domain::ids::AccountId;
use scionary_proto::v1;

use crate::{
    call::Admitted,
    convert::{club as convert, said},
    dispatch::{Encoded, RepliesOf},
    site::Site,
    status::Failure,
};

pub(crate) async fn create_club(
    site: &Site,
    call: &Admitted,
    request: v1::CreateClubRequest,
) -> Result<Encoded<v1::CreateClubResponse>, Failure> {
    let use_case = Ok::<_, Error>(CreateClub { draft: convert::draft(request.club.clone()) });
    let message = |club: &_| v1::CreateClubResponse { club: Some(convert::club(club)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn update_club(
    site: &Site,
    call: &Admitted,
    request: v1::UpdateClubRequest,
) -> Result<Encoded<v1::UpdateClubResponse>, Failure> {
    let use_case = convert::change(request);
    let message = |club: &_| v1::UpdateClubResponse { club: Some(convert::club(club)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn get_club(
    site: &Site,
    call: &Admitted,
    request: v1::GetClubRequest,
) -> Result<v1::GetClubResponse, Failure> {
    let id = App::id(&request.club_id)?;
    let club = site.app.club(call, id).await?;
    Ok(v1::GetClubResponse { club: Some(convert::club(&club)) })
}

pub(crate) async fn list_clubs(
    site: &Site,
    call: &Admitted,
    request: v1::ListClubsRequest,
) -> Result<v1::ListClubsResponse, Failure> {
    let v1::ListClubsRequest { name, page_size, page_token } = request;
    let page = site.app.clubs(call, &name, page_size, &page_token).await;
    let page = page?;
    Ok(v1::ListClubsResponse {
        clubs: page.rows.iter().map(convert::club).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn list_my_clubs(
    site: &Site,
    call: &Admitted,
    _request: v1::ListMyClubsRequest,
) -> Result<v1::ListMyClubsResponse, Failure> {
    let clubs = site.app.my_clubs(call).await?;
    Ok(v1::ListMyClubsResponse { clubs: clubs.iter().map(convert::club).collect() })
}

pub(crate) async fn list_club_members(
    site: &Site,
    call: &Admitted,
    request: v1::ListClubMembersRequest,
) -> Result<v1::ListClubMembersResponse, Failure> {
    let v1::ListClubMembersRequest { club_id, waiting, page_size, page_token } = request;
    let id = App::id(&club_id)?;
    let page = site.app.club_members(call, id, waiting, page_size, &page_token).await;
    let page = page?;
    Ok(v1::ListClubMembersResponse {
        members: page.rows.iter().map(convert::member).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn invite_to_club(
    site: &Site,
    call: &Admitted,
    request: v1::InviteToClubRequest,
) -> Result<Encoded<v1::InviteToClubResponse>, Failure> {
    let use_case = App::id(&request.club_id).map(|id| InviteToClub {
        id,
        handle: request.handle.clone(),
        words: request.words.clone(),
    });
    let message = |club: &_| v1::InviteToClubResponse { club: Some(convert::club(club)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn answer_club_invitation(
    site: &Site,
    call: &Admitted,
    request: v1::AnswerClubInvitationRequest,
) -> Result<Encoded<v1::AnswerClubInvitationResponse>, Failure> {
    let use_case = App::id(&request.club_id)
        .and_then(|id| Ok(AnswerInvitation { id, accept: said("accept", request.accept)? }));
    let message = |club: &_| v1::AnswerClubInvitationResponse { club: Some(convert::club(club)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn ask_to_join_club(
    site: &Site,
    call: &Admitted,
    request: v1::AskToJoinClubRequest,
) -> Result<Encoded<v1::AskToJoinClubResponse>, Failure> {
    let use_case = App::id(&request.club_id).map(|id| AskToJoin { id, words: request.words.clone() });
    let message = |club: &_| v1::AskToJoinClubResponse { club: Some(convert::club(club)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn answer_club_request(
    site: &Site,
    call: &Admitted,
    request: v1::AnswerClubRequestRequest,
) -> Result<Encoded<v1::AnswerClubRequestResponse>, Failure> {
    let use_case = App::id(&request.club_id).and_then(|id| {
        let account = App::id(&request.account_id)?;
        Ok(AnswerRequest { id, account, accept: said("accept", request.accept)? })
    });
    let message = |club: &_| v1::AnswerClubRequestResponse { club: Some(convert::club(club)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn set_club_organiser(
    site: &Site,
    call: &Admitted,
    request: v1::SetClubOrganiserRequest,
) -> Result<Encoded<v1::SetClubOrganiserResponse>, Failure> {
    let use_case = App::id(&request.club_id).and_then(|id| {
        let account = App::id(&request.account_id)?;
        Ok(SetOrganiser { id, account, organiser: said("organiser", request.organiser)? })
    });
    let message = |club: &_| v1::SetClubOrganiserResponse { club: Some(convert::club(club)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn remove_club_member(
    site: &Site,
    call: &Admitted,
    request: v1::RemoveClubMemberRequest,
) -> Result<Encoded<v1::RemoveClubMemberResponse>, Failure> {
    let message = |club: &_| v1::RemoveClubMemberResponse { club: Some(convert::club(club)) };
    if !request.handle.is_empty() {
        let use_case = App::id(&request.club_id).map(|id| Uninvite { id, handle: request.handle });
        return call.write(&site.app, use_case, message).await;
    }
    let use_case = App::id(&request.club_id).and_then(|id| {
        let account = App::id(&request.account_id)?;
        Ok(RemoveMember { id, account, reason: request.reason.clone() })
    });
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn leave_club(
    site: &Site,
    call: &Admitted,
    request: v1::LeaveClubRequest,
) -> Result<Encoded<v1::LeaveClubResponse>, Failure> {
    let use_case = App::id(&request.club_id).map(|id| LeaveClub { id });
    let message = |club: &_| v1::LeaveClubResponse { club: Some(convert::club(club)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn enter_helped_member(
    site: &Site,
    call: &Admitted,
    request: v1::EnterHelpedMemberRequest,
) -> Result<Encoded<v1::EnterHelpedMemberResponse>, Failure> {
    let id = App::id(&request.club_id)?;
    let v1::EnterHelpedMemberRequest { club_id: _, name, consent } = request;
    let use_case = site.app.prepare_helped(call, id, name, consent).await;
    let message = |(club, account): &(_, AccountId)| v1::EnterHelpedMemberResponse {
        club: Some(convert::club(club)),
        account_id: account.to_string(),
    };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn allow_help(
    site: &Site,
    call: &Admitted,
    request: v1::AllowHelpRequest,
) -> Result<Encoded<v1::AllowHelpResponse>, Failure> {
    let use_case =
        App::id(&request.club_id).and_then(|id| Ok(AllowHelp { id, allow: said("allow", request.allow)? }));
    let message = |club: &_| v1::AllowHelpResponse { club: Some(convert::club(club)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn export_club(
    site: &Site,
    call: &Admitted,
    request: v1::ExportClubRequest,
) -> Result<RepliesOf<v1::ExportClubRequest>, Failure> {
    let id = App::id(&request.club_id)?;
    let chunks = site.app.export_club(call, id).await?;
    let replies = chunks.into_iter().map(|chunk| Ok(v1::ExportClubResponse { chunk }));
    Ok(Box::pin(futures_util::stream::iter(replies)))
}

pub(crate) async fn close_club(
    site: &Site,
    call: &Admitted,
    request: v1::CloseClubRequest,
) -> Result<Encoded<v1::CloseClubResponse>, Failure> {
    let use_case = App::id(&request.club_id).map(|id| CloseClub { id });
    call.write(&site.app, use_case, |()| v1::CloseClubResponse {}).await
}
