//! Accounts, invitations and blocked members.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::SignUpResponse`].
pub fn sign_up(view: &mut View, reply: &v1::SignUpResponse) {
    view.line("The account is made.");
    show(view, reply.account.as_ref());
    view.gap();
}

/// Shows a [`v1::SignInResponse`].
pub fn sign_in(view: &mut View, reply: &v1::SignInResponse, account: &v1::Account) {
    view.line(format!(
        "Signed in as {} until {}.",
        account.display_name,
        words::day_of(reply.expires_at.as_ref())
    ));
}

/// Shows a [`v1::SignOutEverywhereResponse`].
pub fn sign_out_everywhere(view: &mut View, reply: &v1::SignOutEverywhereResponse) {
    view.line(format!("Signed out; {} sessions were ended.", reply.sessions_ended));
}

/// Shows a [`v1::WhoAmIResponse`].
pub fn who_am_i(view: &mut View, reply: &v1::WhoAmIResponse) {
    show(view, reply.account.as_ref());
    view.fact("session ends", words::day_of(reply.session_expires_at.as_ref()));
}

/// Shows a [`v1::ChangePasswordResponse`].
pub fn change_password(view: &mut View, reply: &v1::ChangePasswordResponse) {
    view.line(format!("The password is changed; {} other sessions were ended.", reply.sessions_ended));
}

/// Shows a [`v1::CreateInvitationResponse`].
pub fn create_invitation(view: &mut View, reply: &v1::CreateInvitationResponse, server: &str) {
    view.fact("code", &reply.code);
    show_invitation(view, reply.invitation.as_ref());
    view.gap();
    view.line("Send your guest these two lines. The code works once and is not shown again.");
    view.act("First", Deed::Connect.on(server));
    view.act("Then", Deed::AccountSignUp.on_part("THEIR-HANDLE", &reply.code));
}

/// Shows a [`v1::ListInvitationsResponse`].
pub fn list_invitations(view: &mut View, reply: &v1::ListInvitationsResponse) {
    if reply.invitations.is_empty() {
        view.line("You have made no invitations.");
        view.act("Make one", Deed::AccountInvite.bare());
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
}

/// Shows a [`v1::RevokeInvitationResponse`].
pub fn revoke_invitation(view: &mut View, reply: &v1::RevokeInvitationResponse) {
    view.line("The invitation is taken back.");
    show_invitation(view, reply.invitation.as_ref());
}

/// Shows a [`v1::CreateVouchResponse`].
pub fn create_vouch(view: &mut View, reply: &v1::CreateVouchResponse) {
    view.line("Vouched for: their evidence counts by itself now.");
    show(view, reply.account.as_ref());
}

/// Shows a [`v1::WithdrawVouchResponse`].
pub fn withdraw_vouch(view: &mut View, reply: &v1::WithdrawVouchResponse) {
    view.line("Not vouched for any more: their evidence counts where a vouched grower agrees with it.");
    show(view, reply.account.as_ref());
}

/// Shows a [`v1::SuspendAccountResponse`].
pub fn suspend_account(view: &mut View, reply: &v1::SuspendAccountResponse) {
    view.line("Suspended: it may do nothing, and its evidence does not count.");
    show(view, reply.account.as_ref());
}

/// Shows a [`v1::RestoreAccountResponse`].
pub fn restore_account(view: &mut View, reply: &v1::RestoreAccountResponse) {
    view.line("Restored.");
    show(view, reply.account.as_ref());
}

/// Returns the name of this machine for the list of sessions, at most 60 characters; empty if it is unknown.
pub fn machine() -> String {
    std::env::var("HOSTNAME").unwrap_or_default().chars().take(60).collect()
}

pub(crate) fn roles(account: &v1::Account) -> String {
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

/// Shows an account.
pub fn show(view: &mut View, account: Option<&v1::Account>) {
    let Some(account) = account else { return };
    view.fact("handle", &account.handle);
    view.fact("name", &account.display_name);
    view.fact("roles", roles(account));
    view.fact("member since", words::day_of(account.created_at.as_ref()));
}

pub(crate) fn show_invitation(view: &mut View, invitation: Option<&v1::Invitation>) {
    let Some(invitation) = invitation else { return };
    view.fact("invitation", &invitation.invitation_id);
    view.fact("note", &invitation.note);
    view.fact("state", words::plain(invitation.state().as_str_name(), "INVITATION_STATE_"));
    view.fact("ends", words::day_of(invitation.expires_at.as_ref()));
}

/// Shows whom the member blocks.
pub fn blocked(view: &mut View, all: &[v1::BlockedMember]) {
    if all.is_empty() {
        view.line("You block no one.");
    }
    for member in all {
        view.entry(&member.account_id, &member.display_name);
    }
}
