//! The grafting log: private entries, public rates.

use std::{collections::BTreeMap, sync::Arc};

use scionary_domain::{
    access::{self, EditGrafts, Granted},
    evidence::Observer,
    grafting::{self, Draft, Grafts, Rate, Tally},
    ids::{CultivarId, GraftId},
    limits,
    page::{self, Page},
    time::{Date, MICROS_PER_SECOND, Timestamp},
    unions::Union,
};
use scionary_store::{StoreError, account_store, graft_store, observer_store};

use crate::{App, Call, Done, Error, Rule, UseCase, Write, registry::Registry};

/// So long the rates of a crop are kept: they change slowly, and plans ask for them often.
const RATES_KEPT_SECONDS: i64 = 300;

/// Rates of crops, each with when it was worked out.
pub(crate) type KnownRates = BTreeMap<String, (Timestamp, Arc<Vec<Rate>>)>;

/// Enters grafts.
pub struct LogGrafts {
    /// The scion's cultivar: an id or an exact name.
    pub cultivar: String,
    /// The crop, where a name is given.
    pub crop: String,
    /// What was done.
    pub draft: Draft,
}

/// Says how many took.
pub struct ReportTakes {
    /// Which entry.
    pub id: GraftId,
    /// How many.
    pub taken: u32,
    /// Seen on which day; today if left out.
    pub seen_on: Option<Date>,
}

/// Takes an entry out of the log.
pub struct RemoveGrafts {
    /// Which entry.
    pub id: GraftId,
}

/// An entry with the name of its cultivar as it is now.
#[derive(Clone, Debug, PartialEq)]
pub struct ShownGrafts {
    /// The entry.
    pub grafts: Grafts,
    /// The cultivar's name.
    pub cultivar_name: String,
    /// What sources report of the union; none where nothing is on file.
    pub union: Option<Union>,
}

impl ShownGrafts {
    fn new(registry: &Registry, mut grafts: Grafts) -> Self {
        let record = registry.record(grafts.cultivar);
        if let Some(record) = record {
            grafts.cultivar = record.cultivar.id;
        }
        Self {
            cultivar_name: record.map(|r| r.cultivar.full_name()).unwrap_or_default(),
            union: record.and_then(|r| registry.union(r, &grafts.rootstock)),
            grafts,
        }
    }
}

async fn own(write: &Write<'_>, id: GraftId) -> Result<(Grafts, Granted<EditGrafts>), Error> {
    let account = write.call.account()?;
    let missing = || Error::not_found("graft", id);
    let grafts = graft_store::one(write.tx, id).await?.ok_or_else(missing)?;
    let granted = access::edit_grafts(account, grafts.grower).ok_or_else(missing)?;
    Ok((grafts, granted))
}

impl UseCase for LogGrafts {
    type Out = ShownGrafts;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownGrafts>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let registry = write.app.registry();
        let record = registry.resolve("cultivar", &self.cultivar, &self.crop)?;
        let (draft, method, day) = grafting::check(&self.draft, now.date())?;
        account_store::lock_account(write.tx, account.id).await?;
        let entries = graft_store::count(write.tx, account.id).await?;
        if i64::try_from(entries).unwrap_or(i64::MAX) >= limits::GRAFT_ENTRIES_MAX {
            return Err(Rule::TooManyGrafts(limits::GRAFT_ENTRIES_MAX).into());
        }
        let grafts = Grafts {
            id: GraftId::from_uuid(write.new_uuid()?),
            grower: account.id,
            cultivar: record.cultivar.id,
            crop: record.cultivar.crop.clone(),
            method,
            day,
            south: draft.south,
            scion_from: draft.scion_from,
            rootstock: draft.rootstock,
            made: draft.made,
            taken: draft.taken,
            seen_on: draft.taken.map(|_| now.date()),
            note: draft.note,
            at: now,
            version: 1,
        };
        graft_store::insert(write.tx, &grafts).await?;
        let id = grafts.id;
        let change = serde_json::json!({ "made": grafts.made, "method": method.word() });
        Ok(Done::new(ShownGrafts::new(&registry, grafts), "grafts.logged", id, change))
    }
}

impl UseCase for ReportTakes {
    type Out = ShownGrafts;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownGrafts>, Error> {
        let (grafts, granted) = own(write, self.id).await?;
        let seen = grafts.version;
        let mut grafts = grafts.reported(self.taken, self.seen_on, write.call.now.date())?;
        grafts.version += 1;
        if !graft_store::replace(write.tx, granted, &grafts, seen).await? {
            // the caller named no version: the door tries again, on what stands then
            return Err(StoreError::Collision.into());
        }
        let change = serde_json::json!({ "taken": self.taken });
        let out = ShownGrafts::new(&write.app.registry(), grafts);
        Ok(Done::new(out, "grafts.reported", self.id, change))
    }
}

impl UseCase for RemoveGrafts {
    type Out = GraftId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<GraftId>, Error> {
        let (grafts, granted) = own(write, self.id).await?;
        if !graft_store::delete(write.tx, granted, grafts.id).await? {
            return Err(Error::not_found("graft", self.id));
        }
        Ok(Done::new(grafts.id, "grafts.removed", grafts.id, serde_json::json!({})))
    }
}

impl App {
    /// A page of the caller's grafting log, newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn my_grafts(
        &self,
        call: &Call,
        unreported_only: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownGrafts>, Error> {
        let account = call.account()?;
        let asked = page::Asked::<GraftId>::read(
            page_size,
            token,
            format!("grafts {} {unreported_only}", account.id),
        )?;
        let reader = self.store().reader();
        let rows = graft_store::of(reader, account.id, unreported_only, asked.after, asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |last| last.id);
        let registry = self.registry();
        Ok(Page { rows: rows.into_iter().map(|g| ShownGrafts::new(&registry, g)).collect(), next })
    }

    /// How often grafts take on a crop, or with scions of some records: see [`grafting::rates`].
    ///
    /// # Errors
    /// The store's.
    pub async fn graft_rates(
        &self,
        crop: &str,
        records: Option<&[CultivarId]>,
        today: Date,
    ) -> Result<Vec<Rate>, Error> {
        let reader = self.store().reader();
        let sums = graft_store::sums(reader, crop, records, today).await?;
        let growers: Vec<_> = sums.iter().map(|s| s.grower).collect();
        let observers = observer_store::some(reader, &growers).await?;
        let tallies: Vec<Tally> = sums
            .into_iter()
            .map(|sum| Tally {
                observer: observers.get(&sum.grower).copied().unwrap_or(Observer::new(sum.grower)),
                method: sum.method,
                month: sum.month,
                made: sum.made,
                taken: sum.taken,
            })
            .collect();
        Ok(grafting::rates(&tallies))
    }

    /// The rates of a crop as they were within the last minutes. A plan is not refused because they cannot be read.
    pub async fn graft_rates_of_crop(&self, crop: &str, now: Timestamp) -> Arc<Vec<Rate>> {
        let mut known = self.graft_rates_known().lock().await;
        if let Some((at, rates)) = known.get(crop)
            && now.micros().saturating_sub(at.micros()) < RATES_KEPT_SECONDS * MICROS_PER_SECOND
        {
            return rates.clone();
        }
        match self.graft_rates(crop, None, now.date()).await {
            Ok(rates) => {
                let rates = Arc::new(rates);
                known.insert(crop.to_string(), (now, rates.clone()));
                rates
            }
            Err(error) => {
                tracing::warn!(%error, "rates of grafts could not be read");
                known.get(crop).map(|(_, rates)| rates.clone()).unwrap_or_default()
            }
        }
    }
}
