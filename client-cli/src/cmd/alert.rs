//! Alerts.

use std::collections::BTreeMap;

use scionary_proto::v1;
use scionary_show::View;

use crate::{
    args::{AlertCommand, RaiseArguments},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

pub(super) async fn run(client: &Client, output: &Output, command: AlertCommand) -> Result<(), Failure> {
    client.need_session()?;
    match command {
        AlertCommand::Raise(arguments) => {
            let RaiseArguments { code, kind, words, pest, part, carrier, since, seen_on, trace_back } =
                *arguments;
            let request = v1::RaiseAlertRequest {
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
            let reply: v1::RaiseAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("Raised. Those whom it reaches are told; it blocks nothing until a curator or an organiser confirms it.");
                view.gap();
                told(view, reply.alert.as_ref());
            })
        }
        AlertCommand::List { to_rule_on, all, paging } => {
            let request = v1::ListAlertsRequest {
                to_rule_on,
                lifted_too: all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListAlertsResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if reply.alerts.is_empty() {
                    view.line("No alert is open.");
                }
                for alert in &reply.alerts {
                    view.item(0, "-", line(alert));
                    view.item(2, "", &alert.alert_id);
                }
                view.more(&reply.next_page_token);
            })
        }
        AlertCommand::Show { alert } => {
            let request = v1::GetAlertRequest { alert_id: alert };
            let reply: v1::GetAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| told(view, reply.alert.as_ref()))
        }
        AlertCommand::Confirm { alert, words, trace_back } => {
            let request = v1::ConfirmAlertRequest { alert_id: alert, words, trace_back };
            let reply: v1::ConfirmAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| told(view, reply.alert.as_ref()))
        }
        AlertCommand::Dismiss { alert, reason } => {
            let request = v1::DismissAlertRequest { alert_id: alert, reason };
            let reply: v1::DismissAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("Dismissed: nothing of it is left. The one who raised it is told why.");
            })
        }
        AlertCommand::Lift { alert, reason } => {
            let request = v1::LiftAlertRequest { alert_id: alert, reason };
            let reply: v1::LiftAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| told(view, reply.alert.as_ref()))
        }
        AlertCommand::Withdraw { alert } => {
            let request = v1::WithdrawAlertRequest { alert_id: alert };
            let reply: v1::WithdrawAlertResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("Taken back: nothing of it is left.");
            })
        }
        AlertCommand::Recall { alert, out } => recall(client, output, alert, out).await,
    }
}

fn line(alert: &v1::Alert) -> String {
    let pest = if alert.pest.is_empty() { String::new() } else { format!(" ({})", alert.pest) };
    format!(
        "{}{pest} of {}: {} [{}]",
        words::alert_kind(alert.kind()),
        alert.lot_code,
        alert.words,
        words::alert_state(alert.state())
    )
}

fn told(view: &mut View, alert: Option<&v1::Alert>) {
    let Some(alert) = alert else { return };
    view.title(format!("Alert of {} on {}", words::alert_kind(alert.kind()), alert.lot_code));
    view.fact("alert", &alert.alert_id);
    view.fact("state", words::alert_state(alert.state()));
    view.fact("seen", format!("{}: {}", words::day(alert.seen_on), alert.words));
    view.fact("pest", &alert.pest);
    view.fact("sick since", words::day(alert.since));
    if alert.kind() == v1::AlertKind::Health {
        let all: Vec<String> = alert.carriers().map(words::carrier).collect();
        view.fact("carried by", all.join(", "));
        view.fact(
            "looks back",
            if alert.trace_back { "yes: sources and what came of them count too" } else { "no" },
        );
    } else {
        view.fact("part", words::part(alert.part()));
    }
    view.fact("raised by", &alert.raised_by);
    view.fact("borne out", &alert.ruling);
    view.fact("lifted", &alert.lifted_why);
    view.fact("reaches", words::counted(alert.lots, "lot"));
    view.fact("yours", alert.own_lots.join(", "));
    view.gap();
    match (alert.state(), alert.may_rule, alert.is_mine) {
        (v1::AlertState::Raised, true, _) => view.note(format!(
            "See what it reaches: scionary alert recall {0}. Then: scionary alert confirm {0} --words \"WHAT WAS SEEN\", or dismiss {0} --reason \"WHY\"",
            alert.alert_id
        )),
        (v1::AlertState::Raised, _, true) => {
            view.note(format!("A false alarm? scionary alert withdraw {}", alert.alert_id));
        }
        (v1::AlertState::Confirmed, _, _) => view.line(
            "Keep what it reaches apart, give none of it on, disinfect blades, and ask the plant-health authority what is to be done.",
        ),
        (_, _, _) => {}
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
        let failed = |e: String| Failure::usage(format!("{}: {e}", path.display()));
        let mut file = csv::Writer::from_path(&path).map_err(|e| failed(e.to_string()))?;
        let head = ["code", "kind", "cultivar", "holder", "since", "nothing_left_on", "reached_by"];
        file.write_record(head).map_err(|e| failed(e.to_string()))?;
        for lot in &all.lots {
            let row = [
                lot.code.clone(),
                words::lot_kind(lot.kind()),
                lot.cultivar_name.clone(),
                lot.holder_name.clone(),
                words::day(lot.since),
                words::day(lot.ended_on),
                chain(lot),
            ];
            file.write_record(row).map_err(|e| failed(e.to_string()))?;
        }
        file.flush().map_err(|e| failed(e.to_string()))?;
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
