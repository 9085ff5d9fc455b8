//! Accounts. Idempotency keys are bound to requests without their passwords, so that no quick hash of a
//! password is ever stored.

use std::sync::Arc;

use prost::Message as _;
use scionary_app::{
    App, Error, KeepReply,
    accounts::{
        BlockMember, Blocked, ChangeRole, ChangeStanding, Invited, RevokeInvitation, RoleChange, SignOut,
        StandingChange, UnblockMember,
    },
};
use scionary_domain::{
    account::{Account, Actor, Invitation},
    field::FieldError,
};
use scionary_proto::v1::{self, account_service_server::AccountService};
use tonic::{Request, Response, Status};

use crate::{
    call::Admitted,
    convert::{self, account as convert_account},
    status::{self, Refusal},
    throttle::Throttle,
};

/// Answers `AccountService`.
pub struct AccountRpc {
    /// The application.
    pub app: App,
    /// Budgets of sign-ins for each handle.
    pub throttle: Arc<Throttle>,
}

impl AccountRpc {
    async fn change_role(
        &self,
        admitted: &Admitted,
        call: scionary_app::Call,
        parts: (String, i32, String),
        change: RoleChange,
        encode: impl Fn(&Account) -> Vec<u8> + Send + Sync + 'static,
    ) -> Result<Vec<u8>, Status> {
        let (handle, role, crop) = parts;
        let role = convert_account::read_role(role, &crop).map_err(|e| admitted.fail(e))?;
        let use_case = ChangeRole { handle, role, change };
        self.app.write(&call, use_case, KeepReply::Yes, encode).await.map_err(|e| admitted.fail(e))
    }
}

/// The four methods that change how an account stands differ in their words only.
macro_rules! standing {
    ($self:ident, $request:ident, $change:expr, $reply:ident) => {{
        let admitted = Admitted::of(&$request)?;
        let request = $request.into_inner();
        let call = admitted.write_call(&request);
        let use_case = ChangeStanding { handle: request.handle, change: $change, reason: request.reason };
        let encode = |account: &Account| {
            v1::$reply { account: Some(convert_account::account(account)) }.encode_to_vec()
        };
        let kept = $self.app.write(&call, use_case, KeepReply::Yes, encode).await;
        let reply = admitted.reply(kept)?;
        $self.app.refresh_registry().await.map_err(|e| admitted.fail(e))?;
        Ok(reply)
    }};
}

fn ended(count: u64) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

#[tonic::async_trait]
impl AccountService for AccountRpc {
    async fn sign_up(
        &self,
        request: Request<v1::SignUpRequest>,
    ) -> Result<Response<v1::SignUpResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let mut request = request.into_inner();
        let password = std::mem::take(&mut request.password);
        let code = std::mem::take(&mut request.code);
        let call = admitted.write_call(&request);
        if let Some(reply) = self.app.first_reply(&call).await.map_err(|e| admitted.fail(e))? {
            return admitted.reply(Ok(reply));
        }
        let use_case = self
            .app
            .prepare_sign_up(&request.handle, &request.display_name, &password, &code)
            .await
            .map_err(|e| admitted.fail(e))?;
        let encode = |account: &Account| {
            v1::SignUpResponse { account: Some(convert_account::account(account)) }.encode_to_vec()
        };
        admitted.reply(self.app.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn sign_in(
        &self,
        request: Request<v1::SignInRequest>,
    ) -> Result<Response<v1::SignInResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::SignInRequest { handle, password, label } = request.into_inner();
        self.throttle
            .sign_in(&handle, admitted.address())
            .map_err(|wait| status::refusal(&Refusal::TooMany(wait), admitted.call().request))?;
        let signed_in = self
            .app
            .sign_in(&admitted.call(), &handle, &password, &label)
            .await
            .map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::SignInResponse {
            token: signed_in.token,
            expires_at: Some(convert::timestamp(signed_in.expires_at)),
            account: Some(convert_account::account(&signed_in.account)),
        }))
    }

    async fn sign_out(
        &self,
        request: Request<v1::SignOutRequest>,
    ) -> Result<Response<v1::SignOutResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let use_case = SignOut { everywhere: false };
        let done = self.app.write(&admitted.call(), use_case, KeepReply::Yes, |_| Vec::new()).await;
        admitted.reply(done)
    }

    async fn sign_out_everywhere(
        &self,
        request: Request<v1::SignOutEverywhereRequest>,
    ) -> Result<Response<v1::SignOutEverywhereResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let encode =
            |count: &u64| v1::SignOutEverywhereResponse { sessions_ended: ended(*count) }.encode_to_vec();
        let use_case = SignOut { everywhere: true };
        admitted.reply(self.app.write(&admitted.call(), use_case, KeepReply::Yes, encode).await)
    }

    async fn change_password(
        &self,
        request: Request<v1::ChangePasswordRequest>,
    ) -> Result<Response<v1::ChangePasswordResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ChangePasswordRequest { current_password, new_password } = request.into_inner();
        let call = admitted.write_call(&v1::ChangePasswordRequest::default());
        if let Some(reply) = self.app.first_reply(&call).await.map_err(|e| admitted.fail(e))? {
            return admitted.reply(Ok(reply));
        }
        let handle = call.account().map_err(|e| admitted.fail(e))?.handle.clone();
        self.throttle
            .sign_in(&handle, admitted.address())
            .map_err(|wait| status::refusal(&Refusal::TooMany(wait), call.request))?;
        let use_case = self
            .app
            .prepare_change_password(&call, &current_password, &new_password)
            .await
            .map_err(|e| admitted.fail(e))?;
        let encode =
            |count: &u64| v1::ChangePasswordResponse { sessions_ended: ended(*count) }.encode_to_vec();
        admitted.reply(self.app.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn who_am_i(
        &self,
        request: Request<v1::WhoAmIRequest>,
    ) -> Result<Response<v1::WhoAmIResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        match &admitted.call().actor {
            Actor::Member { account, session_expires_at, .. } => Ok(Response::new(v1::WhoAmIResponse {
                account: Some(convert_account::account(account)),
                session_expires_at: Some(convert::timestamp(*session_expires_at)),
            })),
            Actor::Visitor => Err(admitted.fail(Error::SignInNeeded)),
        }
    }

    async fn create_invitation(
        &self,
        request: Request<v1::CreateInvitationRequest>,
    ) -> Result<Response<v1::CreateInvitationResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let now = call.now;
        let use_case = self.app.prepare_invitation(&request.note).map_err(|e| admitted.fail(e))?;
        let encode = move |invited: &Invited| {
            v1::CreateInvitationResponse {
                invitation: Some(convert_account::invitation(&invited.invitation, now)),
                code: invited.code.clone(),
            }
            .encode_to_vec()
        };
        admitted.reply(self.app.write(&call, use_case, KeepReply::Secret, encode).await)
    }

    async fn list_invitations(
        &self,
        request: Request<v1::ListInvitationsRequest>,
    ) -> Result<Response<v1::ListInvitationsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let call = admitted.call();
        let v1::ListInvitationsRequest { page_size, page_token } = request.into_inner();
        let page = self.app.invitations(&call, page_size, &page_token).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListInvitationsResponse {
            invitations: page.rows.iter().map(|i| convert_account::invitation(i, call.now)).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn revoke_invitation(
        &self,
        request: Request<v1::RevokeInvitationRequest>,
    ) -> Result<Response<v1::RevokeInvitationResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let now = call.now;
        let id = request
            .invitation_id
            .parse()
            .map_err(|e| admitted.fail(FieldError::new("invitation_id", format!("{e}"))))?;
        let encode = move |invitation: &Invitation| {
            v1::RevokeInvitationResponse { invitation: Some(convert_account::invitation(invitation, now)) }
                .encode_to_vec()
        };
        admitted.reply(self.app.write(&call, RevokeInvitation { id }, KeepReply::Yes, encode).await)
    }

    async fn grant_role(
        &self,
        request: Request<v1::GrantRoleRequest>,
    ) -> Result<Response<v1::GrantRoleResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let parts = (request.handle, request.role, request.crop);
        let encode = |account: &Account| {
            v1::GrantRoleResponse { account: Some(convert_account::account(account)) }.encode_to_vec()
        };
        admitted.reply(Ok(self.change_role(&admitted, call, parts, RoleChange::Grant, encode).await?))
    }

    async fn revoke_role(
        &self,
        request: Request<v1::RevokeRoleRequest>,
    ) -> Result<Response<v1::RevokeRoleResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let parts = (request.handle, request.role, request.crop);
        let encode = |account: &Account| {
            v1::RevokeRoleResponse { account: Some(convert_account::account(account)) }.encode_to_vec()
        };
        admitted.reply(Ok(self.change_role(&admitted, call, parts, RoleChange::Revoke, encode).await?))
    }

    async fn vouch_for(
        &self,
        request: Request<v1::VouchForRequest>,
    ) -> Result<Response<v1::VouchForResponse>, Status> {
        standing!(self, request, StandingChange::Vouch, VouchForResponse)
    }

    async fn withdraw_vouching(
        &self,
        request: Request<v1::WithdrawVouchingRequest>,
    ) -> Result<Response<v1::WithdrawVouchingResponse>, Status> {
        standing!(self, request, StandingChange::Unvouch, WithdrawVouchingResponse)
    }

    async fn suspend_account(
        &self,
        request: Request<v1::SuspendAccountRequest>,
    ) -> Result<Response<v1::SuspendAccountResponse>, Status> {
        standing!(self, request, StandingChange::Suspend, SuspendAccountResponse)
    }

    async fn restore_account(
        &self,
        request: Request<v1::RestoreAccountRequest>,
    ) -> Result<Response<v1::RestoreAccountResponse>, Status> {
        standing!(self, request, StandingChange::Restore, RestoreAccountResponse)
    }

    async fn block_member(
        &self,
        request: Request<v1::BlockMemberRequest>,
    ) -> Result<Response<v1::BlockMemberResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let account = App::account_id(&request.account_id).map_err(|e| admitted.fail(e))?;
        let encode = |all: &Vec<Blocked>| {
            v1::BlockMemberResponse { blocked: convert_account::blocked(all) }.encode_to_vec()
        };
        let call = admitted.write_call(&request);
        admitted.reply(self.app.write(&call, BlockMember { account }, KeepReply::Yes, encode).await)
    }

    async fn unblock_member(
        &self,
        request: Request<v1::UnblockMemberRequest>,
    ) -> Result<Response<v1::UnblockMemberResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let account = App::account_id(&request.account_id).map_err(|e| admitted.fail(e))?;
        let encode = |all: &Vec<Blocked>| {
            v1::UnblockMemberResponse { blocked: convert_account::blocked(all) }.encode_to_vec()
        };
        let call = admitted.write_call(&request);
        admitted.reply(self.app.write(&call, UnblockMember { account }, KeepReply::Yes, encode).await)
    }

    async fn list_blocked(
        &self,
        request: Request<v1::ListBlockedRequest>,
    ) -> Result<Response<v1::ListBlockedResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let all = self.app.my_blocked(&admitted.call()).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListBlockedResponse { blocked: convert_account::blocked(&all) }))
    }
}
