//! Your account.

use scionary_proto::v1;
use scionary_show::View;

use crate::{
    args::{AccountCommand, PersonArguments, RoleArguments},
    client::Client,
    error::Failure,
    output::Output,
    prompt, words,
};

/// What the session is used on: the machine's name, if it tells.
fn machine() -> String {
    std::env::var("HOSTNAME").unwrap_or_default().chars().take(60).collect()
}

fn roles(account: &v1::Account) -> String {
    account
        .roles
        .iter()
        .map(|grant| {
            let role = words::role(grant.role());
            if grant.crop.is_empty() { role } else { format!("{role} of {}", grant.crop) }
        })
        .collect::<Vec<_>>()
        .join(", ")
}

fn show(view: &mut View, account: Option<&v1::Account>) {
    let Some(account) = account else { return };
    view.fact("handle", &account.handle);
    view.fact("name", &account.display_name);
    view.fact("roles", roles(account));
    view.fact("member since", words::day_of(account.created_at.as_ref()));
    view.fact("id", &account.account_id);
}

fn show_invitation(view: &mut View, invitation: Option<&v1::Invitation>) {
    let Some(invitation) = invitation else { return };
    view.fact("invitation", &invitation.invitation_id);
    view.fact("note", &invitation.note);
    view.fact("state", words::plain(invitation.state().as_str_name(), "INVITATION_STATE_"));
    view.fact("ends", words::day_of(invitation.expires_at.as_ref()));
}

pub(super) async fn run(mut client: Client, output: &Output, command: AccountCommand) -> Result<(), Failure> {
    match command {
        AccountCommand::SignUp { handle, name, code } => {
            // what can be told before a password is typed is told before
            scionary_domain::account::Handle::parse(&handle)
                .map_err(|expected| Failure::usage(format!("the handle {handle}: {expected}")))?;
            let password = prompt::new_password(
                "A new password (10 characters or more; four or five unrelated words are good)",
            )?;
            let request = v1::SignUpRequest {
                handle: handle.clone(),
                display_name: name.unwrap_or_default(),
                password,
                code: code.unwrap_or_default(),
            };
            let reply: v1::SignUpResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("The account is made.");
                show(view, reply.account.as_ref());
                view.gap();
                view.note(format!("Next: scionary account sign-in {handle}"));
            })
        }
        AccountCommand::SignIn { handle } => {
            let password = prompt::password("Password")?;
            let request = v1::SignInRequest { handle, password, label: machine() };
            let mut reply: v1::SignInResponse = client.call(request).await?;
            let account = reply.account.clone().unwrap_or_default();
            client.remember(&account.handle, std::mem::take(&mut reply.token))?;
            output.reply(&reply, |view| {
                view.line(format!(
                    "Signed in as {} until {}.",
                    account.display_name,
                    words::day_of(reply.expires_at.as_ref())
                ));
            })
        }
        AccountCommand::SignOut { everywhere } => {
            client.need_session()?;
            if everywhere {
                let request = v1::SignOutEverywhereRequest {};
                let reply: v1::SignOutEverywhereResponse = client.call(request).await?;
                client.folder.forget_session()?;
                return output.reply(&reply, |view| {
                    view.line(format!("Signed out; {} sessions were ended.", reply.sessions_ended));
                });
            }
            let done: Result<v1::SignOutResponse, Failure> = client.call(v1::SignOutRequest {}).await;
            // a session that is over already needs no ending
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
            output.reply(&reply, |view| {
                show(view, reply.account.as_ref());
                view.fact("session ends", words::day_of(reply.session_expires_at.as_ref()));
            })
        }
        AccountCommand::Password => {
            client.need_session()?;
            let current_password = prompt::password("The password so far")?;
            let new_password = prompt::new_password("A new password")?;
            let request = v1::ChangePasswordRequest { current_password, new_password };
            let reply: v1::ChangePasswordResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line(format!(
                    "The password is changed; {} other sessions were ended.",
                    reply.sessions_ended
                ));
            })
        }
        AccountCommand::Invite { note } => {
            client.need_session()?;
            let request = v1::CreateInvitationRequest { note };
            let reply: v1::CreateInvitationResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.fact("code", &reply.code);
                show_invitation(view, reply.invitation.as_ref());
                view.gap();
                view.line("Hand the code to your guest; it is good once and is not shown again. They type:");
                view.line(format!("  scionary account sign-up THEIR-HANDLE --code {}", reply.code));
            })
        }
        AccountCommand::Invitations { paging } => {
            client.need_session()?;
            let request = v1::ListInvitationsRequest { page_size: paging.page_size, page_token: paging.page };
            let reply: v1::ListInvitationsResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if reply.invitations.is_empty() {
                    view.line("You have made no invitations. Make one with: scionary account invite");
                    return;
                }
                view.table(
                    ["INVITATION", "STATE", "ENDS", "NOTE"],
                    reply.invitations.iter().map(|i| {
                        [
                            i.invitation_id.clone(),
                            words::plain(i.state().as_str_name(), "INVITATION_STATE_"),
                            words::day_of(i.expires_at.as_ref()),
                            i.note.clone(),
                        ]
                    }),
                );
                view.more(&reply.next_page_token);
            })
        }
        AccountCommand::Uninvite { invitation } => {
            client.need_session()?;
            let request = v1::RevokeInvitationRequest { invitation_id: invitation };
            let reply: v1::RevokeInvitationResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("The invitation is taken back.");
                show_invitation(view, reply.invitation.as_ref());
            })
        }
        AccountCommand::Grant(RoleArguments { handle, role, crop }) => {
            client.need_session()?;
            let request = v1::GrantRoleRequest { handle, role: role.into(), crop };
            let reply: v1::GrantRoleResponse = client.call(request).await?;
            output.reply(&reply, |view| show(view, reply.account.as_ref()))
        }
        AccountCommand::Revoke(RoleArguments { handle, role, crop }) => {
            client.need_session()?;
            let request = v1::RevokeRoleRequest { handle, role: role.into(), crop };
            let reply: v1::RevokeRoleResponse = client.call(request).await?;
            output.reply(&reply, |view| show(view, reply.account.as_ref()))
        }
        AccountCommand::Block { account } => {
            client.need_session()?;
            let request = v1::BlockMemberRequest { account_id: account };
            let reply: v1::BlockMemberResponse = client.call(request).await?;
            output.reply(&reply, |view| blocked(view, &reply.blocked))
        }
        AccountCommand::Unblock { account } => {
            client.need_session()?;
            let request = v1::UnblockMemberRequest { account_id: account };
            let reply: v1::UnblockMemberResponse = client.call(request).await?;
            output.reply(&reply, |view| blocked(view, &reply.blocked))
        }
        AccountCommand::Blocked => {
            client.need_session()?;
            let reply: v1::ListBlockedResponse = client.call(v1::ListBlockedRequest {}).await?;
            output.reply(&reply, |view| blocked(view, &reply.blocked))
        }
        AccountCommand::Vouch(PersonArguments { handle, reason }) => {
            client.need_session()?;
            let request = v1::VouchForRequest { handle, reason };
            let reply: v1::VouchForResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("Vouched for: their evidence counts by itself now.");
                show(view, reply.account.as_ref());
            })
        }
        AccountCommand::Unvouch(PersonArguments { handle, reason }) => {
            client.need_session()?;
            let request = v1::WithdrawVouchingRequest { handle, reason };
            let reply: v1::WithdrawVouchingResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line(
                    "Not vouched for any more: their evidence counts where a vouched grower bears it out.",
                );
                show(view, reply.account.as_ref());
            })
        }
        AccountCommand::Suspend(PersonArguments { handle, reason }) => {
            client.need_session()?;
            let request = v1::SuspendAccountRequest { handle, reason };
            let reply: v1::SuspendAccountResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("Suspended: it may do nothing, and its evidence does not count.");
                show(view, reply.account.as_ref());
            })
        }
        AccountCommand::Restore(PersonArguments { handle, reason }) => {
            client.need_session()?;
            let request = v1::RestoreAccountRequest { handle, reason };
            let reply: v1::RestoreAccountResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("Restored.");
                show(view, reply.account.as_ref());
            })
        }
    }
}

fn blocked(view: &mut View, all: &[v1::BlockedMember]) {
    if all.is_empty() {
        view.line("You block nobody.");
    }
    for member in all {
        view.item(0, "-", &member.display_name);
        view.item(2, "", &member.account_id);
    }
}
