//! `scionary graft`: the grafting log.

use scionary_proto::v1;
use scionary_show::grafts as show;

use crate::{args::GraftCommand, client::Client, error::Failure, output::Output, prompt, words};

/// Asks for the side of the equator, because the seasons differ.
fn is_south() -> Result<bool, Failure> {
    if !prompt::can_ask() {
        return Err(Failure::usage(
            "say --north or --south: north or south of the equator, months are half a year apart",
        ));
    }
    let side = |text: &str| match text.to_lowercase().as_str() {
        "n" | "north" => Ok(false),
        "s" | "south" => Ok(true),
        other => Err(format!("north or south expected, {other:?} found")),
    };
    prompt::ask("Was that north or south of the equator", None, side)
}

pub(super) async fn run(client: &Client, output: &Output, command: GraftCommand) -> Result<(), Failure> {
    match command {
        GraftCommand::Log {
            name,
            crop,
            method,
            made,
            took,
            day,
            north,
            south,
            scion_from,
            rootstock,
            note,
        } => {
            client.need_session()?;
            let south = south || !north && is_south()?;
            let request = v1::CreateGraftsRequest {
                cultivar: name.join(" "),
                crop: words::crop(crop),
                method: method.into(),
                day,
                south,
                scion_from,
                rootstock,
                made,
                taken: took,
                note,
            };
            let reply: v1::CreateGraftsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::create_grafts(view, &reply))
        }
        GraftCommand::Report { graft, took, on } => {
            client.need_session()?;
            let request = v1::ReportTakesRequest { graft_id: graft, taken: took, seen_on: on };
            let reply: v1::ReportTakesResponse = client.call(request).await?;
            output.reply(&reply, |view| show::report_takes(view, &reply))
        }
        GraftCommand::List { open, paging } => {
            client.need_session()?;
            let request = v1::ListMyGraftsRequest {
                unreported_only: open,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMyGraftsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_my_grafts(view, &reply, open))
        }
        GraftCommand::Remove { graft } => {
            client.need_session()?;
            prompt::sure(
                client,
                &format!("Delete entry {graft} of your grafting log? It does not come back. Delete it"),
            )?;
            let request = v1::DeleteGraftsRequest { graft_id: graft };
            let reply: v1::DeleteGraftsResponse = client.call(request).await?;
            output.reply(&reply, |view| view.line(format!("Removed: {}.", reply.graft_id)))
        }
        GraftCommand::Rates { name, crop, south, sources } => {
            let request = v1::GetGraftRatesRequest { crop: words::crop(crop), cultivar: name.join(" ") };
            let reply: v1::GetGraftRatesResponse = client.call(request).await?;
            output.reply(&reply, |view| show::rates(view, &reply, south, sources))
        }
    }
}
