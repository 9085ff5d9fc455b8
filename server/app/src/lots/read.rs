//! Lots as their holders see them, and the card behind a tag that everyone may read.

use scionary_domain::{
    field::FieldError,
    ids::LotId,
    lineage::{Alert, AlertState, Descent, Direction, Kind, Link, Lot, LotCode, LotTest},
    page::{self, Page},
    time::Date,
};
use scionary_store::{Source, lot_store};

use super::{alerts_reaching_each, find, trace::name};
use crate::{App, Call, Error, registry::Registry};

/// What a lot comes from, or what touched it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ParentShown {
    /// Its code.
    pub code: LotCode,
    /// What it is.
    pub kind: Kind,
    /// Its name.
    pub cultivar_name: String,
    /// How.
    pub descent: Descent,
    /// When.
    pub day: Date,
}

/// An alert that reaches a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct Warning {
    /// The alert.
    pub alert: Alert,
    /// Since when it reaches the lot; none for always.
    pub since: Option<Date>,
}

/// What everyone may read of a lot.
#[derive(Clone, Debug)]
pub struct Card {
    /// The lot: its holder, quantity, source and note are not told.
    pub lot: Lot,
    /// Its name; empty where no one knows it.
    pub cultivar_name: String,
    /// What it comes from.
    pub parents: Vec<ParentShown>,
    /// Alerts that reach it: to strangers only those that are confirmed.
    pub warnings: Vec<Warning>,
}

/// A lot as its holder sees it.
#[derive(Clone, Debug)]
pub struct ShownLot {
    /// What everyone may read.
    pub card: Card,
    /// Tests that found nothing.
    pub tests: Vec<LotTest>,
}

/// Cards of some lots, in their order: a page of them takes as many queries as one.
async fn cards(db: &dyn Source, registry: &Registry, lots: Vec<Lot>) -> Result<Vec<Card>, Error> {
    let ids: Vec<LotId> = lots.iter().map(|l| l.id).collect();
    let links = lot_store::links(db, Direction::Back, ids.iter().copied()).await?;
    let parents: Vec<LotId> = links.iter().map(|l| l.parent).collect();
    let parents = lot_store::some(db, &parents).await?;
    let mut reaching = alerts_reaching_each(db, &ids).await?;
    let shown = |link: &Link| {
        let parent = parents.get(&link.parent)?;
        Some(ParentShown {
            code: parent.code,
            kind: parent.kind,
            cultivar_name: name(registry, parent),
            descent: link.descent,
            day: link.day,
        })
    };
    Ok(lots
        .into_iter()
        .map(|lot| Card {
            cultivar_name: name(registry, &lot),
            parents: links.iter().filter(|l| l.child == lot.id).filter_map(shown).collect(),
            warnings: reaching
                .remove(&lot.id)
                .unwrap_or_default()
                .into_iter()
                .map(|(alert, since)| Warning { alert, since })
                .collect(),
            lot,
        })
        .collect())
}

/// Lots as their holder sees them.
async fn several(db: &dyn Source, registry: &Registry, lots: Vec<Lot>) -> Result<Vec<ShownLot>, Error> {
    let tests = lot_store::tests(db, lots.iter().map(|l| l.id), None, None).await?;
    let cards = cards(db, registry, lots).await?;
    Ok(cards
        .into_iter()
        .map(|card| ShownLot {
            tests: tests.iter().filter(|t| t.lot == card.lot.id).cloned().collect(),
            card,
        })
        .collect())
}

/// A lot as its holder sees it.
pub(super) async fn one(db: &dyn Source, registry: &Registry, lot: Lot) -> Result<ShownLot, Error> {
    let id = lot.id;
    several(db, registry, vec![lot]).await?.pop().ok_or_else(|| Error::not_found("lot", id))
}

impl App {
    /// The card behind a tag.
    ///
    /// # Errors
    /// No such lot.
    pub async fn lot_card(&self, code: &str) -> Result<Card, Error> {
        let reader = self.store().reader();
        let code: LotCode = code.parse().map_err(|e| FieldError::new("code", format!("{e}")))?;
        let lot = find(reader, "code", &code.to_string()).await?;
        let id = lot.id;
        let mut cards = cards(reader, &self.registry(), vec![lot]).await?;
        let mut card = cards.pop().ok_or_else(|| Error::not_found("lot", id))?;
        // what no one has confirmed yet is no stranger's business
        card.warnings.retain(|w| w.alert.state == AlertState::Confirmed);
        Ok(card)
    }

    /// The caller's own lot.
    ///
    /// # Errors
    /// No such lot; someone else's.
    pub async fn my_lot(&self, call: &Call, lot: &str) -> Result<ShownLot, Error> {
        let account = call.account()?;
        let reader = self.store().reader();
        let lot = find(reader, "lot", lot).await?;
        if lot.holder != account.id {
            return Err(scionary_domain::access::Denied::NotTheHolder.into());
        }
        one(reader, &self.registry(), lot).await
    }

    /// A page of the caller's lots, newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn my_lots(
        &self,
        call: &Call,
        ended_too: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownLot>, Error> {
        let account = call.account()?;
        let asked = page::Asked::<LotId>::read(page_size, token, format!("lots {} {ended_too}", account.id))?;
        let reader = self.store().reader();
        let lots = lot_store::of_holder(reader, account.id, ended_too, asked.after, asked.limit()).await?;
        let Page { rows: lots, next } = asked.cut(lots, |last| last.id);
        let rows = several(reader, &self.registry(), lots).await?;
        Ok(Page { rows, next })
    }
}
