//! `scionary want`.

use scionary_proto::v1;
use scionary_show::want as show;

use crate::{
    args::{WantArguments, WantCommand},
    client::Client,
    error::Failure,
    home,
    output::Output,
    words,
};

pub(super) async fn run(client: &Client, output: &Output, command: WantCommand) -> Result<(), Failure> {
    if !matches!(command, WantCommand::Search { .. }) {
        client.need_session()?;
    }
    match command {
        WantCommand::Add(arguments) => {
            let request = v1::CreateWantRequest { want: Some(draft(client, *arguments).await?) };
            let reply: v1::CreateWantResponse = client.call(request).await?;
            output.reply(&reply, |view| show::create_want(view, &reply))
        }
        WantCommand::List { all, paging } => {
            let request = v1::ListMyWantsRequest {
                closed_too: all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMyWantsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_my_wants(view, &reply))
        }
        WantCommand::Withdraw { want } => {
            let request = v1::WithdrawWantRequest { want_id: want };
            let reply: v1::WithdrawWantResponse = client.call(request).await?;
            output.reply(&reply, |view| view.line("Taken back."))
        }
        WantCommand::Search { crop, material, near, within, paging } => {
            let request = v1::SearchWantsRequest {
                crop: words::crop(Some(crop)),
                materials: material.into_iter().map(i32::from).collect(),
                near_grid_code: near.unwrap_or_default(),
                within_km: within.unwrap_or(0),
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::SearchWantsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::search_wants(view, &reply))
        }
    }
}

async fn draft(client: &Client, arguments: WantArguments) -> Result<v1::WantDraft, Failure> {
    let WantArguments {
        cultivar,
        crop,
        comes_true,
        ripe_in,
        traits,
        material,
        near,
        within,
        to,
        until,
        note,
    } = arguments;
    Ok(v1::WantDraft {
        cultivar,
        crop: words::crop(crop),
        comes_true,
        ripe_in_months: ripe_in,
        traits,
        materials: material.into_iter().map(i32::from).collect(),
        near_grid_code: home::cell(client, near, "--near").await?,
        within_km: within,
        to_area_code: home::area(client, to, "--to").await?,
        until,
        note,
    })
}
