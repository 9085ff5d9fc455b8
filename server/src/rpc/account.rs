//! Accounts. Idempotency keys are bound to requests without their passwords, so that no quick hash of a
//! password is ever stored.

use prost::Message;
use scionary_app::{
    App, Error,
    accounts::{
        BlockMember, Blocked, ChangeRole, ChangeStanding, Invited, RevokeInvitation, RoleChange, SignOut,
        StandingChange, UnblockMember,
    },
};
use scionary_domain::account::{Account, Actor, Invitation};
use scionary_proto::v1;

use crate::{
    call::Admitted,
    convert::{self, account as convert_account},
    dispatch::Encoded,
    site::Site,
    status::{Failure, Refusal},
};

/// Grants a role or takes it away.
async fn change_role<M: Message>(
    site: &Site,
    call: &Admitted,
    (handle, role, crop): (String, i32, String),
    change: RoleChange,
    message: impl Fn(Option<v1::Account>) -> M + Send + Sync + 'static,
) -> Result<Encoded<M>, Failure> {
    let role = convert_account::read_role(role, &crop)?;
    let use_case = ChangeRole { handle, role, change };
    call.write(&site.app, Ok(use_case), move |a| message(Some(convert_account::account(a)))).await
}

/// Vouches for an account, suspends it, or undoes either.
async fn change_standing<M: Message>(
    site: &Site,
    call: &Admitted,
    (handle, reason): (String, String),
    change: StandingChange,
    message: impl Fn(Option<v1::Account>) -> M + Send + Sync + 'static,
) -> Result<Encoded<M>, Failure> {
    let use_case = ChangeStanding { handle, change, reason };
    let reply =
        call.write(&site.app, Ok(use_case), move |a| message(Some(convert_account::account(a)))).await?;
    site.app.refresh_registry().await?;
    Ok(reply)
}

fn ended(count: u64) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

pub(crate) async fn sign_up(
    site: &Site,
    call: &Admitted,
    request: v1::SignUpRequest,
) -> Result<Encoded<v1::SignUpResponse>, Failure> {
    let v1::SignUpRequest { handle, display_name, password, code } = request;
    // a repeat must not be refused for the handle that its first run took
    if let Some(reply) = call.first_reply(&site.app).await? {
        site.throttle.sign_in(&handle, call.address()).map_err(Refusal::TooMany)?;
        site.app.same_password(&handle, &password).await?;
        return Ok(reply);
    }
    let use_case = site.app.prepare_sign_up(&handle, &display_name, &password, &code).await;
    let message = |account: &Account| v1::SignUpResponse { account: Some(convert_account::account(account)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn sign_in(
    site: &Site,
    call: &Admitted,
    request: v1::SignInRequest,
) -> Result<v1::SignInResponse, Failure> {
    let v1::SignInRequest { handle, password, label } = request;
    site.throttle.sign_in(&handle, call.address()).map_err(Refusal::TooMany)?;
    let signed_in = site.app.sign_in(call, &handle, &password, &label).await?;
    Ok(v1::SignInResponse {
        token: signed_in.token,
        expires_at: Some(convert::timestamp(signed_in.expires_at)),
        account: Some(convert_account::account(&signed_in.account)),
    })
}

pub(crate) async fn sign_out(
    site: &Site,
    call: &Admitted,
    _request: v1::SignOutRequest,
) -> Result<Encoded<v1::SignOutResponse>, Failure> {
    call.write(&site.app, Ok(SignOut { everywhere: false }), |_| v1::SignOutResponse {}).await
}

pub(crate) async fn sign_out_everywhere(
    site: &Site,
    call: &Admitted,
    _request: v1::SignOutEverywhereRequest,
) -> Result<Encoded<v1::SignOutEverywhereResponse>, Failure> {
    let message = |count: &u64| v1::SignOutEverywhereResponse { sessions_ended: ended(*count) };
    call.write(&site.app, Ok(SignOut { everywhere: true }), message).await
}

pub(crate) async fn change_password(
    site: &Site,
    call: &Admitted,
    request: v1::ChangePasswordRequest,
) -> Result<Encoded<v1::ChangePasswordResponse>, Failure> {
    let v1::ChangePasswordRequest { current_password, new_password } = request;
    let handle = call.account()?.handle.clone();
    site.throttle.sign_in(&handle, call.address()).map_err(Refusal::TooMany)?;
    // a repeat must not be refused for the password that its first run has changed
    if let Some(reply) = call.first_reply(&site.app).await? {
        site.app.same_password(&handle, &new_password).await?;
        return Ok(reply);
    }
    let use_case = site.app.prepare_change_password(call, &current_password, &new_password).await;
    let message = |count: &u64| v1::ChangePasswordResponse { sessions_ended: ended(*count) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn who_am_i(
    _site: &Site,
    call: &Admitted,
    _request: v1::WhoAmIRequest,
) -> Result<v1::WhoAmIResponse, Failure> {
    match &call.actor {
        Actor::Member { account, session_expires_at, .. } => Ok(v1::WhoAmIResponse {
            account: Some(convert_account::account(account)),
            session_expires_at: Some(convert::timestamp(*session_expires_at)),
        }),
        Actor::Visitor => Err(Error::SignInNeeded.into()),
    }
}

pub(crate) async fn create_invitation(
    site: &Site,
    call: &Admitted,
    request: v1::CreateInvitationRequest,
) -> Result<Encoded<v1::CreateInvitationResponse>, Failure> {
    let now = call.now;
    let use_case = site.app.prepare_invitation(&request.note)?;
    let message = move |invited: &Invited| v1::CreateInvitationResponse {
        invitation: Some(convert_account::invitation(&invited.invitation, now)),
        code: invited.code.clone(),
    };
    call.write_secret(&site.app, use_case, message).await
}

pub(crate) async fn list_invitations(
    site: &Site,
    call: &Admitted,
    request: v1::ListInvitationsRequest,
) -> Result<v1::ListInvitationsResponse, Failure> {
    let v1::ListInvitationsRequest { page_size, page_token } = request;
    let page = site.app.invitations(call, page_size, &page_token).await?;
    Ok(v1::ListInvitationsResponse {
        invitations: page.rows.iter().map(|i| convert_account::invitation(i, call.now)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn revoke_invitation(
    site: &Site,
    call: &Admitted,
    request: v1::RevokeInvitationRequest,
) -> Result<Encoded<v1::RevokeInvitationResponse>, Failure> {
    let now = call.now;
    let use_case = App::id(&request.invitation_id).map(|id| RevokeInvitation { id });
    let message = move |invitation: &Invitation| v1::RevokeInvitationResponse {
        invitation: Some(convert_account::invitation(invitation, now)),
    };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn grant_role(
    site: &Site,
    call: &Admitted,
    request: v1::GrantRoleRequest,
) -> Result<Encoded<v1::GrantRoleResponse>, Failure> {
    let parts = (request.handle, request.role, request.crop);
    change_role(site, call, parts, RoleChange::Grant, |account| v1::GrantRoleResponse { account }).await
}

pub(crate) async fn revoke_role(
    site: &Site,
    call: &Admitted,
    request: v1::RevokeRoleRequest,
) -> Result<Encoded<v1::RevokeRoleResponse>, Failure> {
    let parts = (request.handle, request.role, request.crop);
    change_role(site, call, parts, RoleChange::Revoke, |account| v1::RevokeRoleResponse { account }).await
}

pub(crate) async fn create_vouch(
    site: &Site,
    call: &Admitted,
    request: v1::CreateVouchRequest,
) -> Result<Encoded<v1::CreateVouchResponse>, Failure> {
    let parts = (request.handle, request.reason);
    change_standing(site, call, parts, StandingChange::Vouch, |account| v1::CreateVouchResponse { account })
        .await
}

pub(crate) async fn withdraw_vouch(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawVouchRequest,
) -> Result<Encoded<v1::WithdrawVouchResponse>, Failure> {
    let parts = (request.handle, request.reason);
    change_standing(site, call, parts, StandingChange::Unvouch, |account| v1::WithdrawVouchResponse {
        account,
    })
    .await
}

pub(crate) async fn suspend_account(
    site: &Site,
    call: &Admitted,
    request: v1::SuspendAccountRequest,
) -> Result<Encoded<v1::SuspendAccountResponse>, Failure> {
    let parts = (request.handle, request.reason);
    change_standing(site, call, parts, StandingChange::Suspend, |account| v1::SuspendAccountResponse {
        account,
    })
    .await
}

pub(crate) async fn restore_account(
    site: &Site,
    call: &Admitted,
    request: v1::RestoreAccountRequest,
) -> Result<Encoded<v1::RestoreAccountResponse>, Failure> {
    let parts = (request.handle, request.reason);
    change_standing(site, call, parts, StandingChange::Restore, |account| v1::RestoreAccountResponse {
        account,
    })
    .await
}

pub(crate) async fn block_member(
    site: &Site,
    call: &Admitted,
    request: v1::BlockMemberRequest,
) -> Result<Encoded<v1::BlockMemberResponse>, Failure> {
    let use_case = App::id(&request.account_id).map(|account| BlockMember { account });
    let message = |all: &Vec<Blocked>| v1::BlockMemberResponse { blocked: convert_account::blocked(all) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn unblock_member(
    site: &Site,
    call: &Admitted,
    request: v1::UnblockMemberRequest,
) -> Result<Encoded<v1::UnblockMemberResponse>, Failure> {
    let use_case = App::id(&request.account_id).map(|account| UnblockMember { account });
    let message = |all: &Vec<Blocked>| v1::UnblockMemberResponse { blocked: convert_account::blocked(all) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn list_blocked(
    site: &Site,
    call: &Admitted,
    _request: v1::ListBlockedRequest,
) -> Result<v1::ListBlockedResponse, Failure> {
    let all = site.app.my_blocked(call).await?;
    Ok(v1::ListBlockedResponse { blocked: convert_account::blocked(&all) })
}
