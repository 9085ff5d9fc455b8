//! What waits for the reader to decide, gravest first.

use scionary_proto::v1;

use crate::{Deed, View, alert, curation};

/// Shows alerts, then complaints, then proposals. Each has its number and the commands that decide it.
pub fn waiting(
    view: &mut View,
    alerts: &v1::ListAlertsResponse,
    tickets: &v1::ListTicketsResponse,
    proposals: &v1::ListProposalsResponse,
) {
    if alerts.alerts.is_empty() && tickets.tickets.is_empty() && proposals.proposals.is_empty() {
        view.line("Nothing waits for you.");
        return;
    }
    if !alerts.alerts.is_empty() {
        view.title("Alerts: sick or wrongly named plants");
        for one in &alerts.alerts {
            view.entry(&one.alert_id, alert::line(one));
        }
        view.act("Look at one", Deed::AlertShow.bare());
        view.act("Confirm it", Deed::AlertConfirm.bare());
        view.act("Or dismiss it", Deed::AlertDismiss.bare());
        view.gap();
    }
    if !tickets.tickets.is_empty() {
        view.title("Complaints");
        tickets.tickets.iter().for_each(|ticket| curation::ticket(view, ticket));
        view.act("Close one", Deed::ReportClose.bare());
        view.gap();
    }
    if !proposals.proposals.is_empty() {
        view.title("Proposals");
        curation::list(view, &proposals.proposals);
    }
}
