//! Alerts.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::CreateAlertResponse`].
pub fn create_alert(view: &mut View, reply: &v1::CreateAlertResponse) {
    view.line("Raised. Everyone it reaches is notified. It blocks nothing until a curator or an organiser confirms it.");
    view.gap();
    told(view, reply.alert.as_ref());
}

/// Shows a [`v1::ListAlertsResponse`].
pub fn list_alerts(view: &mut View, reply: &v1::ListAlertsResponse) {
    if reply.alerts.is_empty() {
        view.line("No alert is open.");
    }
    for alert in &reply.alerts {
        view.entry(&alert.alert_id, line(alert));
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::DismissAlertResponse`].
pub fn dismiss_alert(view: &mut View, _: &v1::DismissAlertResponse) {
    view.line("Dismissed: it no longer reaches anything. The member who raised it sees why.");
}

/// Shows a [`v1::WithdrawAlertResponse`].
pub fn withdraw_alert(view: &mut View, _: &v1::WithdrawAlertResponse) {
    view.line("Taken back: nothing of it is left.");
}

pub(crate) fn line(alert: &v1::Alert) -> String {
    let pest = if alert.pest.is_empty() { String::new() } else { format!(" ({})", alert.pest) };
    format!(
        "{}{pest} of {}: {} [{}]",
        words::alert_kind(alert.kind()),
        alert.lot_code,
        alert.words,
        words::alert_state(alert.state())
    )
}

/// Shows an alert and what its reader can do next.
pub fn told(view: &mut View, alert: Option<&v1::Alert>) {
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
    view.fact("confirmed", &alert.ruling);
    view.fact("lifted", &alert.lifted_why);
    view.fact("reaches", words::counted(alert.lots, "lot"));
    view.fact("yours", alert.own_lots.join(", "));
    view.gap();
    match (alert.state(), alert.may_rule, alert.is_mine) {
        (v1::AlertState::Raised, true, _) => {
            view.act("See what it reaches", Deed::AlertRecall.on(&alert.alert_id));
            view.act("Confirm it", Deed::AlertConfirm.on(&alert.alert_id));
            view.act("Dismiss it", Deed::AlertDismiss.on(&alert.alert_id));
        }
        (v1::AlertState::Raised, _, true) => {
            view.act("A false alarm? Withdraw it", Deed::AlertWithdraw.on(&alert.alert_id));
        }
        (v1::AlertState::Confirmed, _, _) => view.line(
            "Keep what it reaches apart, give none of it on, disinfect blades, and ask the plant-health authority what is to be done.",
        ),
        (_, _, _) => {}
    }
}
