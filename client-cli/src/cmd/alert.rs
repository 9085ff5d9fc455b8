//! `scionary alert`.

use std::collections::BTreeMap;

use scionary_proto::v1;
use scionary_show::alert as show;

use crate::{
    args::{AlertCommand, RaiseArguments},
    client::Client,
    error::Failure,
    output::Output,
    table, words,
};

pub(super) async fn run(client: &Client, output: &Output, command: AlertCommand) -> Result<(), Failure> {
    client.need_session()?;
    match command {
        AlertCommand::Raise(arguments) => {
            let RaiseArguments { code, kind, words, pest, part, carrier, since, seen_on, trace_back } =
                *arguments;
            let request = v1::CreateAlertRequest {
                lot: code,
                kind: kind.into(),
                part: part.unwrap_or_default().into(),
                words,
                pest,
                carriers: carrier.into_iter().map(Into::into).collect(),
                since,
                seen_on,
                trace_back,
            };
            let reply: v1::CreateAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| show::create_alert(view, &reply))
        }
        AlertCommand::List { to_rule_on, all, paging } => {
            let request = v1::ListAlertsRequest {
                to_rule_on,
                lifted_too: all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListAlertsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_alerts(view, &reply))
        }
        AlertCommand::Show { alert } => {
            let request = v1::GetAlertRequest { alert_id: alert };
            let reply: v1::GetAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.alert.as_ref()))
        }
        AlertCommand::Confirm { alert, words, trace_back } => {
            let request = v1::ConfirmAlertRequest { alert_id: alert, words, trace_back };
            let reply: v1::ConfirmAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.alert.as_ref()))
        }
        AlertCommand::Dismiss { alert, reason } => {
            let request = v1::DismissAlertRequest { alert_id: alert, reason };
            let reply: v1::DismissAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| show::dismiss_alert(view, &reply))
        }
        AlertCommand::Lift { alert, reason } => {
            let request = v1::LiftAlertRequest { alert_id: alert, reason };
            let reply: v1::LiftAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.alert.as_ref()))
        }
        AlertCommand::Withdraw { alert } => {
            let request = v1::WithdrawAlertRequest { alert_id: alert };
            let reply: v1::WithdrawAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| show::withdraw_alert(view, &reply))
        }
        AlertCommand::Recall { alert, out } => recall(client, output, alert, out).await,
    }
}

async fn recall(
    client: &Client,
    output: &Output,
    alert: String,
    path: Option<std::path::PathBuf>,
) -> Result<(), Failure> {
    let request = v1::RecallAlertRequest { alert_id: alert };
    let mut stream = client.replies(request).await?;
    let mut all = v1::RecallAlertResponse::default();
    while let Some(chunk) = client.next(&mut stream).await? {
        (all.lots_total, all.is_whole) = (chunk.lots_total, chunk.is_whole);
        all.lots.extend(chunk.lots);
    }
    let codes: BTreeMap<&str, &str> = all.lots.iter().map(|l| (l.lot_id.as_str(), l.code.as_str())).collect();
    let chain = |lot: &v1::ReachedLot| {
        let by: Vec<&str> =
            lot.chain.iter().map(|id| codes.get(id.as_str()).copied().unwrap_or("?")).collect();
        by.join(" > ")
    };
    if let Some(path) = path {
        let head = ["code", "kind", "cultivar", "holder", "since", "nothing_left_on", "reached_by"];
        let rows = all.lots.iter().map(|lot| {
            vec![
                lot.code.clone(),
                words::lot_kind(lot.kind()),
                lot.cultivar_name.clone(),
                lot.holder_name.clone(),
                words::day(lot.since),
                words::day(lot.ended_on),
                chain(lot),
            ]
        });
        table::write(&path, &head, rows)?;
        output.aside(&format!("{} lots are in {}.", all.lots.len(), path.display()));
        return Ok(());
    }
    output.reply(&all, |view| {
        view.title(format!("It reaches {}", words::counted(all.lots_total, "lot")));
        let mut holders: BTreeMap<&str, Vec<&v1::ReachedLot>> = BTreeMap::new();
        for lot in &all.lots {
            holders.entry(&lot.holder_name).or_default().push(lot);
        }
        for (holder, lots) in holders {
            view.gap();
            view.line(format!("{holder}:"));
            for lot in lots {
                let since = lot.since.map(|d| format!(", since {}", words::day(Some(d)))).unwrap_or_default();
                let left = if lot.ended_on.is_some() { ", nothing left" } else { "" };
                let (kind, name) = (words::lot_kind(lot.kind()), &lot.cultivar_name);
                view.item(0, "-", format!("{}  {kind} {name}{since}{left}", lot.code));
                if lot.chain.len() > 1 {
                    view.item(2, "", format!("by {}", chain(lot)));
                }
            }
        }
        if !all.is_whole {
            view.gap();
            view.line("This is not all: a trace visits so many lots at most.");
        }
    })
}
