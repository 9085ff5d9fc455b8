//! Notices.

use scionary_proto::v1;

use crate::{View, words};

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
        view.note("Mark all of it as read: scionary inbox read");
    }
}

/// Shows a [`v1::MarkNoticesReadResponse`].
pub fn mark_notices_read(view: &mut View, reply: &v1::MarkNoticesReadResponse) {
    view.line(format!("Read. {} left.", words::counted(reply.unread, "notice")));
}

/// Shows a [`v1::SetMailAddressResponse`].
pub fn set_mail_address(view: &mut View, _: &v1::SetMailAddressResponse) {
    view.line("A code is on its way there. Confirm it: scionary inbox confirm-mail CODE");
}

/// Shows a [`v1::GetMailAddressResponse`].
pub fn get_mail_address(view: &mut View, reply: &v1::GetMailAddressResponse) {
    view.line(&match (reply.server_sends, reply.address.as_str(), reply.confirmed) {
        (false, _, _) => "This server sends no mail.".to_string(),
        (true, "", _) => "No notices go by mail. Ask for them: scionary inbox mail ADDRESS".into(),
        (true, address, true) => format!("Notices go to {address}."),
        (true, address, false) => {
            format!("{address} waits to be confirmed: scionary inbox confirm-mail CODE")
        }
    });
}

/// Shows a [`v1::ConfirmMailAddressResponse`].
pub fn confirm_mail_address(view: &mut View, reply: &v1::ConfirmMailAddressResponse) {
    view.line(format!("Notices go to {} from now on.", reply.address));
}

/// Shows a [`v1::RemoveMailAddressResponse`].
pub fn remove_mail_address(view: &mut View, _: &v1::RemoveMailAddressResponse) {
    view.line("No notices go by mail any more, and the address is forgotten.");
}

/// Shows a [`v1::WatchNoticesResponse`].
pub fn watch_notices(view: &mut View, reply: &v1::WatchNoticesResponse) {
    reply.notices.iter().for_each(|notice| line(view, notice));
}

pub(crate) fn line(view: &mut View, notice: &v1::Notice) {
    view.item(0, "-", format!("{}: {}", words::day_of(notice.at.as_ref()), notice.words));
}
