//! The registry in memory: records, names, findings, computed once from what is stored and read by every
//! look-up without touching the database. It is never changed: a new one takes its place, which shares with it
//! whatever did not change. A new piece of evidence costs its own record's evidence, not the registry's.

mod ask;
mod flowers;
mod follow;
mod season;
mod shards;
mod trueness;
mod unions;

pub(crate) use ask::described;
pub use ask::{Found, Looked};
pub use flowers::{Flowers, Partner, Said, Why};
pub use season::{Season, Seasons};

use std::{
    collections::{BTreeMap, HashMap},
    sync::{Arc, OnceLock},
};

use scionary_domain::{
    crop::Crop,
    cultivar::{Cultivar, Source as Citation},
    evidence::{self, Evidence, Finding, Pin},
    ids::CultivarId,
    names::{Folded, NameIndex, index::Entry},
    time::Timestamp,
};
use scionary_store::{
    DescriptorText, Of, Reader, curation_store, evidence_store, observer_store, registry_store,
};

use crate::{error::Error, follow::Seen};
use shards::Shards;

/// The outbox topic of changes to the registry. A subject is a record's id; any other has all of it read again.
pub const TOPIC: &str = "registry";

/// A record with what is concluded on it.
pub struct Record {
    /// The record.
    pub cultivar: Cultivar,
    /// Records that were merged into it: their names and their evidence are its own.
    pub merged: Vec<Cultivar>,
    /// Its evidence, in the order of entry.
    pub evidence: Vec<Arc<Evidence>>,
    /// Its findings.
    pub findings: Vec<Finding>,
}

impl Record {
    fn new(crop: &Crop, cultivar: Cultivar, merged: Vec<Cultivar>, mut evidence: Vec<Arc<Evidence>>) -> Self {
        evidence.sort_by_key(|e| e.id);
        let pins: Vec<Pin> = cultivar.pins.clone();
        let findings = evidence::findings(crop, &evidence, &pins);
        Self { cultivar, merged, evidence, findings }
    }
    /// The ids that stand for it: its own, and those of records merged into it.
    pub fn ids(&self) -> impl Iterator<Item = CultivarId> + '_ {
        std::iter::once(self.cultivar.id).chain(self.merged.iter().map(|c| c.id))
    }
}

/// What a registry is put together from.
#[derive(Default)]
pub struct Parts {
    /// Crops.
    pub crops: Vec<Crop>,
    /// Words of descriptors that rulings changed.
    pub texts: Vec<DescriptorText>,
    /// Sources.
    pub sources: Vec<Citation>,
    /// Records.
    pub cultivars: Vec<Cultivar>,
    /// Current evidence.
    pub evidence: Vec<Evidence>,
    /// The version of the weight table that evidence's observers are of.
    pub weights_version: i64,
}

/// The registry as it was at one moment.
#[derive(Clone)]
pub struct Registry {
    seen: Seen,
    crops: Arc<BTreeMap<String, Crop>>,
    sources: Arc<BTreeMap<String, Citation>>,
    records: Shards,
    /// From a merged record's id to the one that stands for it.
    redirects: Arc<HashMap<CultivarId, CultivarId>>,
    /// In the order of lists: crop, folded name, qualifier.
    in_order: Arc<Vec<(String, CultivarId)>>,
    /// Evidence on crops as a whole.
    on_crops: Arc<Vec<Arc<Evidence>>>,
    evidence_count: usize,
    weights_version: i64,
    names: Arc<NameIndex<CultivarId>>,
    models: trueness::Models,
    /// Reports on scions and rootstocks, by crop: read from the records when they are first asked for, and again after a
    /// record has changed.
    union_reports: Arc<OnceLock<unions::Reports>>,
    /// Records with something on file of their flowers, by crop: as the reports on unions.
    flowering: Arc<OnceLock<flowers::Flowering>>,
}

/// The record that each record stands for in the end: itself, or the one it was merged into.
fn roots(cultivars: &[Cultivar]) -> HashMap<CultivarId, CultivarId> {
    let into: HashMap<CultivarId, CultivarId> =
        cultivars.iter().filter_map(|c| Some((c.id, c.merged_into?))).collect();
    cultivars
        .iter()
        .map(|c| {
            let mut at = c.id;
            // a chain is never longer than the records there are
            for _ in 0..=into.len() {
                match into.get(&at) {
                    Some(next) => at = *next,
                    None => break,
                }
            }
            (c.id, at)
        })
        .collect()
}

/// Records from cultivars and their evidence: one for each family. What has no record is left over.
fn records(
    crops: &BTreeMap<String, Crop>,
    cultivars: Vec<Cultivar>,
    evidence: Vec<Evidence>,
) -> (Vec<Record>, HashMap<CultivarId, CultivarId>, Vec<Arc<Evidence>>) {
    let roots = roots(&cultivars);
    let mut of: HashMap<CultivarId, Vec<Arc<Evidence>>> = HashMap::new();
    let mut left = Vec::new();
    for piece in evidence {
        match piece.cultivar.and_then(|id| roots.get(&id)) {
            Some(root) => of.entry(*root).or_default().push(Arc::new(piece)),
            None => left.push(Arc::new(piece)),
        }
    }
    let mut heads = Vec::new();
    let mut merged: HashMap<CultivarId, Vec<Cultivar>> = HashMap::new();
    for cultivar in cultivars {
        match roots.get(&cultivar.id) {
            Some(root) if *root != cultivar.id => merged.entry(*root).or_default().push(cultivar),
            Some(_) | None => heads.push(cultivar),
        }
    }
    let all = heads
        .into_iter()
        .filter_map(|cultivar| {
            let crop = crops.get(&cultivar.crop)?;
            let own = of.remove(&cultivar.id).unwrap_or_default();
            let members = merged.remove(&cultivar.id).unwrap_or_default();
            Some(Record::new(crop, cultivar, members, own))
        })
        .collect();
    let redirects = roots.into_iter().filter(|(id, root)| id != root).collect();
    (all, redirects, left)
}

/// Crops that an error names.
const CROPS_NAMED: usize = 5;

impl Registry {
    /// Reads it from the database.
    ///
    /// # Errors
    /// When it cannot be read.
    pub async fn load(reader: &Reader, now: Timestamp) -> Result<Self, Error> {
        // how far it has come, first: a change that comes in between is read again next time
        let seen = Seen::now(TOPIC, reader, now).await?;
        let parts = Parts {
            crops: registry_store::crops(reader).await?,
            texts: curation_store::descriptor_texts(reader).await?,
            sources: registry_store::sources(reader).await?,
            cultivars: registry_store::cultivars(reader, Of::All).await?,
            weights_version: observer_store::weights_version(reader).await?,
            evidence: evidence_store::current(reader, Of::All).await?,
        };
        let mut registry = tokio::task::spawn_blocking(move || Self::new(parts))
            .await
            .map_err(|e| Error::Internal(format!("the registry could not be put together: {e}")))?;
        registry.seen = seen;
        Ok(registry)
    }

    /// Puts it together.
    pub fn new(parts: Parts) -> Self {
        let Parts { crops, texts, sources, cultivars, evidence, weights_version } = parts;
        let mut crops: BTreeMap<String, Crop> = crops.into_iter().map(|c| (c.slug.clone(), c)).collect();
        for text in texts {
            let descriptor = crops
                .get_mut(&text.crop)
                .and_then(|crop| crop.descriptors.iter_mut().find(|d| d.key == text.descriptor));
            if let Some(descriptor) = descriptor {
                let set = |to: &mut String, from: Option<String>| {
                    if let Some(from) = from {
                        *to = from;
                    }
                };
                set(&mut descriptor.label, text.label);
                set(&mut descriptor.question, text.question);
                set(&mut descriptor.observe, text.observe);
            }
        }
        let evidence_count = evidence.len();
        let (all, redirects, on_crops) = records(&crops, cultivars, evidence);
        let mut registry = Self {
            seen: Seen::after(TOPIC, 0),
            crops: Arc::new(crops),
            sources: Arc::new(sources.into_iter().map(|s| (s.id.clone(), s)).collect()),
            records: Shards::new(all),
            redirects: Arc::new(redirects),
            in_order: Arc::default(),
            on_crops: Arc::new(on_crops),
            evidence_count,
            weights_version,
            names: Arc::new(NameIndex::new(Vec::new())),
            models: Arc::default(),
            union_reports: Arc::default(),
            flowering: Arc::default(),
        };
        registry.model_all();
        registry.index_names();
        registry
    }

    /// Makes the name index and the order of lists again: after names have changed.
    fn index_names(&mut self) {
        let entries: Vec<Entry<CultivarId>> = self.records.iter().flat_map(names_of).collect();
        self.names = Arc::new(NameIndex::new(entries));
        let mut in_order: Vec<(String, CultivarId)> =
            self.records.iter().map(|r| (sort_key(&r.cultivar), r.cultivar.id)).collect();
        in_order.sort();
        self.in_order = Arc::new(in_order);
    }

    /// All crops, by key.
    pub fn crops(&self) -> impl Iterator<Item = &Crop> {
        self.crops.values()
    }
    /// A crop.
    pub fn crop(&self, slug: &str) -> Option<&Crop> {
        self.crops.get(slug)
    }
    /// What to say when there is no such crop.
    pub fn crop_expected(&self, found: &str) -> String {
        if self.crops.is_empty() {
            return "no crop is on file yet: the person who runs this server loads a catalogue first".into();
        }
        let known: Vec<&str> = self.crops.keys().map(String::as_str).collect();
        let short: String = found.chars().take(40).collect();
        if known.len() <= CROPS_NAMED {
            return format!("one of {} expected, {short:?} found", known.join(", "));
        }
        // of many, those that begin like it
        let begin: String = found.to_lowercase().chars().take(2).collect();
        let near: Vec<&str> =
            known.iter().copied().filter(|crop| !begin.is_empty() && crop.starts_with(&begin)).collect();
        let named = if near.is_empty() { &known } else { &near };
        let named: Vec<&str> = named.iter().copied().take(CROPS_NAMED).collect();
        format!(
            "one of the {} crops on file expected, such as {}; {short:?} found",
            known.len(),
            named.join(", ")
        )
    }
    /// A source.
    pub fn source(&self, id: &str) -> Option<&Citation> {
        self.sources.get(id)
    }
    /// All sources, by key.
    pub fn sources(&self) -> impl Iterator<Item = &Citation> {
        self.sources.values()
    }
    /// A record; for a merged one, the record that stands for it.
    pub fn record(&self, id: CultivarId) -> Option<&Record> {
        let id = self.redirects.get(&id).copied().unwrap_or(id);
        self.records.get(id)
    }
    /// All records, in the order of lists.
    pub fn records(&self) -> impl Iterator<Item = &Record> + Clone {
        self.in_order.iter().filter_map(|(_, id)| self.records.get(*id))
    }
    /// How many records of a crop.
    pub fn count_of(&self, crop: &str) -> usize {
        self.records.iter().filter(|r| r.cultivar.crop == crop).count()
    }
    /// How many records.
    pub fn record_count(&self) -> usize {
        self.records.len()
    }
    /// How many pieces of evidence.
    pub fn evidence_count(&self) -> usize {
        self.evidence_count
    }
    /// The version of the weight table that findings rest on; 0 before the first.
    pub fn weights_version(&self) -> i64 {
        self.weights_version
    }
    /// What sources say of a crop as a whole.
    pub fn on_crop<'a>(&'a self, crop: &'a str) -> impl Iterator<Item = &'a Arc<Evidence>> {
        self.on_crops.iter().filter(move |e| e.crop == crop)
    }
}

fn sort_key(cultivar: &Cultivar) -> String {
    format!("{}/{}/{}", cultivar.crop, Folded::new(&cultivar.name).key(), cultivar.qualifier)
}

/// The names by which a record is found.
fn names_of(record: &Record) -> Vec<Entry<CultivarId>> {
    let cultivar = &record.cultivar;
    let entry = |name: String, accepted: bool, disputed: bool| Entry {
        target: cultivar.id,
        name,
        accepted,
        disputed,
    };
    let mut all = vec![entry(cultivar.name.clone(), true, false)];
    if !cultivar.qualifier.is_empty() {
        all.push(entry(format!("{} {}", cultivar.name, cultivar.qualifier), true, false));
    }
    all.extend(cultivar.names.iter().map(|n| entry(n.name.clone(), false, n.disputed)));
    for merged in &record.merged {
        if merged.name != cultivar.name {
            all.push(entry(merged.name.clone(), false, false));
        }
        all.extend(merged.names.iter().map(|n| entry(n.name.clone(), false, n.disputed)));
    }
    all
}
