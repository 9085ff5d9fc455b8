//! Going up and down the descent, generation by generation: only what is reached is read.

use std::collections::{BTreeMap, BTreeSet};

use scionary_domain::{
    access,
    ids::{AccountId, LotId},
    limits,
    lineage::{Alert, AlertKind, Direction, Exposure, Link, Lot, Node, Part, Search, starts},
    names::Folded,
    time::Date,
};
use scionary_store::{Source, account_store, alert_store, lot_store};

use super::find;
use crate::{App, Call, Error, Rule, registry::Registry};

/// A lot met on a trace.
#[derive(Clone, Debug)]
pub struct TracedLot {
    /// The lot.
    pub lot: Lot,
    /// Its cultivar's name; empty where no one knows.
    pub cultivar_name: String,
    /// Whose it is: told to its holder, and to those who mind alerts.
    pub holder_name: String,
    /// Whether it is the caller's.
    pub is_mine: bool,
    /// How many steps from where the trace began.
    pub generation: u32,
}

/// What a trace met.
#[derive(Clone, Debug)]
pub struct Traced {
    /// Lots, the nearer generations first.
    pub lots: Vec<TracedLot>,
    /// Steps of descent between them.
    pub links: Vec<Link>,
    /// There is more than is shown.
    pub more: bool,
}

/// The lots of a walk up or down, each with its generation, and all steps between them; not more than `most`.
async fn walk(
    db: &dyn Source,
    direction: Direction,
    from: &[LotId],
    most: usize,
) -> Result<(BTreeMap<LotId, u32>, Vec<Link>, bool), Error> {
    let mut found: BTreeMap<LotId, u32> = from.iter().map(|lot| (*lot, 0)).collect();
    let mut links = Vec::new();
    let mut open = from.to_vec();
    let mut generation = 0;
    while !open.is_empty() {
        generation += 1;
        if generation > limits::LINEAGE_GENERATIONS_MAX {
            return Ok((found, links, true));
        }
        let steps = lot_store::links(db, direction, std::mem::take(&mut open)).await?;
        for link in steps {
            let next = match direction {
                Direction::Forward => link.child,
                Direction::Back => link.parent,
            };
            if !found.contains_key(&next) {
                if found.len() >= most {
                    return Ok((found, links, true));
                }
                found.insert(next, generation);
                open.push(next);
            }
            links.push(link);
        }
    }
    Ok((found, links, false))
}

/// Days of which tests of some lots for an alert's pest speak: those that were entered before it was raised. Later ones are
/// for whoever rules on it to weigh: no holder takes their lot out of an alert alone.
async fn speaks_for(
    db: &dyn Source,
    lots: impl IntoIterator<Item = LotId>,
    alert: &Alert,
) -> Result<Vec<(LotId, Date)>, Error> {
    let key = Folded::new(&alert.pest).key();
    if key.is_empty() {
        return Ok(Vec::new());
    }
    let tests = lot_store::tests(db, lots, Some(&key), Some(alert.created_at)).await?;
    Ok(tests.into_iter().map(|t| (t.lot, t.speaks_until())).collect())
}

/// Runs a search of an alert to its end; false where it met more lots than it may.
pub(crate) async fn follow(
    db: &dyn Source,
    alert: &Alert,
    direction: Direction,
    search: &mut Search<Node>,
) -> Result<bool, Error> {
    loop {
        let wanted: BTreeSet<LotId> = search.wanted().into_iter().map(|n| n.lot).collect();
        if wanted.is_empty() {
            return Ok(true);
        }
        if search.found().len() > limits::TRACE_LOTS_MAX {
            return Ok(false);
        }
        let links = lot_store::links(db, direction, wanted).await?;
        if alert.kind == AlertKind::Health && !alert.pest.is_empty() {
            let far: BTreeSet<LotId> = links
                .iter()
                .map(|l| match direction {
                    Direction::Forward => l.child,
                    Direction::Back => l.parent,
                })
                .collect();
            for (lot, until) in speaks_for(db, far, alert).await? {
                search.learn_clean(Node { lot, part: Part::Whole }, until.days());
            }
        }
        let records = alert.records(&links);
        search.take(&records);
    }
}

/// Where the way down of an alert begins: the lot itself, and what it may have come from.
pub(crate) async fn starts_of(db: &dyn Source, alert: &Alert) -> Result<Vec<(Node, i64)>, Error> {
    let mut sources: Vec<(Node, i64)> = Vec::new();
    if alert.trace_back && alert.kind == AlertKind::Health {
        let begin = [(alert.node(), alert.seen_on.days())];
        let mut search = Search::new(Direction::Back, begin, alert.routes());
        follow(db, alert, Direction::Back, &mut search).await?;
        sources = search.found().iter().map(|(n, Exposure { day, .. })| (*n, *day)).collect();
    }
    let lots = sources.iter().map(|(n, _)| n.lot).chain([alert.lot]);
    let mut spoken_for: BTreeMap<LotId, Vec<Date>> = BTreeMap::new();
    for (lot, day) in speaks_for(db, lots, alert).await? {
        spoken_for.entry(lot).or_default().push(day);
    }
    Ok(starts(alert, sources, |lot| spoken_for.get(&lot).cloned().unwrap_or_default()))
}

/// Open alerts that reach some lots, each with the day since when; found among what the lots descend from, so that no more of
/// the file is read than that.
pub(crate) async fn alerts_reaching_each(
    db: &dyn Source,
    lots: &[LotId],
) -> Result<BTreeMap<LotId, Vec<(Alert, Option<Date>)>>, Error> {
    let (above, links, more) = walk(db, Direction::Back, lots, limits::LINEAGE_ABOVE_MAX).await?;
    if more {
        // not looked through is not unreached
        return Err(Rule::TooMuchAbove.into());
    }
    let mut reaching: BTreeMap<LotId, Vec<(Alert, Option<Date>)>> = BTreeMap::new();
    for alert in alert_store::beginning_at(db, above.keys().copied()).await? {
        let begin = alert_store::starts(db, alert.id).await?;
        let begin = begin.into_iter().filter(|(node, _)| above.contains_key(&node.lot));
        let mut search = Search::new(Direction::Forward, begin, alert.routes());
        if alert.kind == AlertKind::Health {
            for (lot, until) in speaks_for(db, above.keys().copied(), &alert).await? {
                search.learn_clean(Node { lot, part: Part::Whole }, until.days());
            }
        }
        let mut by_parent: BTreeMap<Node, Vec<_>> = BTreeMap::new();
        for record in alert.records(&links) {
            by_parent.entry(record.parent).or_default().push(record);
        }
        loop {
            let wanted = search.wanted();
            if wanted.is_empty() {
                break;
            }
            search.take(wanted.iter().filter_map(|n| by_parent.get(n)).flatten());
        }
        for lot in lots {
            let nodes = alert.parts().iter().map(|part| Node { lot: *lot, part: *part });
            let since = nodes.filter_map(|node| search.found().get(&node)).map(|e| e.day).min();
            if let Some(day) = since {
                let known = (day > scionary_domain::lineage::ALWAYS).then(|| Date::from_days(day));
                reaching.entry(*lot).or_default().push((alert.clone(), known));
            }
        }
    }
    Ok(reaching)
}

/// Open alerts that reach a lot.
pub(crate) async fn alerts_reaching(
    db: &dyn Source,
    lot: LotId,
) -> Result<Vec<(Alert, Option<Date>)>, Error> {
    Ok(alerts_reaching_each(db, &[lot]).await?.remove(&lot).unwrap_or_default())
}

impl App {
    /// What a lot descends from, or what descends from it. Its holder may trace it, and those who mind alerts.
    ///
    /// # Errors
    /// No such lot; not the caller's.
    pub async fn trace_lot(&self, call: &Call, lot: &str, direction: Direction) -> Result<Traced, Error> {
        let account = call.account()?;
        let reader = self.store().reader();
        let lot = find(reader, "lot", lot).await?;
        let minds = access::minds_alerts(account, &lot.crop);
        if lot.holder != account.id && !minds {
            return Err(access::Denied::NotTheHolder.into());
        }
        let (found, links, more) = walk(reader, direction, &[lot.id], limits::TRACE_SHOWN_MAX).await?;
        let ids: Vec<LotId> = found.keys().copied().collect();
        let lots = lot_store::some(reader, &ids).await?;
        let people: Vec<AccountId> = lots.values().map(|l| l.holder).collect();
        let names = account_store::display_names(reader, &people).await?;
        let registry = self.registry();
        let mut lots: Vec<TracedLot> = lots
            .into_values()
            .map(|lot| {
                let is_mine = lot.holder == account.id;
                let holder = names.get(&lot.holder).filter(|_| is_mine || minds).cloned();
                TracedLot {
                    cultivar_name: name(&registry, &lot),
                    holder_name: holder.unwrap_or_default(),
                    is_mine,
                    generation: found.get(&lot.id).copied().unwrap_or(0),
                    lot,
                }
            })
            .collect();
        lots.sort_by_key(|l| (l.generation, l.lot.made_on, l.lot.id));
        let links = links
            .into_iter()
            .filter(|l| found.contains_key(&l.parent) && found.contains_key(&l.child))
            .collect();
        Ok(Traced { lots, links, more })
    }
}

/// A lot's name: its cultivar, or that no one knows it.
pub(crate) fn name(registry: &Registry, lot: &Lot) -> String {
    let Some(record) = lot.cultivar.and_then(|id| registry.record(id)) else { return String::new() };
    let full = record.cultivar.full_name();
    if lot.unknown_seedling { format!("unknown seedling of {full}") } else { full }
}
