//! Records in shares of a few hundred, so that a changed registry copies one share and keeps the rest.

use std::{collections::HashMap, sync::Arc};

use scionary_domain::ids::CultivarId;

use super::Record;

/// How many shares: at 50,000 records each holds about two hundred.
const SHARDS: usize = 256;

type Shard = HashMap<CultivarId, Arc<Record>>;

/// Records by id.
#[derive(Clone)]
pub(super) struct Shards(Vec<Arc<Shard>>);

fn place(id: CultivarId) -> usize {
    // the last byte of a UUID of version 7 is random
    id.uuid().as_bytes().last().map_or(0, |b| usize::from(*b) % SHARDS)
}

impl Shards {
    pub(super) fn new(records: Vec<Record>) -> Self {
        let mut shards: Vec<Shard> = (0..SHARDS).map(|_| Shard::new()).collect();
        for record in records {
            if let Some(shard) = shards.get_mut(place(record.cultivar.id)) {
                shard.insert(record.cultivar.id, Arc::new(record));
            }
        }
        Self(shards.into_iter().map(Arc::new).collect())
    }
    pub(super) fn get(&self, id: CultivarId) -> Option<&Record> {
        self.0.get(place(id))?.get(&id).map(Arc::as_ref)
    }
    pub(super) fn put(&mut self, record: Record) {
        if let Some(shard) = self.0.get_mut(place(record.cultivar.id)) {
            Arc::make_mut(shard).insert(record.cultivar.id, Arc::new(record));
        }
    }
    pub(super) fn remove(&mut self, id: CultivarId) {
        if let Some(shard) = self.0.get_mut(place(id)).filter(|shard| shard.contains_key(&id)) {
            Arc::make_mut(shard).remove(&id);
        }
    }
    pub(super) fn iter(&self) -> impl Iterator<Item = &Record> {
        self.0.iter().flat_map(|shard| shard.values()).map(Arc::as_ref)
    }
    pub(super) fn len(&self) -> usize {
        self.0.iter().map(|shard| shard.len()).sum()
    }
}
