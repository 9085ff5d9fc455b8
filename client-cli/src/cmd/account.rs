//! `scionary account`.

use scionary_proto::v1;
use scionary_show::account as show;

use crate::{
    args::{AccountCommand, PersonArguments, RoleArguments},
    client::Client,
    error::Failure,
    output::Output,
    prompt,
};

pub(super) async fn run(
    client: &mut Client,
    output: &Output,
    command: AccountCommand,
) -> Result<(), Failure> {
    match command {
        AccountCommand::SignUp { handle, name, code } => {
            // Check the handle before asking for a password.
            scionary_domain::account::Handle::parse(&handle)
                .map_err(|expected| Failure::usage(format!("the handle {handle}: {expected}")))?;
            let password = prompt::new_password(
                "A new password (10 characters or more; four or five unrelated words are good)",
            )?;
            let request = v1::SignUpRequest {
                handle: handle.clone(),
                display_name: name.unwrap_or_default(),
                password: password.clone(),
                code: code.unwrap_or_default(),
            };
            let reply: v1::SignUpResponse = client.call(request).await?;
            output.reply(&reply, |view| show::sign_up(view, &reply))?;
            if output.is_json() {
                return Ok(());
            }
            // Who has just chosen a password need not type it again.
            sign_in(client, output, handle, password).await
        }
        AccountCommand::SignIn { handle } => {
            let password = prompt::password("Password")?;
            sign_in(client, output, handle, password).await
        }
        AccountCommand::SignOut { everywhere } => {
            client.need_session()?;
            if everywhere {
                let request = v1::SignOutEverywhereRequest {};
                let reply: v1::SignOutEverywhereResponse = client.call(request).await?;
                client.folder.forget_session()?;
                return output.reply(&reply, |view| show::sign_out_everywhere(view, &reply));
            }
            let done: Result<v1::SignOutResponse, Failure> = client.call(v1::SignOutRequest {}).await;
            // A session that has ended already needs no ending.
            let reply = match done {
                Err(failure) if failure.reason == "SESSION_OVER" => v1::SignOutResponse {},
                other => other?,
            };
            client.folder.forget_session()?;
            output.reply(&reply, |view| view.line("Signed out."))
        }
        AccountCommand::Whoami => {
            client.need_session()?;
            let reply: v1::WhoAmIResponse = client.call(v1::WhoAmIRequest {}).await?;
            output.reply(&reply, |view| show::who_am_i(view, &reply))
        }
        AccountCommand::Password => {
            client.need_session()?;
            let current_password = prompt::password("The password so far")?;
            let new_password = prompt::new_password("A new password")?;
            let request = v1::ChangePasswordRequest { current_password, new_password };
            let reply: v1::ChangePasswordResponse = client.call(request).await?;
            output.reply(&reply, |view| show::change_password(view, &reply))
        }
        AccountCommand::Invite { note } => {
            client.need_session()?;
            let request = v1::CreateInvitationRequest { note };
            let reply: v1::CreateInvitationResponse = client.call(request).await?;
            output.reply(&reply, |view| show::create_invitation(view, &reply, &client.server))
        }
        AccountCommand::Invitations { paging } => {
            client.need_session()?;
            let request = v1::ListInvitationsRequest { page_size: paging.page_size, page_token: paging.page };
            let reply: v1::ListInvitationsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_invitations(view, &reply))
        }
        AccountCommand::Uninvite { invitation } => {
            client.need_session()?;
            let request = v1::RevokeInvitationRequest { invitation_id: invitation };
            let reply: v1::RevokeInvitationResponse = client.call(request).await?;
            output.reply(&reply, |view| show::revoke_invitation(view, &reply))
        }
        AccountCommand::Grant(RoleArguments { handle, role, crop }) => {
            client.need_session()?;
            let request = v1::GrantRoleRequest { handle, role: role.into(), crop };
            let reply: v1::GrantRoleResponse = client.call(request).await?;
            output.reply(&reply, |view| show::show(view, reply.account.as_ref()))
        }
        AccountCommand::Revoke(RoleArguments { handle, role, crop }) => {
            client.need_session()?;
            let request = v1::RevokeRoleRequest { handle, role: role.into(), crop };
            let reply: v1::RevokeRoleResponse = client.call(request).await?;
            output.reply(&reply, |view| show::show(view, reply.account.as_ref()))
        }
        AccountCommand::Block { account } => {
            client.need_session()?;
            let request = v1::BlockMemberRequest { account_id: account };
            let reply: v1::BlockMemberResponse = client.call(request).await?;
            output.reply(&reply, |view| show::blocked(view, &reply.blocked))
        }
        AccountCommand::Unblock { account } => {
            client.need_session()?;
            let request = v1::UnblockMemberRequest { account_id: account };
            let reply: v1::UnblockMemberResponse = client.call(request).await?;
            output.reply(&reply, |view| show::blocked(view, &reply.blocked))
        }
        AccountCommand::Blocked => {
            client.need_session()?;
            let reply: v1::ListBlockedResponse = client.call(v1::ListBlockedRequest {}).await?;
            output.reply(&reply, |view| show::blocked(view, &reply.blocked))
        }
        AccountCommand::Vouch(PersonArguments { handle, reason }) => {
            client.need_session()?;
            let request = v1::CreateVouchRequest { handle, reason };
            let reply: v1::CreateVouchResponse = client.call(request).await?;
            output.reply(&reply, |view| show::create_vouch(view, &reply))
        }
        AccountCommand::Unvouch(PersonArguments { handle, reason }) => {
            client.need_session()?;
            let request = v1::WithdrawVouchRequest { handle, reason };
            let reply: v1::WithdrawVouchResponse = client.call(request).await?;
            output.reply(&reply, |view| show::withdraw_vouch(view, &reply))
        }
        AccountCommand::Suspend(PersonArguments { handle, reason }) => {
            client.need_session()?;
            let request = v1::SuspendAccountRequest { handle, reason };
            let reply: v1::SuspendAccountResponse = client.call(request).await?;
            output.reply(&reply, |view| show::suspend_account(view, &reply))
        }
        AccountCommand::Restore(PersonArguments { handle, reason }) => {
            client.need_session()?;
            let request = v1::RestoreAccountRequest { handle, reason };
            let reply: v1::RestoreAccountResponse = client.call(request).await?;
            output.reply(&reply, |view| show::restore_account(view, &reply))
        }
    }
}

/// Signs in and keeps the session.
async fn sign_in(
    client: &mut Client,
    output: &Output,
    handle: String,
    password: String,
) -> Result<(), Failure> {
    let request = v1::SignInRequest { handle, password, label: show::machine() };
    let mut reply: v1::SignInResponse = client.call(request).await?;
    let account = reply.account.clone().unwrap_or_default();
    client.remember(&account, std::mem::take(&mut reply.token))?;
    output.reply(&reply, |view| show::sign_in(view, &reply, &account))
}
