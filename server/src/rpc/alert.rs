//! Alerts.

use scionary_app::{App, alerts::ListAlerts};
use scionary_proto::v1;

use crate::{
    call::Admitted,
    convert::{count, lot as convert},
    dispatch::{Encoded, RepliesOf},
    site::Site,
    status::Failure,
};

/// Lots in one chunk of a recall.
const CHUNK: usize = 500;

pub(crate) async fn create_alert(
    site: &Site,
    call: &Admitted,
    request: v1::CreateAlertRequest,
) -> Result<Encoded<v1::CreateAlertResponse>, Failure> {
    call.write(&site.app, convert::raise(request), |alert| v1::CreateAlertResponse {
        alert: Some(convert::alert(alert)),
    })
    .await
}

pub(crate) async fn confirm_alert(
    site: &Site,
    call: &Admitted,
    request: v1::ConfirmAlertRequest,
) -> Result<Encoded<v1::ConfirmAlertResponse>, Failure> {
    call.write(&site.app, convert::confirm(request), |alert| v1::ConfirmAlertResponse {
        alert: Some(convert::alert(alert)),
    })
    .await
}

pub(crate) async fn dismiss_alert(
    site: &Site,
    call: &Admitted,
    request: v1::DismissAlertRequest,
) -> Result<Encoded<v1::DismissAlertResponse>, Failure> {
    call.write(&site.app, convert::dismiss(request), |()| v1::DismissAlertResponse {}).await
}

pub(crate) async fn lift_alert(
    site: &Site,
    call: &Admitted,
    request: v1::LiftAlertRequest,
) -> Result<Encoded<v1::LiftAlertResponse>, Failure> {
    call.write(&site.app, convert::lift(request), |alert| v1::LiftAlertResponse {
        alert: Some(convert::alert(alert)),
    })
    .await
}

pub(crate) async fn withdraw_alert(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawAlertRequest,
) -> Result<Encoded<v1::WithdrawAlertResponse>, Failure> {
    call.write(&site.app, convert::withdraw(&request), |()| v1::WithdrawAlertResponse {}).await
}

pub(crate) async fn get_alert(
    site: &Site,
    call: &Admitted,
    request: v1::GetAlertRequest,
) -> Result<v1::GetAlertResponse, Failure> {
    let id = App::id(&request.alert_id)?;
    let shown = site.app.alert(call, id).await?;
    Ok(v1::GetAlertResponse { alert: Some(convert::alert(&shown)) })
}

pub(crate) async fn list_alerts(
    site: &Site,
    call: &Admitted,
    request: v1::ListAlertsRequest,
) -> Result<v1::ListAlertsResponse, Failure> {
    let v1::ListAlertsRequest { to_rule_on, lifted_too, page_size, page_token } = request;
    let which = if to_rule_on { ListAlerts::ToRuleOn } else { ListAlerts::Mine };
    let page = site.app.alerts(call, which, lifted_too, page_size, &page_token).await;
    let page = page?;
    Ok(v1::ListAlertsResponse {
        alerts: page.rows.iter().map(convert::alert).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn recall_alert(
    site: &Site,
    call: &Admitted,
    request: v1::RecallAlertRequest,
) -> Result<RepliesOf<v1::RecallAlertRequest>, Failure> {
    let id = App::id(&request.alert_id)?;
    let reach = site.app.recall(call, id).await?;
    let app = site.app.clone();
    let stream = futures_util::stream::try_unfold(0, move |skip| {
        let (app, reach) = (app.clone(), reach.clone());
        async move {
            if skip > 0 && skip >= reach.count() {
                return Ok(None);
            }
            let rows = app.recall_rows(&reach, skip, CHUNK).await?;
            let chunk = v1::RecallAlertResponse {
                lots_total: count(reach.count()),
                is_whole: reach.is_whole,
                lots: rows.iter().map(convert::reached).collect(),
            };
            Ok(Some((chunk, skip + CHUNK)))
        }
    });
    Ok(Box::pin(stream))
}
