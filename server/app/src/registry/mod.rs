//! The registry in memory: records, names, findings, computed once from what is stored and read by every
//! look-up without touching the database. It is never changed: a new one takes its place.

mod ask;

pub use ask::{Found, Looked};

use std::collections::{BTreeMap, HashMap};

use scionary_domain::{
    crop::Crop,
    cultivar::{Cultivar, Source as Citation},
    evidence::{self, Evidence, Finding},
    ids::CultivarId,
    names::{Folded, NameIndex, index::Entry},
    seed::{self, Answer},
};
use scionary_store::{Reader, Revision, record_store, registry_store};

use crate::error::Error;

/// The outbox topic of changes to the registry.
pub const TOPIC: &str = "registry";

/// A record with what is concluded on it.
pub struct Record {
    /// The record.
    pub cultivar: Cultivar,
    /// Its evidence, in the order of entry.
    pub evidence: Vec<Evidence>,
    /// Its findings.
    pub findings: Vec<Finding>,
    /// The short answer on its seed.
    pub answer: Answer,
    /// The same in words.
    pub headline: String,
}

/// The registry as it was at one moment.
pub struct Registry {
    revision: Revision,
    crops: BTreeMap<String, Crop>,
    sources: BTreeMap<String, Citation>,
    records: HashMap<CultivarId, Record>,
    /// In the order of lists: crop, folded name, qualifier.
    in_order: Vec<(String, CultivarId)>,
    /// Evidence on crops as a whole.
    on_crops: Vec<Evidence>,
    evidence_count: usize,
    names: NameIndex<CultivarId>,
}

impl Registry {
    /// Reads it from the database.
    ///
    /// # Errors
    /// When it cannot be read.
    pub async fn load(reader: &Reader) -> Result<Self, Error> {
        // how far it has come, first: a change that comes in between is read again next time
        let revision = record_store::revision(reader, TOPIC).await?;
        let crops = registry_store::crops(reader).await?;
        let sources = registry_store::sources(reader).await?;
        let cultivars = registry_store::cultivars(reader).await?;
        let evidence = registry_store::evidence(reader).await?;
        Ok(Self::new(revision, crops, sources, cultivars, evidence))
    }

    /// Puts it together.
    pub fn new(
        revision: Revision,
        crops: Vec<Crop>,
        sources: Vec<Citation>,
        cultivars: Vec<Cultivar>,
        evidence: Vec<Evidence>,
    ) -> Self {
        let crops: BTreeMap<String, Crop> = crops.into_iter().map(|c| (c.slug.clone(), c)).collect();
        let evidence_count = evidence.len();
        let mut of: HashMap<CultivarId, Vec<Evidence>> = HashMap::new();
        let mut on_crops = Vec::new();
        for piece in evidence {
            match piece.cultivar {
                Some(id) => of.entry(id).or_default().push(piece),
                None => on_crops.push(piece),
            }
        }
        let mut entries = Vec::new();
        let mut in_order = Vec::new();
        let mut records = HashMap::new();
        for cultivar in cultivars {
            let Some(crop) = crops.get(&cultivar.crop) else { continue };
            let id = cultivar.id;
            let own = of.remove(&id).unwrap_or_default();
            let findings = evidence::findings(crop, &own);
            let (answer, headline) = seed::short_answer(crop, &findings);
            entries.extend(names_of(&cultivar));
            in_order.push((sort_key(&cultivar), id));
            records.insert(id, Record { cultivar, evidence: own, findings, answer, headline });
        }
        in_order.sort();
        Self {
            revision,
            crops,
            sources: sources.into_iter().map(|s| (s.id.clone(), s)).collect(),
            records,
            in_order,
            on_crops,
            evidence_count,
            names: NameIndex::new(entries),
        }
    }

    /// How far the changes go that it holds.
    pub fn revision(&self) -> Revision {
        self.revision
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
            return "no crop is on file yet: whoever runs this server loads a catalogue first".into();
        }
        let known: Vec<&str> = self.crops.keys().map(String::as_str).collect();
        format!(
            "one of {} expected, {:?} found",
            known.join(", "),
            found.chars().take(40).collect::<String>()
        )
    }
    /// A source.
    pub fn source(&self, id: &str) -> Option<&Citation> {
        self.sources.get(id)
    }
    /// A record.
    pub fn record(&self, id: CultivarId) -> Option<&Record> {
        self.records.get(&id)
    }
    /// How many records of a crop.
    pub fn count_of(&self, crop: &str) -> usize {
        self.records.values().filter(|r| r.cultivar.crop == crop).count()
    }
    /// How many records.
    pub fn record_count(&self) -> usize {
        self.records.len()
    }
    /// How many pieces of evidence.
    pub fn evidence_count(&self) -> usize {
        self.evidence_count
    }
    /// What sources say of a crop as a whole.
    pub fn on_crop<'a>(&'a self, crop: &'a str) -> impl Iterator<Item = &'a Evidence> {
        self.on_crops.iter().filter(move |e| e.crop == crop)
    }
}

fn sort_key(cultivar: &Cultivar) -> String {
    format!("{}/{}/{}", cultivar.crop, Folded::new(&cultivar.name).key(), cultivar.qualifier)
}

fn names_of(cultivar: &Cultivar) -> Vec<Entry<CultivarId>> {
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
    all
}
