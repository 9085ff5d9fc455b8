//! How far an alert goes: every lot that it reaches, since when, by what chain.

use std::sync::Arc;

use scionary_domain::{
    access,
    ids::{AccountId, AlertId, LotId},
    lineage::{ALWAYS, Alert, Direction, Lot, Node, Search},
    time::Date,
};
use scionary_store::{Source, account_store, alert_store, lot_store};

use super::alert_of;
use crate::{App, Call, Error, lots};

/// A lot that an alert reaches.
#[derive(Clone, Debug)]
pub struct Reached {
    /// The lot.
    pub lot: Lot,
    /// Its name.
    pub cultivar_name: String,
    /// Its holder's display name.
    pub holder_name: String,
    /// Since when; none for always.
    pub since: Option<Date>,
    /// The lots by which it was reached, from the start on, itself last.
    pub chain: Vec<LotId>,
}

/// An alert's reach, worked out; its rows are read in turn.
#[derive(Clone, Debug)]
pub struct Reaching {
    /// The alert.
    pub alert: Alert,
    /// Whether all of it was found.
    pub is_whole: bool,
    search: Arc<Search<Node>>,
    lots: Arc<Vec<LotId>>,
}

/// The way down of an alert, to its end.
pub(super) async fn search(db: &dyn Source, alert: &Alert) -> Result<(Search<Node>, bool), Error> {
    let starts = alert_store::starts(db, alert.id).await?;
    let mut search = Search::new(Direction::Forward, starts, alert.routes());
    let is_whole = lots::follow(db, alert, Direction::Forward, &mut search).await?;
    Ok((search, is_whole))
}

/// The lots of a search, each once.
pub(super) fn lots_of(search: &Search<Node>) -> Vec<LotId> {
    let mut all: Vec<LotId> = search.found().keys().map(|n| n.lot).collect();
    all.dedup();
    all
}

impl Reaching {
    /// How many lots it reaches.
    pub fn count(&self) -> usize {
        self.lots.len()
    }
}

impl App {
    /// The whole reach of an alert, for those who mind alerts on the crop.
    ///
    /// # Errors
    /// No such alert; the caller minds none.
    pub async fn recall(&self, call: &Call, id: AlertId) -> Result<Reaching, Error> {
        let account = call.account()?;
        let reader = self.store().reader();
        let alert = alert_of(reader, id).await?;
        if !access::minds_alerts(account, &alert.crop) {
            return Err(
                access::Denied::RoleMissing("a curator of the crop, an organiser or a steward").into()
            );
        }
        let (search, is_whole) = search(reader, &alert).await?;
        let lots = lots_of(&search);
        Ok(Reaching { alert, is_whole, search: Arc::new(search), lots: Arc::new(lots) })
    }

    /// Some rows of a reach, in the order of lots.
    ///
    /// # Errors
    /// The store's.
    pub async fn recall_rows(
        &self,
        reach: &Reaching,
        skip: usize,
        take: usize,
    ) -> Result<Vec<Reached>, Error> {
        let reader = self.store().reader();
        let ids: Vec<LotId> = reach.lots.iter().skip(skip).take(take).copied().collect();
        let lots = lot_store::some(reader, &ids).await?;
        let people: Vec<AccountId> = lots.values().map(|l| l.holder).collect();
        let names = account_store::display_names(reader, &people).await?;
        let registry = self.registry();
        Ok(lots
            .into_values()
            .map(|lot| {
                let nodes: Vec<Node> = reach
                    .alert
                    .parts()
                    .iter()
                    .map(|part| Node { lot: lot.id, part: *part })
                    .filter(|node| reach.search.found().contains_key(node))
                    .collect();
                let first =
                    nodes.iter().filter_map(|node| Some((reach.search.found().get(node)?.day, *node))).min();
                let chain = first.map(|(_, node)| {
                    let records = reach.search.chain(&node);
                    records.iter().map(|r| r.parent.lot).chain([lot.id]).collect()
                });
                let since = first.map(|(day, _)| day).filter(|day| *day > ALWAYS).map(Date::from_days);
                Reached {
                    cultivar_name: lots::name(&registry, &lot),
                    holder_name: names.get(&lot.holder).cloned().unwrap_or_default(),
                    since,
                    chain: chain.unwrap_or_default(),
                    lot,
                }
            })
            .collect())
    }
}
