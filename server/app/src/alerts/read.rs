//! Alerts as someone sees them.

use std::collections::HashMap;

use scionary_domain::{
    access,
    account::{Account, Role},
    ids::{AccountId, AlertId, LotId},
    lineage::{Alert, LotCode},
    page::{self, Page},
};
use scionary_store::{Source, account_store, alert_store, alert_store::Which, lot_store};

use super::{alert_of, reach};
use crate::{App, Call, Error};

/// An alert with what stands beside it.
#[derive(Clone, Debug)]
pub struct ShownAlert {
    /// The alert.
    pub alert: Alert,
    /// The code of the lot that it was raised on.
    pub code: Option<LotCode>,
    /// Who raised it: told to themselves, and to those who mind alerts.
    pub raised_by: String,
    /// Whether the caller raised it.
    pub is_mine: bool,
    /// Whether the caller may rule on it.
    pub may_rule: bool,
    /// How many lots it reaches; 0 in lists, where it is not worked out.
    pub lots: usize,
    /// The caller's own among them.
    pub own: Vec<LotCode>,
}

impl ShownAlert {
    /// An alert beside its names, without how far it goes.
    fn beside(
        account: &Account,
        alert: Alert,
        code: Option<LotCode>,
        names: &HashMap<AccountId, String>,
    ) -> Self {
        let is_mine = alert.raised_by == account.id;
        let minds = access::minds_alerts(account, &alert.crop);
        let raised_by = names.get(&alert.raised_by).filter(|_| is_mine || minds).cloned().unwrap_or_default();
        Self { code, raised_by, is_mine, may_rule: minds && !is_mine, lots: 0, own: Vec::new(), alert }
    }
    pub(super) async fn new(db: &dyn Source, call: &Call, alert: Alert) -> Result<Self, Error> {
        let account = call.account()?;
        let (search, _) = reach::search(db, &alert).await?;
        let lots = reach::lots_of(&search);
        let mine =
            lot_store::holders(db, lots.iter().copied()).await?.remove(&account.id).unwrap_or_default();
        let own = lot_store::some(db, &mine).await?.into_values().map(|l| l.code).collect();
        let code = lot_store::one(db, alert.lot).await?.map(|l| l.code);
        let names = account_store::display_names(db, &[alert.raised_by]).await?;
        Ok(Self { lots: lots.len(), own, ..Self::beside(account, alert, code, &names) })
    }
    fn is_for(&self, caller: AccountId) -> bool {
        self.alert.raised_by == caller || self.may_rule || !self.own.is_empty()
    }
}

/// Which alerts someone lists.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ListAlerts {
    /// Those that they raised.
    Mine,
    /// Those that they may rule on.
    ToRuleOn,
}

impl App {
    /// An alert: to whoever raised it, holds what it reaches, or minds alerts; to others there is none.
    ///
    /// # Errors
    /// [`Error::NotFound`].
    pub async fn alert(&self, call: &Call, id: AlertId) -> Result<ShownAlert, Error> {
        let account = call.account()?;
        let reader = self.store().reader();
        let alert = alert_of(reader, id).await?;
        let minds = access::minds_alerts(account, &alert.crop);
        let shown = ShownAlert::new(reader, call, alert).await?;
        if minds || shown.is_for(account.id) { Ok(shown) } else { Err(Error::not_found("alert", id)) }
    }

    /// A page of alerts, newest first.
    ///
    /// # Errors
    /// The caller minds none; a page token that does not fit.
    pub async fn alerts(
        &self,
        call: &Call,
        which: ListAlerts,
        lifted_too: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownAlert>, Error> {
        let account = call.account()?;
        let wanted = match which {
            ListAlerts::Mine => Which::RaisedBy(account.id),
            ListAlerts::ToRuleOn if account.is(&Role::Steward) || account.is(&Role::Organiser) => {
                Which::OnCrops(Vec::new())
            }
            ListAlerts::ToRuleOn => {
                let crops: Vec<String> = account
                    .roles
                    .iter()
                    .filter(|r| matches!(r, Role::Curator { .. }))
                    .map(|r| r.scope().to_string())
                    .collect();
                if crops.is_empty() {
                    let who = "a curator, an organiser or a steward";
                    return Err(access::Denied::RoleMissing(who).into());
                }
                Which::OnCrops(crops)
            }
        };
        let asked =
            page::Asked::<AlertId>::read(page_size, token, format!("alerts {wanted:?} {lifted_too}"))?;
        let reader = self.store().reader();
        let found = alert_store::list(reader, &wanted, lifted_too, asked.after, asked.limit()).await?;
        let Page { rows: found, next } = asked.cut(found, |last| last.id);
        // how far each goes is worked out where one is looked at
        let ids: Vec<LotId> = found.iter().map(|a| a.lot).collect();
        let lots = lot_store::some(reader, &ids).await?;
        let people: Vec<AccountId> = found.iter().map(|a| a.raised_by).collect();
        let names = account_store::display_names(reader, &people).await?;
        let rows = found
            .into_iter()
            .map(|alert| {
                let code = lots.get(&alert.lot).map(|l| l.code);
                ShownAlert::beside(account, alert, code, &names)
            })
            .collect();
        Ok(Page { rows, next })
    }
}
