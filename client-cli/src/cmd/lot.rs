//! `scionary lot`.

use scionary_proto::v1;
use scionary_show::lot as show;

use super::descent;
use crate::{
    args::{LabelArguments, LotArguments, LotCommand},
    client::Client,
    error::Failure,
    output::Output,
    paper::{Label, labels},
    prompt, words,
};

pub(super) async fn run(client: &Client, output: &Output, command: LotCommand) -> Result<(), Failure> {
    if !matches!(command, LotCommand::Show { .. }) {
        client.need_session()?;
    }
    match command {
        LotCommand::Add(arguments) => {
            let request = entered(*arguments);
            let reply: v1::CreateLotResponse = client.call(request).await?;
            output.reply(&reply, |view| show::create_lot(view, &reply))
        }
        LotCommand::List { all, paging } => {
            let request = v1::ListMyLotsRequest {
                ended_too: all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMyLotsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_my_lots(view, &reply))
        }
        LotCommand::Show { code } => show(client, output, code).await,
        LotCommand::Trace { code, forward, graph } => {
            let direction = if forward { v1::TraceDirection::Forward } else { v1::TraceDirection::Back };
            let request = v1::TraceLotRequest { lot: code, direction: direction.into() };
            let reply: v1::TraceLotResponse = client.call(request).await?;
            if let Some(path) = graph {
                descent::write_graph(&path, &reply)?;
                output.aside(&format!(
                    "{} lots and {} steps are in {}.",
                    reply.lots.len(),
                    reply.links.len(),
                    path.display()
                ));
            }
            output.reply(&reply, |view| scionary_show::descent::draw(view, &reply, forward))
        }
        LotCommand::Grafted { plant, with, on } => {
            later(client, output, plant, with, v1::Descent::GraftedOnto, on).await
        }
        LotCommand::Blade { plant, after, on } => {
            later(client, output, plant, after, v1::Descent::SameBlade, on).await
        }
        LotCommand::Tested { code, pest, method, sampled_on, latency_days } => {
            let test = v1::LotTest { pest, sampled_on, latency_days, method };
            let request = v1::CreateTestRequest { lot: code, test: Some(test) };
            let reply: v1::CreateTestResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.lot.as_ref()))
        }
        LotCommand::Label(arguments) => label(client, output, *arguments).await,
        LotCommand::End { code, why, on } => {
            prompt::sure(
                client,
                &format!("End lot {code}? It stays on record but gives nothing more. End it"),
            )?;
            let request = v1::EndLotRequest { lot: code, why, on };
            let reply: v1::EndLotResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.lot.as_ref()))
        }
    }
}

fn entered(arguments: LotArguments) -> v1::CreateLotRequest {
    let LotArguments {
        kind,
        cultivar,
        crop,
        unknown_seedling,
        quantity,
        on,
        cut_from,
        seed_from,
        raised_from,
        part_of,
        scion,
        rootstock,
        source,
        note,
    } = arguments;
    let one = |lot: Option<String>, descent: v1::Descent| {
        lot.map(|lot| v1::LotOrigin { lot, descent: descent.into(), ..Default::default() })
    };
    let origins = [
        one(cut_from, v1::Descent::CutFrom),
        one(seed_from, v1::Descent::SeedFrom),
        one(raised_from, v1::Descent::RaisedFrom),
        one(part_of, v1::Descent::PartOf),
        one(rootstock, v1::Descent::RootstockOf),
    ];
    let scions = scion.into_iter().map(|lot| one(Some(lot), v1::Descent::ScionOf));
    v1::CreateLotRequest {
        kind: kind.into(),
        cultivar,
        crop: words::crop(crop),
        unknown_seedling,
        quantity,
        made_on: on,
        source,
        note,
        origins: origins.into_iter().chain(scions).flatten().collect(),
    }
}

async fn later(
    client: &Client,
    output: &Output,
    lot: String,
    from: String,
    descent: v1::Descent,
    on: Option<v1::CalendarDate>,
) -> Result<(), Failure> {
    let request = v1::NoteDescentRequest { lot, from_lot: from, descent: descent.into(), on };
    let reply: v1::NoteDescentResponse = client.call(request).await?;
    output.reply(&reply, |view| show::told(view, reply.lot.as_ref()))
}

async fn label(client: &Client, output: &Output, arguments: LabelArguments) -> Result<(), Failure> {
    let LabelArguments { codes, out, layout, copies, link } = arguments;
    let mut all = Vec::new();
    for code in codes {
        let request = v1::GetLotRequest { lot: code };
        let reply: v1::GetLotResponse = client.call(request).await?;
        let lot = reply.lot.unwrap_or_default();
        let card = lot.card.clone().unwrap_or_default();
        let origins: Vec<String> =
            card.origins.iter().map(|o| format!("{} {}", words::descent(o.descent()), o.lot)).collect();
        let plain: String = card.code.split_whitespace().collect();
        let label = Label {
            name: show::name(&card),
            code: card.code.clone(),
            what: format!("{}, {}", words::lot_kind(card.kind()), words::day(card.made_on)),
            source: if origins.is_empty() { lot.source.clone() } else { origins.join("; ") },
            scanned: format!("{link}{plain}"),
        };
        all.extend(std::iter::repeat_n(label, usize::from(copies)));
    }
    let pdf = labels(&all, layout.layout()).map_err(|e| Failure::usage(e.to_string()))?;
    std::fs::write(&out, pdf).map_err(|e| Failure::usage(format!("{}: {e}", out.display())))?;
    output.aside(&format!(
        "{} labels are in {}. Print at 100 %, not fitted to the page.",
        all.len(),
        out.display()
    ));
    Ok(())
}

/// Shows the caller's own lot in full, and the public card of any other lot.
async fn show(client: &Client, output: &Output, code: String) -> Result<(), Failure> {
    if client.is_signed_in() {
        let request = v1::GetLotRequest { lot: code.clone() };
        let own: Result<v1::GetLotResponse, Failure> = client.call(request).await;
        match own {
            Ok(reply) => {
                return output.reply(&reply, |view| show::told(view, reply.lot.as_ref()));
            }
            Err(failure) if failure.reason != "NOT_THE_HOLDER" => return Err(failure),
            Err(_) => {}
        }
    }
    let request = v1::LookUpLotRequest { code };
    let reply: v1::LookUpLotResponse = client.call(request).await?;
    output.reply(&reply, |view| show::look_up_lot(view, &reply))
}
