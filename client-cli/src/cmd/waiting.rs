//! `scionary waiting`: what waits for a decision, gravest first.

use scionary_proto::v1;
use scionary_show::waiting as show;

use super::PAGE_MAX;
use crate::{client::Client, error::Failure, output::Output};

pub(super) async fn waiting(client: &Client, output: &Output) -> Result<(), Failure> {
    client.need_session()?;
    let me: v1::WhoAmIResponse = client.call(v1::WhoAmIRequest {}).await?;
    let roles = me.account.map(|account| account.roles).unwrap_or_default();
    let steward = roles.iter().any(|role| role.role() == v1::Role::Steward);
    let crops: Vec<&str> =
        roles.iter().filter(|r| r.role() == v1::Role::Curator).map(|r| r.crop.as_str()).collect();

    let request = v1::ListAlertsRequest { to_rule_on: true, page_size: PAGE_MAX, ..Default::default() };
    let alerts: v1::ListAlertsResponse = client.call(request).await?;
    let tickets = if steward || !crops.is_empty() {
        let request = v1::ListTicketsRequest { open_only: true, page_size: PAGE_MAX, ..Default::default() };
        client.call(request).await?
    } else {
        v1::ListTicketsResponse::default()
    };
    // Those that the caller may decide: a curator those of their crops, a steward all.
    let crops = if steward { vec![""] } else { crops };
    let mut proposals = v1::ListProposalsResponse::default();
    for crop in crops {
        let request = v1::ListProposalsRequest {
            crop: crop.into(),
            state: v1::ProposalState::Open.into(),
            page_size: PAGE_MAX,
            ..Default::default()
        };
        let of_crop: v1::ListProposalsResponse = client.call(request).await?;
        proposals.proposals.extend(of_crop.proposals);
    }
    if output.is_json() {
        output.reply(&alerts, |_| {})?;
        output.reply(&tickets, |_| {})?;
        return output.reply(&proposals, |_| {});
    }
    let mut view = output.view();
    show::waiting(&mut view, &alerts, &tickets, &proposals);
    output.show(view);
    Ok(())
}
