//! Following the outbox: what changed, on this server or on another one that shares the database.

use std::collections::BTreeSet;

use scionary_domain::{
    ids::{AccountId, AlertId, LotId, OfferId, WantId},
    time::Timestamp,
};
use scionary_store::{Reader, record_store};

use crate::{App, Done, Error, KeepReply, UseCase, Write, alerts, door, lots, movement, offers, wants};

/// Numbers of outbox rows are handed out before a transaction commits, so a lower one may appear after a higher one.
/// Rows of this many microseconds are remembered one by one; what is older has long been committed.
const WINDOW_MICROS: i64 = 900_000_000;

/// Which changes have been taken in.
#[derive(Clone, Debug)]
pub(crate) struct Seen {
    topic: &'static str,
    /// All up to this number.
    low: i64,
    /// And these.
    above: BTreeSet<i64>,
}

impl Seen {
    /// All that is there now.
    pub(crate) async fn now(topic: &'static str, reader: &Reader, now: Timestamp) -> Result<Self, Error> {
        let mut seen = Self::after(topic, 0);
        let rows = seen.rows(reader).await?;
        seen.take(&rows, now);
        Ok(seen)
    }
    /// All up to a number.
    pub(crate) const fn after(topic: &'static str, low: i64) -> Self {
        Self { topic, low, above: BTreeSet::new() }
    }
    /// Rows from where all was taken in: number, time and subject.
    pub(crate) async fn rows(&self, reader: &Reader) -> Result<Vec<(i64, Timestamp, String)>, Error> {
        Ok(record_store::outbox_after(reader, self.topic, self.low).await?)
    }
    /// The subjects of those that were not taken in yet.
    pub(crate) fn fresh<'a>(&self, rows: &'a [(i64, Timestamp, String)]) -> Vec<&'a str> {
        rows.iter().filter(|(seq, _, _)| !self.above.contains(seq)).map(|(_, _, s)| s.as_str()).collect()
    }
    /// Takes rows in.
    pub(crate) fn take(&mut self, rows: &[(i64, Timestamp, String)], now: Timestamp) {
        let old = now.micros().saturating_sub(WINDOW_MICROS);
        self.above.extend(rows.iter().map(|(seq, _, _)| *seq));
        let settled = rows.iter().filter(|(_, at, _)| at.micros() < old).map(|(seq, _, _)| *seq).max();
        if let Some(settled) = settled.filter(|s| *s > self.low) {
            self.low = settled;
            self.above = self.above.split_off(&(settled + 1));
        }
    }
}

/// What this server has followed.
#[derive(Debug)]
pub struct Followed {
    alerts: Seen,
    lots: Seen,
    offers: Seen,
    wants: Seen,
    movement: Seen,
    notices: Seen,
}

/// Remembers how far a topic was followed, for a server that starts again.
struct Remember(&'static str, i64);

impl UseCase for Remember {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        record_store::set_setting(write.tx, &setting(self.0), &self.1.to_string(), write.call.now).await?;
        Ok(Done::quiet(()))
    }
}

fn setting(topic: &str) -> String {
    format!("followed {topic}")
}

impl App {
    /// Where following begins: where this or another server stopped. Delivery is at-least-once; notices are deduplicated.
    ///
    /// # Errors
    /// The store's.
    pub async fn begin_to_follow(&self) -> Result<Followed, Error> {
        let reader = self.store().reader();
        let from = async |topic: &'static str| -> Result<Seen, Error> {
            let low = record_store::setting(reader, &setting(topic)).await?;
            Ok(Seen::after(topic, low.and_then(|text| text.parse().ok()).unwrap_or(0)))
        };
        Ok(Followed {
            alerts: from(alerts::TOPIC).await?,
            lots: from(lots::TOPIC).await?,
            offers: from(offers::TOPIC).await?,
            wants: from(wants::TOPIC).await?,
            movement: Seen::now(movement::TOPIC, reader, self.clock().now()).await?,
            notices: Seen::now(door::NOTICE_TOPIC, reader, self.clock().now()).await?,
        })
    }

    /// Does what follows from changes: tells holders of alerts and seekers of offers, wakes those who watch their inbox.
    ///
    /// # Errors
    /// The store's; what was not done is done the next time.
    pub async fn follow_changes(&self, followed: &mut Followed) -> Result<(), Error> {
        let reader = self.store().reader();
        let rows = followed.alerts.rows(reader).await?;
        for subject in followed.alerts.fresh(&rows) {
            if let Ok(id) = subject.parse::<AlertId>() {
                self.tell_holders(id).await?;
            }
        }
        self.followed(&mut followed.alerts, &rows).await?;

        let rows = followed.lots.rows(reader).await?;
        let fresh: BTreeSet<&str> = followed.lots.fresh(&rows).into_iter().collect();
        for (_, at, subject) in rows.iter().filter(|(_, _, subject)| fresh.contains(subject.as_str())) {
            if let Ok(id) = subject.parse::<LotId>() {
                self.tell_new_holder(id, *at).await?;
            }
        }
        self.followed(&mut followed.lots, &rows).await?;

        let rows = followed.offers.rows(reader).await?;
        let changed: BTreeSet<&str> = followed.offers.fresh(&rows).into_iter().collect();
        for id in changed.iter().filter_map(|subject| subject.parse::<OfferId>().ok()) {
            self.meet_offer(id).await?;
        }
        self.followed(&mut followed.offers, &rows).await?;

        let rows = followed.wants.rows(reader).await?;
        let made: BTreeSet<&str> = followed.wants.fresh(&rows).into_iter().collect();
        for id in made.iter().filter_map(|subject| subject.parse::<WantId>().ok()) {
            self.meet_want(id).await?;
        }
        self.followed(&mut followed.wants, &rows).await?;

        let rows = followed.movement.rows(reader).await?;
        if !followed.movement.fresh(&rows).is_empty() {
            self.take_up_rules().await?;
        }
        followed.movement.take(&rows, self.clock().now());

        let rows = followed.notices.rows(reader).await?;
        let told: BTreeSet<&str> = followed.notices.fresh(&rows).into_iter().collect();
        for subject in told {
            if let Ok(id) = subject.parse::<AccountId>() {
                self.wake(id);
            }
        }
        followed.notices.take(&rows, self.clock().now());
        Ok(())
    }

    async fn followed(&self, seen: &mut Seen, rows: &[(i64, Timestamp, String)]) -> Result<(), Error> {
        let before = seen.low;
        seen.take(rows, self.clock().now());
        if seen.low > before {
            let call = self.system_call()?;
            self.write(&call, Remember(seen.topic, seen.low), KeepReply::Yes, |()| Vec::new()).await?;
        }
        Ok(())
    }
}
