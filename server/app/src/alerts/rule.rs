//! Confirming, dismissing, lifting, taking back.

use scionary_domain::{access, field::Fields, ids::AlertId, limits, lineage::AlertState};
use scionary_store::{alert_store, notice_store};

use super::{ShownAlert, TOPIC, alert_of, store};
use crate::{Done, Error, Rule, UseCase, Write, lots};

/// Bears an alert out: from now on what it reaches is not offered.
pub struct ConfirmAlert {
    /// The alert's id.
    pub id: AlertId,
    /// What was seen or tested.
    pub words: String,
    /// Whether what it may have come from counts too; as the one who raised it said if left out.
    pub trace_back: Option<bool>,
}

/// Finds that there was nothing: it goes as if it had never been.
pub struct DismissAlert {
    /// The alert's id.
    pub id: AlertId,
    /// Why: told to the one who raised it.
    pub reason: String,
}

/// Ends a confirmed alert, with its reason.
pub struct LiftAlert {
    /// The alert's id.
    pub id: AlertId,
    /// Why.
    pub reason: String,
}

/// Takes an alert back (the one who raised it): it goes as if it had never been.
pub struct WithdrawAlert {
    /// The alert's id.
    pub id: AlertId,
}

fn reason(field: &str, text: &str) -> Result<String, Error> {
    let mut fields = Fields::new();
    let reason = fields.text(field, text, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
    Ok(fields.finish(reason)?)
}

impl UseCase for ConfirmAlert {
    type Out = ShownAlert;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownAlert>, Error> {
        let account = write.call.account()?;
        let mut alert = alert_of(write.tx, self.id).await?;
        let granted = access::rule_on_alert(account, &alert.crop, alert.raised_by)?;
        if alert.state != AlertState::Raised {
            return Err(Rule::AlertNot("raised", alert.state.label()).into());
        }
        alert.ruling = reason("words", &self.words)?;
        alert.trace_back = self.trace_back.unwrap_or(alert.trace_back);
        alert.state = AlertState::Confirmed;
        store(write, &granted, &mut alert).await?;
        // lots may have been linked since it was raised
        let starts = lots::starts_of(write.tx, &alert).await?;
        alert_store::set_starts(write.tx, alert.id, &starts).await?;
        let id = alert.id;
        let out = ShownAlert::new(write.tx, write.call, alert).await?;
        Ok(Done::new(out, "alert.confirmed", id, serde_json::json!({})).and_publish(TOPIC, id))
    }
}

impl UseCase for LiftAlert {
    type Out = ShownAlert;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownAlert>, Error> {
        let account = write.call.account()?;
        let mut alert = alert_of(write.tx, self.id).await?;
        let granted = access::rule_on_alert(account, &alert.crop, alert.raised_by)?;
        if alert.state != AlertState::Confirmed {
            return Err(Rule::AlertNot("confirmed", alert.state.label()).into());
        }
        alert.lifted_why = reason("reason", &self.reason)?;
        alert.state = AlertState::Lifted;
        store(write, &granted, &mut alert).await?;
        let id = alert.id;
        let out = ShownAlert::new(write.tx, write.call, alert).await?;
        Ok(Done::new(out, "alert.lifted", id, serde_json::json!({})).and_publish(TOPIC, id))
    }
}

impl UseCase for DismissAlert {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        use scionary_domain::notice::Kind;
        let account = write.call.account()?;
        let alert = alert_of(write.tx, self.id).await?;
        let granted = access::rule_on_alert(account, &alert.crop, alert.raised_by)?;
        if alert.state != AlertState::Raised {
            return Err(Rule::AlertNot("raised", alert.state.label()).into());
        }
        let why = reason("reason", &self.reason)?;
        alert_store::remove(write.tx, &granted, alert.id).await?;
        notice_store::remove_about(write.tx, &alert.id.to_string()).await?;
        let words = format!("Your alert was looked into and found to be nothing: {why}");
        let change = serde_json::json!({ "reason": why });
        Ok(Done::new((), "alert.dismissed", alert.id, change).and_tell(
            alert.raised_by,
            Kind::Alert,
            alert.lot,
            alert.id,
            words,
        ))
    }
}

impl UseCase for WithdrawAlert {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        let account = write.call.account()?;
        let alert = alert_of(write.tx, self.id).await?;
        let granted = access::withdraw_alert(account, alert.raised_by)?;
        if alert.state != AlertState::Raised {
            // what others have confirmed is theirs to lift
            return Err(Rule::AlertNot("raised", alert.state.label()).into());
        }
        alert_store::remove(write.tx, &granted, alert.id).await?;
        notice_store::remove_about(write.tx, &alert.id.to_string()).await?;
        Ok(Done::new((), "alert.withdrawn", alert.id, serde_json::json!({})))
    }
}
