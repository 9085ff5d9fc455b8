//! Rounds as their members see them.

use scionary_proto::v1;
use scionary_show::round::show;

use crate::{args::Paging, client::Client, error::Failure, output::Output};

pub(super) async fn list(
    client: &Client,
    output: &Output,
    club: String,
    all: bool,
    paging: Paging,
) -> Result<(), Failure> {
    let request = v1::ListRoundsRequest {
        club_id: club,
        open_only: !all,
        page_size: paging.page_size,
        page_token: paging.page,
    };
    let reply: v1::ListRoundsResponse = client.call(request).await?;
    output.reply(&reply, |view| show::list_rounds(view, &reply))
}

pub(super) async fn lots(
    client: &Client,
    output: &Output,
    round: String,
    left_only: bool,
    paging: Paging,
) -> Result<(), Failure> {
    let request = v1::ListRoundLotsRequest {
        round_id: round,
        left_only,
        page_size: paging.page_size,
        page_token: paging.page,
    };
    let reply: v1::ListRoundLotsResponse = client.call(request).await?;
    output.reply(&reply, |view| show::list_round_lots(view, &reply, left_only))
}

pub(super) async fn mine(
    client: &Client,
    output: &Output,
    round: String,
    every_lot: bool,
) -> Result<(), Failure> {
    let request = v1::GetMyRoundRequest { round_id: round };
    let reply: v1::GetMyRoundResponse = client.call(request).await?;
    output.reply(&reply, |view| show::get_my_round(view, &reply, every_lot))
}
