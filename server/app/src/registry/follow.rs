//! Following changes: only the records that the outbox names are read again.

use std::{
    collections::{BTreeSet, HashMap},
    sync::Arc,
};

use scionary_domain::{ids::CultivarId, time::Timestamp};
use scionary_store::{Of, Reader, curation_store, evidence_store, registry_store};

use super::{Registry, names_of, records};
use crate::error::Error;

impl Registry {
    /// The registry after the changes that came since; none if there are none.
    ///
    /// # Errors
    /// When it cannot be read.
    pub async fn follow(&self, reader: &Reader, now: Timestamp) -> Result<Option<Self>, Error> {
        let rows = self.seen.rows(reader).await?;
        let fresh = self.seen.fresh(&rows);
        if fresh.is_empty() {
            return Ok(None);
        }
        let ids: Result<BTreeSet<CultivarId>, _> = fresh.iter().map(|s| s.parse::<CultivarId>()).collect();
        let Ok(ids) = ids else {
            return Self::load(reader, now).await.map(Some);
        };
        let mut next = self.clone();
        next.seen.take(&rows, now);
        next.read_again(reader, &ids).await?;
        Ok(Some(next))
    }

    /// Reads some records and their families again.
    async fn read_again(&mut self, reader: &Reader, ids: &BTreeSet<CultivarId>) -> Result<(), Error> {
        let family: BTreeSet<CultivarId> =
            curation_store::families(reader, ids).await?.into_keys().chain(ids.iter().copied()).collect();
        let family: Vec<CultivarId> = family.into_iter().collect();
        let cultivars = registry_store::cultivars(reader, Of::Records(&family)).await?;
        let evidence = evidence_store::current(reader, Of::Records(&family)).await?;
        let mut old_names = HashMap::new();
        let mut old_units = Vec::new();
        for id in &family {
            if let Some(old) = self.records.get(*id) {
                old_names.insert(*id, (names_of(old), super::sort_key(&old.cultivar)));
                self.evidence_count -= old.evidence.len();
                old_units.extend(Self::unit_of(old).map(|(crop, group, id, _)| (crop, group, id)));
            }
        }
        // a record with very much evidence takes its time: not on a thread that others wait for
        let crops = self.crops.clone();
        let made = tokio::task::spawn_blocking(move || records(&crops, cultivars, evidence)).await;
        let (fresh, redirects, _) =
            made.map_err(|e| Error::Internal(format!("a record could not be put together: {e}")))?;
        let mut renamed = fresh.len() != old_names.len();
        for record in &fresh {
            self.evidence_count += record.evidence.len();
            let same = old_names.get(&record.cultivar.id).is_some_and(|(names, key)| {
                *names == names_of(record) && *key == super::sort_key(&record.cultivar)
            });
            renamed |= !same;
        }
        for id in &family {
            self.records.remove(*id);
        }
        let units: Vec<_> = fresh.iter().filter_map(Self::unit_of).collect();
        for record in fresh {
            self.records.put(record);
        }
        self.model_changed(&old_units, &units);
        (self.union_reports, self.flowering) = (Arc::default(), Arc::default());
        if redirects.len() + family.iter().filter(|id| self.redirects.contains_key(id)).count() > 0 {
            let all = Arc::make_mut(&mut self.redirects);
            for id in &family {
                all.remove(id);
            }
            all.extend(redirects);
        }
        if renamed {
            self.index_names();
        }
        Ok(())
    }
}
