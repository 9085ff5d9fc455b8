//! Alerts.

use std::pin::Pin;

use futures_util::Stream;
use scionary_app::{App, alerts::ListAlerts};
use scionary_proto::v1::{self, alert_service_server::AlertService};
use tonic::{Request, Response, Status};

use crate::{
    call::Admitted,
    convert::{count, lot as convert},
};

/// Lots in one chunk of a recall.
const CHUNK: usize = 500;

/// Answers `AlertService`.
pub struct AlertRpc(pub App);

#[tonic::async_trait]
impl AlertService for AlertRpc {
    async fn raise_alert(
        &self,
        request: Request<v1::RaiseAlertRequest>,
    ) -> Result<Response<v1::RaiseAlertResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        admitted
            .write(&self.0, &request, convert::raise(request.clone()), |alert| v1::RaiseAlertResponse {
                alert: Some(convert::alert(alert)),
            })
            .await
    }

    async fn confirm_alert(
        &self,
        request: Request<v1::ConfirmAlertRequest>,
    ) -> Result<Response<v1::ConfirmAlertResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        admitted
            .write(&self.0, &request, convert::confirm(request.clone()), |alert| v1::ConfirmAlertResponse {
                alert: Some(convert::alert(alert)),
            })
            .await
    }

    async fn dismiss_alert(
        &self,
        request: Request<v1::DismissAlertRequest>,
    ) -> Result<Response<v1::DismissAlertResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        admitted
            .write(&self.0, &request, convert::dismiss(request.clone()), |()| v1::DismissAlertResponse {})
            .await
    }

    async fn lift_alert(
        &self,
        request: Request<v1::LiftAlertRequest>,
    ) -> Result<Response<v1::LiftAlertResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        admitted
            .write(&self.0, &request, convert::lift(request.clone()), |alert| v1::LiftAlertResponse {
                alert: Some(convert::alert(alert)),
            })
            .await
    }

    async fn withdraw_alert(
        &self,
        request: Request<v1::WithdrawAlertRequest>,
    ) -> Result<Response<v1::WithdrawAlertResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        admitted
            .write(&self.0, &request, convert::withdraw(&request), |()| v1::WithdrawAlertResponse {})
            .await
    }

    async fn get_alert(
        &self,
        request: Request<v1::GetAlertRequest>,
    ) -> Result<Response<v1::GetAlertResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let id = App::alert_id(&request.into_inner().alert_id).map_err(fail)?;
        let shown = self.0.alert(&admitted.call(), id).await.map_err(fail)?;
        Ok(Response::new(v1::GetAlertResponse { alert: Some(convert::alert(&shown)) }))
    }

    async fn list_alerts(
        &self,
        request: Request<v1::ListAlertsRequest>,
    ) -> Result<Response<v1::ListAlertsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListAlertsRequest { to_rule_on, lifted_too, page_size, page_token } = request.into_inner();
        let which = if to_rule_on { ListAlerts::ToRuleOn } else { ListAlerts::Mine };
        let page = self.0.alerts(&admitted.call(), which, lifted_too, page_size, &page_token).await;
        let page = page.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListAlertsResponse {
            alerts: page.rows.iter().map(convert::alert).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    type RecallAlertStream = Pin<Box<dyn Stream<Item = Result<v1::RecallAlertResponse, Status>> + Send>>;

    async fn recall_alert(
        &self,
        request: Request<v1::RecallAlertRequest>,
    ) -> Result<Response<Self::RecallAlertStream>, Status> {
        let admitted = Admitted::of(&request)?;
        let fail = |e| admitted.fail(e);
        let id = App::alert_id(&request.into_inner().alert_id).map_err(fail)?;
        let reach = self.0.recall(&admitted.call(), id).await.map_err(fail)?;
        let app = self.0.clone();
        let stream = futures_util::stream::try_unfold(0, move |skip| {
            let (app, admitted, reach) = (app.clone(), admitted.clone(), reach.clone());
            async move {
                if skip > 0 && skip >= reach.count() {
                    return Ok(None);
                }
                let rows = app.recall_rows(&reach, skip, CHUNK).await.map_err(|e| admitted.fail(e))?;
                let chunk = v1::RecallAlertResponse {
                    lots_total: count(reach.count()),
                    is_whole: reach.is_whole,
                    lots: rows.iter().map(convert::reached).collect(),
                };
                Ok(Some((chunk, skip + CHUNK)))
            }
        });
        Ok(Response::new(Box::pin(stream)))
    }
}
