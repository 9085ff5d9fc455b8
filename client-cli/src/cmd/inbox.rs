//! `scionary inbox`.

use std::time::Duration;

use scionary_proto::v1;
use scionary_show::inbox as show;

use super::PAGE_MAX;
use crate::{args::InboxCommand, client::Client, error::Failure, output::Output};

/// The wait before a broken watch reconnects.
const AGAIN: Duration = Duration::from_secs(2);

pub(super) async fn run(client: &Client, output: &Output, command: InboxCommand) -> Result<(), Failure> {
    client.need_session()?;
    match command {
        InboxCommand::List { all, paging } => {
            let request = v1::ListNoticesRequest {
                unread_only: !all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListNoticesResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_notices(view, &reply, all))
        }
        InboxCommand::Read { up_to } => {
            let up_to = match up_to {
                Some(number) => number,
                None => {
                    let request =
                        v1::ListNoticesRequest { unread_only: true, page_size: 1, ..Default::default() };
                    let reply: v1::ListNoticesResponse = client.call(request).await?;
                    match reply.notices.first() {
                        Some(newest) => newest.number,
                        None => {
                            return output.reply(&v1::MarkNoticesReadResponse::default(), |view| {
                                view.line("Nothing new.");
                            });
                        }
                    }
                }
            };
            let request = v1::MarkNoticesReadRequest { up_to };
            let reply: v1::MarkNoticesReadResponse = client.call(request).await?;
            output.reply(&reply, |view| show::mark_notices_read(view, &reply))
        }
        InboxCommand::Mail { address: Some(address) } => {
            let request = v1::SetMailAddressRequest { address };
            let reply: v1::SetMailAddressResponse = client.call(request).await?;
            output.reply(&reply, |view| show::set_mail_address(view, &reply))
        }
        InboxCommand::Mail { address: None } => {
            let request = v1::GetMailAddressRequest {};
            let reply: v1::GetMailAddressResponse = client.call(request).await?;
            output.reply(&reply, |view| show::get_mail_address(view, &reply))
        }
        InboxCommand::ConfirmMail { code } => {
            let request = v1::ConfirmMailAddressRequest { code };
            let reply: v1::ConfirmMailAddressResponse = client.call(request).await?;
            output.reply(&reply, |view| show::confirm_mail_address(view, &reply))
        }
        InboxCommand::ForgetMail => {
            let request = v1::DeleteMailAddressRequest {};
            let reply: v1::DeleteMailAddressResponse = client.call(request).await?;
            output.reply(&reply, |view| show::delete_mail_address(view, &reply))
        }
        InboxCommand::Watch { after } => watch(client, output, after).await,
    }
}

/// Shows all unread notices, oldest first. Returns the number of the newest notice.
async fn unread(client: &Client, output: &Output) -> Result<i64, Failure> {
    let newest = v1::ListNoticesRequest { page_size: 1, ..Default::default() };
    let newest: v1::ListNoticesResponse = client.call(newest).await?;
    let (mut notices, mut page_token) = (Vec::new(), String::new());
    loop {
        let waiting = v1::ListNoticesRequest { unread_only: true, page_size: PAGE_MAX, page_token };
        let waiting: v1::ListNoticesResponse = client.call(waiting).await?;
        notices.extend(waiting.notices);
        page_token = waiting.next_page_token;
        if page_token.is_empty() {
            break;
        }
    }
    notices.reverse();
    let reply = v1::WatchNoticesResponse { notices };
    if !reply.notices.is_empty() {
        output.reply(&reply, |view| show::watch_notices(view, &reply))?;
        output.stream(client).await;
    }
    let all = newest.notices.iter().chain(&reply.notices);
    Ok(all.map(|n| n.number).max().unwrap_or_default())
}

/// Shows notices as they arrive. After a broken connection it reconnects and resumes after the last notice.
async fn watch(client: &Client, output: &Output, after: i64) -> Result<(), Failure> {
    let mut last = after;
    let mut told = false;
    if after == 0 {
        last = unread(client, output).await?;
    }
    loop {
        let request = v1::WatchNoticesRequest { after: last };
        let begun = client.replies(request).await;
        match begun {
            Ok(mut stream) => {
                if !told {
                    output.aside("Watching; Ctrl-C ends it.");
                    told = true;
                }
                while let Ok(Some(reply)) = client.next(&mut stream).await {
                    last = reply.notices.iter().map(|n| n.number).fold(last, i64::max);
                    if !reply.notices.is_empty() {
                        output.reply(&reply, |view| show::watch_notices(view, &reply))?;
                        output.stream(client).await;
                    }
                }
            }
            Err(failure) if failure.exit_code() != 5 => return Err(failure),
            Err(_) => {}
        }
        tokio::time::sleep(AGAIN).await;
    }
}
