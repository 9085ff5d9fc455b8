//! Clubs.

use std::pin::Pin;

use futures_util::Stream;
use prost::Message as _;
use scionary_app::{
    App, Error, KeepReply,
    clubs::{
        AllowHelp, AnswerInvitation, AnswerRequest, AskToJoin, ChangeClub, CloseClub, CreateClub,
        InviteToClub, LeaveClub, RemoveMember, SetOrganiser,
    },
};
use scionary_proto::v1::{self, club_service_server::ClubService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::club as convert};

/// Answers `ClubService`.
pub struct ClubRpc(pub App);

#[tonic::async_trait]
impl ClubService for ClubRpc {
    async fn create_club(
        &self,
        request: Request<v1::CreateClubRequest>,
    ) -> Result<Response<v1::CreateClubResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = Ok::<_, Error>(CreateClub { draft: convert::draft(request.club.clone()) });
        let message = |club: &_| v1::CreateClubResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn update_club(
        &self,
        request: Request<v1::UpdateClubRequest>,
    ) -> Result<Response<v1::UpdateClubResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::club_id(&request.club_id)
            .map(|id| ChangeClub { id, draft: convert::draft(request.club.clone()) });
        let message = |club: &_| v1::UpdateClubResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn get_club(
        &self,
        request: Request<v1::GetClubRequest>,
    ) -> Result<Response<v1::GetClubResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let id = App::club_id(&request.into_inner().club_id).map_err(fail)?;
        let club = self.0.club(&admitted.call(), id).await.map_err(fail)?;
        Ok(Response::new(v1::GetClubResponse { club: Some(convert::club(&club)) }))
    }

    async fn list_clubs(
        &self,
        request: Request<v1::ListClubsRequest>,
    ) -> Result<Response<v1::ListClubsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListClubsRequest { name, page_size, page_token } = request.into_inner();
        let page = self.0.clubs(&admitted.call(), &name, page_size, &page_token).await;
        let page = page.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListClubsResponse {
            clubs: page.rows.iter().map(convert::club).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn list_my_clubs(
        &self,
        request: Request<v1::ListMyClubsRequest>,
    ) -> Result<Response<v1::ListMyClubsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let clubs = self.0.my_clubs(&admitted.call()).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListMyClubsResponse { clubs: clubs.iter().map(convert::club).collect() }))
    }

    async fn list_club_members(
        &self,
        request: Request<v1::ListClubMembersRequest>,
    ) -> Result<Response<v1::ListClubMembersResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let v1::ListClubMembersRequest { club_id, waiting, page_size, page_token } = request.into_inner();
        let id = App::club_id(&club_id).map_err(fail)?;
        let page = self.0.club_members(&admitted.call(), id, waiting, page_size, &page_token).await;
        let page = page.map_err(fail)?;
        Ok(Response::new(v1::ListClubMembersResponse {
            members: page.rows.iter().map(convert::member).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn invite_to_club(
        &self,
        request: Request<v1::InviteToClubRequest>,
    ) -> Result<Response<v1::InviteToClubResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::club_id(&request.club_id).map(|id| InviteToClub {
            id,
            handle: request.handle.clone(),
            words: request.words.clone(),
        });
        let message = |club: &_| v1::InviteToClubResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn answer_club_invitation(
        &self,
        request: Request<v1::AnswerClubInvitationRequest>,
    ) -> Result<Response<v1::AnswerClubInvitationResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case =
            App::club_id(&request.club_id).map(|id| AnswerInvitation { id, accept: request.accept });
        let message = |club: &_| v1::AnswerClubInvitationResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn ask_to_join_club(
        &self,
        request: Request<v1::AskToJoinClubRequest>,
    ) -> Result<Response<v1::AskToJoinClubResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case =
            App::club_id(&request.club_id).map(|id| AskToJoin { id, words: request.words.clone() });
        let message = |club: &_| v1::AskToJoinClubResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn answer_club_request(
        &self,
        request: Request<v1::AnswerClubRequestRequest>,
    ) -> Result<Response<v1::AnswerClubRequestResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::club_id(&request.club_id).and_then(|id| {
            let account = App::account_id(&request.account_id)?;
            Ok(AnswerRequest { id, account, accept: request.accept })
        });
        let message = |club: &_| v1::AnswerClubRequestResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn set_club_organiser(
        &self,
        request: Request<v1::SetClubOrganiserRequest>,
    ) -> Result<Response<v1::SetClubOrganiserResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::club_id(&request.club_id).and_then(|id| {
            let account = App::account_id(&request.account_id)?;
            Ok(SetOrganiser { id, account, organiser: request.organiser })
        });
        let message = |club: &_| v1::SetClubOrganiserResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn remove_club_member(
        &self,
        request: Request<v1::RemoveClubMemberRequest>,
    ) -> Result<Response<v1::RemoveClubMemberResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::club_id(&request.club_id).and_then(|id| {
            let account = App::account_id(&request.account_id)?;
            Ok(RemoveMember { id, account, reason: request.reason.clone() })
        });
        let message = |club: &_| v1::RemoveClubMemberResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn leave_club(
        &self,
        request: Request<v1::LeaveClubRequest>,
    ) -> Result<Response<v1::LeaveClubResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::club_id(&request.club_id).map(|id| LeaveClub { id });
        let message = |club: &_| v1::LeaveClubResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    async fn enter_helped_member(
        &self,
        request: Request<v1::EnterHelpedMemberRequest>,
    ) -> Result<Response<v1::EnterHelpedMemberResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let fail = |e| admitted.fail(e);
        let id = App::club_id(&request.club_id).map_err(fail)?;
        let v1::EnterHelpedMemberRequest { club_id: _, name, consent } = request;
        let use_case = self.0.prepare_helped(id, name, consent).await.map_err(fail)?;
        let encode = |(club, account): &(_, scionary_domain::ids::AccountId)| {
            let (club, account_id) = (Some(convert::club(club)), account.to_string());
            v1::EnterHelpedMemberResponse { club, account_id }.encode_to_vec()
        };
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn allow_help(
        &self,
        request: Request<v1::AllowHelpRequest>,
    ) -> Result<Response<v1::AllowHelpResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::club_id(&request.club_id).map(|id| AllowHelp { id, allow: request.allow });
        let message = |club: &_| v1::AllowHelpResponse { club: Some(convert::club(club)) };
        admitted.write(&self.0, &request, use_case, message).await
    }

    type ExportClubStream = Pin<Box<dyn Stream<Item = Result<v1::ExportClubResponse, Status>> + Send>>;

    async fn export_club(
        &self,
        request: Request<v1::ExportClubRequest>,
    ) -> Result<Response<Self::ExportClubStream>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let id = App::club_id(&request.into_inner().club_id).map_err(fail)?;
        let chunks = self.0.export_club(&admitted.call(), id).await.map_err(fail)?;
        let replies = chunks.into_iter().map(|chunk| Ok(v1::ExportClubResponse { chunk }));
        Ok(Response::new(Box::pin(futures_util::stream::iter(replies))))
    }

    async fn close_club(
        &self,
        request: Request<v1::CloseClubRequest>,
    ) -> Result<Response<v1::CloseClubResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let use_case = App::club_id(&request.club_id).map(|id| CloseClub { id });
        admitted.write(&self.0, &request, use_case, |()| v1::CloseClubResponse {}).await
    }
}
