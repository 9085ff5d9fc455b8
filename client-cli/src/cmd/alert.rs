//! Alerts.

use std::collections::BTreeMap;

use scionary_proto::v1;

use super::more;
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
            output.reply(&reply, |out| {
                out.text("Raised. Those whom it reaches are told; it blocks nothing until a curator or an organiser confirms it.");
                out.gap();
                told(out, reply.alert.as_ref());
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
            output.reply(&reply, |out| {
                if reply.alerts.is_empty() {
                    out.text("No alert is open.");
                }
                for alert in &reply.alerts {
                    out.item(0, "-", &line(alert));
                    out.item(2, "", &alert.alert_id);
                }
                more(out, &reply.next_page_token);
            })
        }
        AlertCommand::Show { alert } => {
            let request = v1::GetAlertRequest { alert_id: alert };
            let reply: v1::GetAlertResponse = client.call(request).await?;
            output.reply(&reply, |out| told(out, reply.alert.as_ref()))
        }
        AlertCommand::Confirm { alert, words, trace_back } => {
            let request = v1::ConfirmAlertRequest { alert_id: alert, words, trace_back };
            let reply: v1::ConfirmAlertResponse = client.call(request).await?;
            output.reply(&reply, |out| told(out, reply.alert.as_ref()))
        }
        AlertCommand::Dismiss { alert, reason } => {
            let request = v1::DismissAlertRequest { alert_id: alert, reason };
            let reply: v1::DismissAlertResponse = client.call(request).await?;
            output.reply(&reply, |out| {
                out.text("Dismissed: nothing of it is left. The one who raised it is told why.");
            })
        }
        AlertCommand::Lift { alert, reason } => {
            let request = v1::LiftAlertRequest { alert_id: alert, reason };
            let reply: v1::LiftAlertResponse = client.call(request).await?;
            output.reply(&reply, |out| told(out, reply.alert.as_ref()))
        }
        AlertCommand::Withdraw { alert } => {
            let request = v1::WithdrawAlertRequest { alert_id: alert };
            let reply: v1::WithdrawAlertResponse = client.call(request).await?;
            output.reply(&reply, |out| {
                out.text("Taken back: nothing of it is left.");
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

fn told(out: &Output, alert: Option<&v1::Alert>) {
    let Some(alert) = alert else { return };
    out.heading(&format!("Alert of {} on {}", words::alert_kind(alert.kind()), alert.lot_code));
    out.field("alert", &alert.alert_id);
    out.field("state", &words::alert_state(alert.state()));
    out.field("seen", &format!("{}: {}", words::day(alert.seen_on), alert.words));
    out.field("pest", &alert.pest);
    out.field("sick since", &words::day(alert.since));
    if alert.kind() == v1::AlertKind::Health {
        let all: Vec<String> = alert.carriers().map(words::carrier).collect();
        out.field("carried by", &all.join(", "));
        out.field(
            "looks back",
            if alert.trace_back { "yes: sources and what came of them count too" } else { "no" },
        );
    } else {
        out.field("part", &words::part(alert.part()));
    }
    out.field("raised by", &alert.raised_by);
    out.field("borne out", &alert.ruling);
    out.field("lifted", &alert.lifted_why);
    out.field("reaches", &words::counted(alert.lots, "lot"));
    out.field("yours", &alert.own_lots.join(", "));
    out.gap();
    match (alert.state(), alert.may_rule, alert.is_mine) {
        (v1::AlertState::Raised, true, _) => out.faint(&format!(
            "See what it reaches: scionary alert recall {0}. Then: scionary alert confirm {0} --words \"WHAT WAS SEEN\", or dismiss {0} --reason \"WHY\"",
            alert.alert_id
        )),
        (v1::AlertState::Raised, _, true) => {
            out.faint(&format!("A false alarm? scionary alert withdraw {}", alert.alert_id));
        }
        (v1::AlertState::Confirmed, _, _) => out.text(
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
    output.reply(&all, |out| {
        out.heading(&format!("It reaches {}", words::counted(all.lots_total, "lot")));
        let mut holders: BTreeMap<&str, Vec<&v1::ReachedLot>> = BTreeMap::new();
        for lot in &all.lots {
            holders.entry(&lot.holder_name).or_default().push(lot);
        }
        for (holder, lots) in holders {
            out.gap();
            out.text(&format!("{holder}:"));
            for lot in lots {
                let since = lot.since.map(|d| format!(", since {}", words::day(Some(d)))).unwrap_or_default();
                let left = if lot.ended_on.is_some() { ", nothing left" } else { "" };
                let (kind, name) = (words::lot_kind(lot.kind()), &lot.cultivar_name);
                out.item(0, "-", &format!("{}  {kind} {name}{since}{left}", lot.code));
                if lot.chain.len() > 1 {
                    out.item(2, "", &format!("by {}", chain(lot)));
                }
            }
        }
        if !all.is_whole {
            out.gap();
            out.text("This is not all: a trace visits so many lots at most.");
        }
    })
}
