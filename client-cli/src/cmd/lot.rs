//! Lots.

use scionary_proto::v1;
use scionary_show::View;

use super::descent;
use crate::{
    args::{LabelArguments, LotArguments, LotCommand},
    client::Client,
    error::Failure,
    output::Output,
    paper::{Label, labels},
    words,
};

pub(super) async fn run(client: &Client, output: &Output, command: LotCommand) -> Result<(), Failure> {
    if !matches!(command, LotCommand::Show { .. }) {
        client.need_session()?;
    }
    match command {
        LotCommand::Add(arguments) => {
            let request = entered(*arguments);
            let reply: v1::RecordLotResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if let Some(card) = reply.lot.as_ref().and_then(|l| l.card.as_ref()) {
                    view.answer(format!("Write on its tag: {}", card.code));
                    view.gap();
                }
                told(view, reply.lot.as_ref());
            })
        }
        LotCommand::List { all, paging } => {
            let request = v1::ListMyLotsRequest {
                ended_too: all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMyLotsResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if reply.lots.is_empty() {
                    view.line("No lot of yours is on file. Enter one with: scionary lot add KIND. What you get from others is entered when it is handed over.");
                }
                for card in reply.lots.iter().filter_map(|l| l.card.as_ref()) {
                    line(view, card);
                }
                view.more(&reply.next_page_token);
            })
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
            output.reply(&reply, |view| descent::draw(view, &reply, forward))
        }
        LotCommand::Grafted { plant, with, on } => {
            later(client, output, plant, with, v1::Descent::GraftedOnto, on).await
        }
        LotCommand::Blade { plant, after, on } => {
            later(client, output, plant, after, v1::Descent::SameBlade, on).await
        }
        LotCommand::Tested { code, pest, method, sampled_on, latency_days } => {
            let test = v1::LotTest { pest, sampled_on, latency_days, method };
            let request = v1::RecordTestRequest { lot: code, test: Some(test) };
            let reply: v1::RecordTestResponse = client.call(request).await?;
            output.reply(&reply, |view| told(view, reply.lot.as_ref()))
        }
        LotCommand::Label(arguments) => label(client, output, *arguments).await,
        LotCommand::End { code, why, on } => {
            let request = v1::EndLotRequest { lot: code, why, on };
            let reply: v1::EndLotResponse = client.call(request).await?;
            output.reply(&reply, |view| told(view, reply.lot.as_ref()))
        }
    }
}

fn entered(arguments: LotArguments) -> v1::RecordLotRequest {
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
    v1::RecordLotRequest {
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
    on: Option<v1::Date>,
) -> Result<(), Failure> {
    let request = v1::NoteDescentRequest { lot, from, descent: descent.into(), on };
    let reply: v1::NoteDescentResponse = client.call(request).await?;
    output.reply(&reply, |view| told(view, reply.lot.as_ref()))
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
            name: name(&card),
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

/// One's own lot in full; of others the card.
async fn show(client: &Client, output: &Output, code: String) -> Result<(), Failure> {
    if client.is_signed_in() {
        let request = v1::GetLotRequest { lot: code.clone() };
        let own: Result<v1::GetLotResponse, Failure> = client.call(request).await;
        match own {
            Ok(reply) => {
                return output.reply(&reply, |view| told(view, reply.lot.as_ref()));
            }
            Err(failure) if failure.reason != "NOT_THE_HOLDER" => return Err(failure),
            Err(_) => {}
        }
    }
    let request = v1::LookUpLotRequest { code };
    let reply: v1::LookUpLotResponse = client.call(request).await?;
    output.reply(&reply, |view| {
        if let Some(card) = &reply.card {
            carded(view, card);
        }
    })
}

/// A lot's name, or that nobody knows it.
fn name(card: &v1::LotCard) -> String {
    if card.cultivar_name.is_empty() {
        format!("{} of unknown name", card.crop)
    } else {
        card.cultivar_name.clone()
    }
}

fn line(view: &mut View, card: &v1::LotCard) {
    let ended = if card.ended_on.is_some() { "; nothing left" } else { "" };
    let warned = if card.warnings.is_empty() { "" } else { "; AN ALERT REACHES IT" };
    view.item(
        0,
        "-",
        format!(
            "{}  {} of {}, {}{ended}{warned}",
            card.code,
            words::lot_kind(card.kind()),
            name(card),
            words::day(card.made_on)
        ),
    );
}

fn carded(view: &mut View, card: &v1::LotCard) {
    view.title(format!("{}  {} of {}", card.code, words::lot_kind(card.kind()), name(card)));
    view.fact("made", words::day(card.made_on));
    for origin in &card.origins {
        let known = if origin.cultivar_name.is_empty() { "of unknown name" } else { &origin.cultivar_name };
        view.fact(
            words::descent(origin.descent()),
            format!(
                "{} ({}, {known}), {}",
                origin.lot,
                words::lot_kind(origin.kind()),
                words::day(origin.day)
            ),
        );
    }
    view.fact("nothing left", words::day(card.ended_on));
    for warning in &card.warnings {
        view.gap();
        let since = warning.since.map(|day| format!(", since {}", words::day(Some(day)))).unwrap_or_default();
        let pest = if warning.pest.is_empty() { String::new() } else { format!(" ({})", warning.pest) };
        view.answer(format!(
            "An alert of {}{pest} reaches it{since} [{}].",
            words::alert_kind(warning.kind()),
            words::alert_state(warning.state())
        ));
        view.item(2, "", &warning.words);
        view.item(2, "", &warning.alert_id);
        if warning.state() == v1::AlertState::Confirmed {
            view.line(
                "Keep it apart, give none of it on, and ask the plant-health authority what is to be done.",
            );
        }
    }
}

fn told(view: &mut View, lot: Option<&v1::Lot>) {
    let Some((lot, card)) = lot.and_then(|l| Some((l, l.card.as_ref()?))) else { return };
    carded(view, card);
    view.fact("how much", &if lot.quantity == 0 { String::new() } else { lot.quantity.to_string() });
    view.fact("source", &lot.source);
    view.fact("why ended", &lot.ended_why);
    view.fact("your note", &lot.note);
    view.fact("came by claim", &lot.claim_id);
    for test in &lot.tests {
        view.fact(
            "found nothing",
            format!("{}, sampled {}, {}", test.pest, words::day(test.sampled_on), test.method),
        );
    }
    if card.ended_on.is_none() {
        view.gap();
        view.note(format!(
            "What it comes from: scionary lot trace \"{0}\". To offer some of it: scionary offer post --lot \"{0}\". If it is sick or misnamed: scionary alert raise \"{0}\"",
            card.code
        ));
    }
}
