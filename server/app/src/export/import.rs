//! Taking in another registry's export: all of it or nothing. Records of a name that is here already take the
//! foreign evidence under their own id; what is here stays as it is.

use std::{
    collections::{BTreeMap, HashMap, HashSet},
    io::BufRead,
};

use scionary_domain::{
    crop::Crop,
    cultivar::{Cultivar, Source},
    curation::Content,
    evidence::{Check, Evidence, Observer, growers::Record},
    ids::{AccountId, CultivarId},
};
use scionary_store::{Weight, account_store, curation_store, evidence_store, observer_store, registry_store};

use super::whole::{Line, VERSION, WeightLine};
use crate::{App, Done, Error, KeepReply, UseCase, Write, registry};

/// How an import of a registry ended.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RegistryImported {
    /// Crops that are new.
    pub crops: u64,
    /// Sources that are new.
    pub sources: u64,
    /// Records that are new.
    pub records: u64,
    /// Records whose name was here already: their evidence went to ours.
    pub joined: u64,
    /// Pieces of evidence that are new.
    pub evidence: u64,
    /// Sources of the same key with other words here: ours stand.
    pub kept_ours: u64,
    /// Pieces left out: they are in the name of an account of this server, or of a crop that is not on file.
    pub left_out: u64,
}

/// A file, read.
#[derive(Default)]
struct File {
    weights_version: i64,
    crops: Vec<Crop>,
    sources: Vec<Source>,
    cultivars: Vec<Cultivar>,
    observers: Vec<(Observer, Option<WeightLine>)>,
    evidence: Vec<(Evidence, Option<String>)>,
}

fn read(input: impl BufRead) -> Result<File, Error> {
    let wrong = |line: u64, what: String| {
        Error::from(scionary_domain::field::FieldError::new(format!("line {line}"), what))
    };
    let mut file = File::default();
    let mut lines = 0_u64;
    let mut ended = false;
    for text in input.lines() {
        let at = lines + 1;
        let text = text.map_err(|e| wrong(at, e.to_string()))?;
        if ended {
            return Err(wrong(at, "nothing expected after the end".into()));
        }
        let line: Line = serde_json::from_str(&text).map_err(|e| wrong(at, e.to_string()))?;
        match line {
            Line::Header { format, format_version, weights_version, .. } => {
                if lines > 0 || format != "scionary registry" || format_version != VERSION {
                    return Err(wrong(at, format!("a registry export of version {VERSION} expected")));
                }
                file.weights_version = weights_version;
            }
            _ if lines == 0 => return Err(wrong(at, "a header expected first".into())),
            Line::Crop { crop } => file.crops.push(*crop),
            Line::Source { source } => file.sources.push(source),
            Line::Cultivar { cultivar } => file.cultivars.push(*cultivar),
            Line::Observer { observer, weight } => file.observers.push((observer, weight)),
            Line::Evidence { evidence, row_key } => file.evidence.push((*evidence, row_key)),
            Line::End { lines: counted } => {
                if counted != lines {
                    return Err(wrong(at, format!("{counted} lines expected before the end, {lines} found")));
                }
                ended = true;
            }
        }
        lines += 1;
    }
    if !ended {
        return Err(wrong(lines, "the file is cut: its last line is missing".into()));
    }
    Ok(file)
}

struct TakeIn(File);

impl UseCase for TakeIn {
    type Out = RegistryImported;
    async fn run(&self, write: &Write<'_>) -> Result<Done<RegistryImported>, Error> {
        let tx = write.tx;
        let now = write.call.now;
        let file = &self.0;
        let mut out = RegistryImported::default();
        let mut crops: HashSet<String> =
            registry_store::crops(tx).await?.into_iter().map(|c| c.slug).collect();
        for crop in &file.crops {
            if crops.insert(crop.slug.clone()) {
                registry_store::put_crop(tx, crop, now).await?;
                out.crops += 1;
            }
        }
        let sources: HashMap<String, Source> =
            registry_store::sources(tx).await?.into_iter().map(|s| (s.id.clone(), s)).collect();
        for source in &file.sources {
            match sources.get(&source.id) {
                None => {
                    registry_store::put_source(tx, source).await?;
                    out.sources += 1;
                }
                Some(ours) if ours != source => out.kept_ours += 1,
                Some(_) => {}
            }
        }
        let mut ours: BTreeMap<CultivarId, CultivarId> = BTreeMap::new();
        let in_file: HashSet<CultivarId> = file.cultivars.iter().map(|c| c.id).collect();
        for cultivar in file.cultivars.iter().filter(|c| crops.contains(&c.crop)) {
            // those that stand come first in a file: what points at nothing stands for itself
            let into = cultivar.merged_into.filter(|id| *id != cultivar.id).and_then(|id| {
                let there = ours.contains_key(&id);
                ours.get(&id).copied().or((there && in_file.contains(&id)).then_some(id))
            });
            let known =
                curation_store::record_named(tx, &cultivar.crop, &cultivar.name, &cultivar.qualifier).await?;
            match known {
                Some(id) => {
                    if id != cultivar.id {
                        out.joined += 1;
                    }
                    ours.insert(cultivar.id, id);
                }
                None => {
                    let content = Content::from(cultivar);
                    let new = curation_store::import_record(
                        tx,
                        cultivar.id,
                        &cultivar.crop,
                        &content,
                        cultivar.version,
                        into,
                        now,
                    )
                    .await?;
                    out.records += u64::from(new);
                    ours.insert(cultivar.id, cultivar.id);
                }
            }
        }
        for (observer, _) in &file.observers {
            observer_store::import(tx, observer, now).await?;
        }
        self.take_weights(write).await?;
        let locals = self.local_accounts(write).await?;
        let mut pieces: Vec<(Evidence, Option<String>)> = Vec::new();
        for (piece, key) in &file.evidence {
            let cultivar = match piece.cultivar {
                None => None,
                Some(id) => match ours.get(&id) {
                    Some(own) => Some(*own),
                    None => {
                        out.left_out += 1;
                        continue;
                    }
                },
            };
            let mut piece = Evidence { cultivar, ..piece.clone() };
            if let Some(observed) = &mut piece.observed {
                // no one speaks in the name of someone of this server, except for what is here already
                let ours_already = evidence_store::piece(tx, piece.id).await?.is_some();
                if locals.contains(&observed.by.account) && !ours_already {
                    out.left_out += 1;
                    continue;
                }
                observed.checks.retain(|c| !locals.contains(&c.by.account));
            }
            pieces.push((piece, key.clone()));
        }
        out.evidence = evidence_store::import(tx, &pieces, now).await?;
        for (piece, _) in &pieces {
            let checks: &[Check] = piece.observed.as_ref().map_or(&[], |o| o.checks.as_slice());
            // a piece whose row is here under another id was passed over, and so are its checks
            if !checks.is_empty() && evidence_store::piece(tx, piece.id).await?.is_some() {
                evidence_store::import_checks(tx, piece.id, checks).await?;
            }
        }
        let change = serde_json::json!({ "records": out.records, "evidence": out.evidence });
        Ok(Done::new(out, "registry.imported", "registry", change).and_publish(registry::TOPIC, "import"))
    }
}

impl TakeIn {
    /// Accounts of this server that the file names.
    async fn local_accounts(&self, write: &Write<'_>) -> Result<HashSet<AccountId>, Error> {
        let named: Vec<AccountId> = self.0.observers.iter().map(|(o, _)| o.account).collect();
        let mut found = HashSet::new();
        for chunk in named.chunks(500) {
            found.extend(account_store::display_names(write.tx, chunk).await?.into_keys());
        }
        Ok(found)
    }

    /// The weight table of the export, where there is none here yet: findings come out as they were there.
    async fn take_weights(&self, write: &Write<'_>) -> Result<(), Error> {
        if observer_store::weights_version(write.tx).await? > 0 || self.0.weights_version == 0 {
            return Ok(());
        }
        let rows: BTreeMap<AccountId, Weight> = self
            .0
            .observers
            .iter()
            .filter_map(|(observer, weight)| {
                let w = weight.as_ref()?;
                let weight = Weight {
                    version: self.0.weights_version,
                    accuracy: w.accuracy,
                    record: Record {
                        compared: w.compared,
                        right: w.right,
                        borne_out: w.borne_out,
                        doubted: w.doubted,
                        pieces: w.pieces,
                    },
                    diagnosis: None,
                    diagnosis_items: 0,
                };
                Some((observer.account, weight))
            })
            .collect();
        Ok(observer_store::replace_weights(write.tx, &rows).await?)
    }
}

impl App {
    /// Takes in another registry's export.
    ///
    /// # Errors
    /// A file that cannot be read, with its line; the database is away. Nothing is written then.
    pub async fn import_registry(
        &self,
        input: impl BufRead + Send + 'static,
    ) -> Result<RegistryImported, Error> {
        let file = tokio::task::spawn_blocking(move || read(input))
            .await
            .map_err(|e| Error::Internal(format!("the file could not be read: {e}")))??;
        let call = self.system_call()?;
        let result = std::sync::Arc::new(std::sync::OnceLock::new());
        let keep = result.clone();
        let done = move |out: &RegistryImported| {
            let _ = keep.set(out.clone());
            Vec::new()
        };
        self.write(&call, TakeIn(file), KeepReply::Yes, done).await?;
        self.refresh_registry().await?;
        result.get().cloned().ok_or_else(|| Error::Internal("the import gave no result".into()))
    }
}
