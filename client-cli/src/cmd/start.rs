//! `scionary` alone: what one can do from here.

use scionary_proto::v1;
use scionary_show::start as show;

use crate::{client::Client, error::Failure, output::Output};

pub(super) async fn start(client: &Client, output: &Output) -> Result<(), Failure> {
    let reply: v1::GetServerResponse = match client.call(v1::GetServerRequest {}).await {
        Ok(reply) => reply,
        Err(failure) => {
            let mut view = output.view();
            show::no_server(&mut view, &failure.message);
            output.show(view);
            return Ok(());
        }
    };
    let unread = if client.is_signed_in() {
        let request = v1::ListNoticesRequest { page_size: 1, ..Default::default() };
        let notices: v1::ListNoticesResponse = client.call(request).await?;
        Some(notices.unread)
    } else {
        None
    };
    let home = client.profile().await?.home.is_some();
    output.reply(&reply, |view| show::start(view, &reply, unread, home))
}
