//! Lots as their holders see them, and the card behind a tag that everybody may read.

use scionary_domain::{
    field::FieldError,
    ids::LotId,
    lineage::{Alert, AlertState, Descent, Direction, Kind, Lot, LotCode, LotTest},
    page::{self, Page, PageTokenError},
    time::Date,
};
use scionary_store::{Source, lot_store};

use super::{alerts_reaching, find, trace::name};
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

/// What everybody may read of a lot.
#[derive(Clone, Debug)]
pub struct Card {
    /// The lot: its holder, quantity, source and note are not told.
    pub lot: Lot,
    /// Its name; empty where nobody knows it.
    pub cultivar_name: String,
    /// What it comes from.
    pub parents: Vec<ParentShown>,
    /// Alerts that reach it: to strangers only those that are confirmed.
    pub warnings: Vec<Warning>,
}

/// A lot as its holder sees it.
#[derive(Clone, Debug)]
pub struct ShownLot {
    /// What everybody may read.
    pub card: Card,
    /// Tests that found nothing.
    pub tests: Vec<LotTest>,
}

async fn card(db: &impl Source, registry: &Registry, lot: Lot) -> Result<Card, Error> {
    let links = lot_store::links(db, Direction::Back, [lot.id]).await?;
    let ids: Vec<LotId> = links.iter().map(|l| l.parent).collect();
    let lots = lot_store::some(db, &ids).await?;
    let parents = links
        .iter()
        .filter_map(|link| {
            let parent = lots.get(&link.parent)?;
            Some(ParentShown {
                code: parent.code,
                kind: parent.kind,
                cultivar_name: name(registry, parent),
                descent: link.descent,
                day: link.day,
            })
        })
        .collect();
    let warnings = alerts_reaching(db, lot.id)
        .await?
        .into_iter()
        .map(|(alert, since)| Warning { alert, since })
        .collect();
    Ok(Card { cultivar_name: name(registry, &lot), parents, warnings, lot })
}

/// A lot as its holder sees it.
pub(super) async fn one(db: &impl Source, registry: &Registry, lot: Lot) -> Result<ShownLot, Error> {
    let tests = lot_store::tests(db, [lot.id], None, None).await?;
    Ok(ShownLot { card: card(db, registry, lot).await?, tests })
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
        let mut card = card(reader, &self.registry(), lot).await?;
        // what nobody has borne out yet is no stranger's business
        card.warnings.retain(|w| w.alert.state == AlertState::Confirmed);
        Ok(card)
    }

    /// The caller's own lot.
    ///
    /// # Errors
    /// No such lot; somebody else's.
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
        let size = page::page_size(page_size)?;
        let search = format!("lots {} {ended_too}", account.id);
        let before = match page::key(&search, token)? {
            None => None,
            Some(key) => Some(key.parse::<LotId>().map_err(|_| PageTokenError::Unreadable)?),
        };
        let reader = self.store().reader();
        let limit = u64::try_from(size + 1).unwrap_or(u64::MAX);
        let mut lots = lot_store::of_holder(reader, account.id, ended_too, before, limit).await?;
        let more = lots.len() > size;
        lots.truncate(size);
        let next = lots.last().filter(|_| more).map(|last| page::token(&search, &last.id.to_string()));
        let registry = self.registry();
        let mut rows = Vec::new();
        for lot in lots {
            rows.push(one(reader, &registry, lot).await?);
        }
        Ok(Page { rows, next })
    }
}
