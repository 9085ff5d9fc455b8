//! Alerts: raised by a holder, confirmed by others, told to everyone whom they reach, lifted or withdrawn.

mod raise;
mod reach;
mod read;
mod rule;
mod tell;

pub use raise::RaiseAlert;
pub use reach::{Reached, Reaching};
pub use read::{ListAlerts, ShownAlert};
pub use rule::{ConfirmAlert, DismissAlert, LiftAlert, WithdrawAlert};

use scionary_domain::{
    access::{ChangeAlert, Granted},
    ids::{AlertId, LotId},
    lineage::{Alert, AlertState},
};
use scionary_store::{Source, StoreError, alert_store};

use crate::{Error, Rule, Write};

/// The outbox topic of alerts.
pub const TOPIC: &str = "alert";

async fn alert_of(db: &dyn Source, id: AlertId) -> Result<Alert, Error> {
    alert_store::one(db, id).await?.ok_or_else(|| Error::not_found("alert", id))
}

/// Stores a changed alert; a caller who was overtaken is served again, on what stands then.
async fn store(write: &Write<'_>, granted: &Granted<ChangeAlert>, alert: &mut Alert) -> Result<(), Error> {
    let seen = alert.version;
    alert.version += 1;
    if alert_store::replace(write.tx, granted, alert, seen).await? {
        Ok(())
    } else {
        Err(StoreError::Collision.into())
    }
}

/// Refuses what a confirmed alert reaches.
pub(crate) async fn refuse_reached(db: &dyn Source, lot: LotId) -> Result<(), Error> {
    let reaching = crate::lots::alerts_reaching(db, lot).await?;
    match reaching.into_iter().find(|(alert, _)| alert.state == AlertState::Confirmed) {
        Some((alert, _)) => Err(Rule::AlertReaches(sentence(&alert)).into()),
        None => Ok(()),
    }
}

/// An alert in one sentence.
pub(crate) fn sentence(alert: &Alert) -> String {
    use scionary_domain::lineage::AlertKind;
    let what = match (alert.kind, alert.pest.as_str()) {
        (AlertKind::Health, "") => "may be sick".to_string(),
        (AlertKind::Health, pest) => format!("may carry {pest}"),
        (AlertKind::Identity, _) => "may not be the cultivar that it is called".to_string(),
    };
    format!("{what}: {}", alert.words)
}
