//! Writing a catalogue to the registry: all of it or nothing, and nothing if it has not changed.

use std::collections::{BTreeMap, BTreeSet};

use scionary_domain::{
    cultivar::{Cultivar, OtherName},
    evidence::Evidence,
    ids::{CultivarId, EvidenceId},
    names::Folded,
};
use scionary_store::{CatalogueCultivar, CatalogueEvidence, EvidenceKey, record_store, registry_store};

use super::Catalogue;
use crate::{App, Done, Error, KeepReply, UseCase, Write, registry};

/// What loading a catalogue did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loaded {
    /// Its name.
    pub name: String,
    /// It was there already, byte for byte.
    pub unchanged: bool,
    /// Records it brings.
    pub records: usize,
    /// Pieces of evidence it brings.
    pub evidence: usize,
    /// Pieces that it brought before and no longer brings.
    pub removed: u64,
}

struct Load {
    catalogue: Catalogue,
}

impl UseCase for Load {
    type Out = Loaded;

    async fn run(&self, write: &Write<'_>) -> Result<Done<Loaded>, Error> {
        let Catalogue { name, hash, crops, sources, records, evidence } = &self.catalogue;
        let now = write.call.now;
        let setting = format!("catalogue.{name}");
        let mut out = Loaded {
            name: name.clone(),
            unchanged: true,
            records: records.len(),
            evidence: evidence.len(),
            removed: 0,
        };
        if record_store::setting(write.tx, &setting).await?.as_ref() == Some(hash) {
            return Ok(Done::quiet(out));
        }
        out.unchanged = false;
        // first of all: servers that start together wait here for each other
        record_store::set_setting(write.tx, &setting, hash, now).await?;
        for crop in crops {
            registry_store::put_crop(write.tx, crop, now).await?;
        }
        for source in sources {
            registry_store::put_source(write.tx, source).await?;
        }
        let mut ids: BTreeMap<(String, String, String), CultivarId> = BTreeMap::new();
        for record in records {
            let cultivar = Cultivar {
                id: CultivarId::from_uuid(write.new_uuid()?),
                crop: record.crop.clone(),
                name: record.name.clone(),
                qualifier: record.qualifier.clone(),
                botanical_name: record.botanical_name.clone(),
                rank: record.rank,
                origin: record.origin.clone(),
                notes: record.notes.clone(),
                names: record
                    .names
                    .iter()
                    .map(|(name, kind, disputed, source, note)| OtherName {
                        name: name.clone(),
                        kind: *kind,
                        disputed: *disputed,
                        source: source.clone(),
                        note: note.clone(),
                    })
                    .collect(),
                parents: record.parents.clone(),
                pins: Vec::new(),
                locked: None,
                merged_into: None,
                version: 1,
                updated_at: now,
            };
            let new = CatalogueCultivar { fresh_id: cultivar.id, cultivar: &cultivar, catalogue: name };
            let id = registry_store::put_catalogue_cultivar(write.tx, &new, now).await?;
            ids.insert((record.crop.clone(), Folded::new(&record.name).key(), record.qualifier.clone()), id);
        }
        let mut kept = BTreeSet::new();
        for piece in evidence {
            let cultivar = piece
                .about
                .as_ref()
                .and_then(|(n, q)| ids.get(&(piece.crop.clone(), Folded::new(n).key(), q.clone())))
                .copied();
            let row = Evidence {
                id: EvidenceId::from_uuid(write.new_uuid()?),
                crop: piece.crop.clone(),
                cultivar,
                subject: piece.subject.clone(),
                named_as: piece.named_as.clone(),
                descriptor: piece.descriptor.clone(),
                value: piece.value.clone(),
                place: piece.place.clone(),
                source: piece.source.clone(),
                as_stated: piece.as_stated.clone(),
                note: piece.note.clone(),
                observed: None,
            };
            let key = EvidenceKey(format!("{name}/{}", piece.row));
            registry_store::put_catalogue_evidence(
                write.tx,
                &CatalogueEvidence { key: &key, evidence: &row },
                now,
            )
            .await?;
            kept.insert(key);
        }
        out.removed = registry_store::forget_catalogue_evidence(write.tx, name, &kept).await?;
        let change = serde_json::json!({ "hash": hash, "records": out.records, "evidence": out.evidence });
        Ok(Done::new(out, "catalogue.loaded", name, change).and_publish(registry::TOPIC, name))
    }
}

impl App {
    /// Loads a catalogue unless it is there already, and refreshes the registry.
    ///
    /// # Errors
    /// When the database is away; nothing is written then.
    pub async fn load_catalogue(&self, catalogue: Catalogue) -> Result<Loaded, Error> {
        let call = self.system_call()?;
        let result = std::sync::Arc::new(std::sync::OnceLock::new());
        let keep = result.clone();
        let done = move |out: &Loaded| {
            let _ = keep.set(out.clone());
            Vec::new()
        };
        self.write(&call, Load { catalogue }, KeepReply::Yes, done).await?;
        self.refresh_registry().await?;
        result.get().cloned().ok_or_else(|| Error::Internal("loading a catalogue gave no result".into()))
    }
}
