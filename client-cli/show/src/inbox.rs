//! Notices.

use scionary_proto::v1;

use crate::{Act, Deed, View, words};

/// Shows a [`v1::ListNoticesResponse`].
pub fn list_notices(view: &mut View, reply: &v1::ListNoticesResponse, all: bool) {
    if reply.notices.is_empty() {
        view.line(if all { "Nothing was told to you." } else { "Nothing new. What you have read: --all" });
    }
    for notice in &reply.notices {
        line(view, notice);
    }
    view.more(&reply.next_page_token);
    if reply.unread > 0 {
        view.gap();
        view.act("Mark all as read", Deed::InboxRead.bare());
    }
}

/// Shows a [`v1::MarkNoticesReadResponse`].
pub fn mark_notices_read(view: &mut View, reply: &v1::MarkNoticesReadResponse) {
    view.line(format!("Read. {} left.", words::counted(reply.unread, "notice")));
}

/// Shows a [`v1::SetMailAddressResponse`].
pub fn set_mail_address(view: &mut View, _: &v1::SetMailAddressResponse) {
    view.line("A code is on its way to this address.");
    view.act("Confirm it", Deed::InboxConfirmMail.bare());
}

/// Shows a [`v1::GetMailAddressResponse`].
pub fn get_mail_address(view: &mut View, reply: &v1::GetMailAddressResponse) {
    view.line(&match (reply.server_sends, reply.address.as_str(), reply.confirmed) {
        (false, _, _) => "This server sends no mail.".to_string(),
        (true, "", _) => "No notices go by mail.".into(),
        (true, address, true) => format!("Notices go to {address}."),
        (true, address, false) => format!("{address} is not confirmed yet."),
    });
    match (reply.server_sends, reply.address.is_empty(), reply.confirmed) {
        (true, true, _) => view.act("Have them sent", Deed::InboxMail.bare()),
        (true, false, false) => view.act("Confirm it", Deed::InboxConfirmMail.bare()),
        (_, _, _) => {}
    }
}

/// Shows a [`v1::ConfirmMailAddressResponse`].
pub fn confirm_mail_address(view: &mut View, reply: &v1::ConfirmMailAddressResponse) {
    view.line(format!("Notices go to {} from now on.", reply.address));
}

/// Shows a [`v1::DeleteMailAddressResponse`].
pub fn delete_mail_address(view: &mut View, _: &v1::DeleteMailAddressResponse) {
    view.line("No more notices go by mail, and the address is deleted.");
}

/// Shows a [`v1::WatchNoticesResponse`].
pub fn watch_notices(view: &mut View, reply: &v1::WatchNoticesResponse) {
    reply.notices.iter().for_each(|notice| line(view, notice));
}

pub(crate) fn line(view: &mut View, notice: &v1::Notice) {
    view.item(0, "-", format!("{}: {}", words::day_of(notice.at.as_ref()), notice.words));
    if let Some((what, act)) = next(notice) {
        view.act(&format!("  {what}"), act);
    }
}

/// Returns what the reader of a notice can do next.
fn next(notice: &v1::Notice) -> Option<(&'static str, Act)> {
    let id = notice.subject_id.as_str();
    match notice.kind() {
        v1::NoticeKind::WantMet => Some(("See it", Deed::OfferShow.on(id))),
        v1::NoticeKind::ClaimAsked | v1::NoticeKind::ClaimStricter => {
            Some(("See it", Deed::ClaimShow.on(id)))
        }
        v1::NoticeKind::ClaimAccepted => Some(("How to reach the giver", Deed::ClaimShow.on(id))),
        v1::NoticeKind::ClaimHandedOver => Some(("See it", Deed::ClaimShow.on(id))),
        v1::NoticeKind::Alert => Some(("See it", Deed::AlertShow.on(id))),
        v1::NoticeKind::ClubInvited => Some(("Accept or decline", Deed::ClubShow.on(id))),
        v1::NoticeKind::ClubAsked => Some(("See who waits", Deed::ClubMembersWaiting.on(id))),
        v1::NoticeKind::Round => Some(("See it", Deed::RoundShow.on(id))),
        v1::NoticeKind::RoundSettled => Some(("What, from whom and why", Deed::RoundMine.on(id))),
        v1::NoticeKind::ClaimEnded | v1::NoticeKind::Club | v1::NoticeKind::Unspecified => None,
    }
}
