//! The whole registry, one JSON object a line, in the order in which another server can take it in.

use std::collections::{BTreeMap, HashMap};

use scionary_domain::{
    crop::Crop,
    cultivar::{Cultivar, Source},
    evidence::{Evidence, Observer},
    ids::{AccountId, EvidenceId},
};
use scionary_store::{Reader, Weight, evidence_store, observer_store};
use serde::{Deserialize, Serialize};

use super::{Gone, Pipe};
use crate::{Error, registry::Registry};

/// The format that this server writes and reads.
pub(super) const VERSION: u32 = 1;

/// One line.
#[derive(Debug, Serialize, Deserialize)]
#[serde(tag = "line", rename_all = "snake_case")]
pub(super) enum Line {
    /// The first.
    Header { format: String, format_version: u32, policy_version: u32, weights_version: i64, licence: String },
    /// A crop's profile, with the words that rulings gave it.
    Crop { crop: Box<Crop> },
    /// A source.
    Source { source: Source },
    /// A record.
    Cultivar { cultivar: Box<Cultivar> },
    /// Someone who observed or checked, with the weight of the table named in the header.
    Observer { observer: Observer, weight: Option<WeightLine> },
    /// A current piece with its checks.
    Evidence { evidence: Box<Evidence>, row_key: Option<String> },
    /// The last: so many lines came before it. Without it the file was cut.
    End { lines: u64 },
}

/// What a weight rests on.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct WeightLine {
    pub(super) accuracy: f64,
    pub(super) compared: f64,
    pub(super) right: f64,
    pub(super) borne_out: u32,
    pub(super) doubted: u32,
    pub(super) pieces: u32,
}

/// What the registry in memory does not hold.
pub(super) struct Rest {
    row_keys: HashMap<EvidenceId, String>,
    weights: BTreeMap<AccountId, Weight>,
}

impl Rest {
    pub(super) async fn read(reader: &Reader, _registry: &Registry) -> Result<Self, Error> {
        Ok(Self {
            row_keys: evidence_store::row_keys(reader).await?,
            weights: observer_store::weights(reader).await?,
        })
    }
}

struct Counted<'a> {
    pipe: &'a mut Pipe,
    lines: u64,
}

impl Counted<'_> {
    fn put(&mut self, line: &Line) -> Result<(), Gone> {
        self.lines += 1;
        // our own types: they can be written
        self.pipe.line(&serde_json::to_string(line).unwrap_or_default())
    }
}

pub(super) fn write(
    pipe: &mut Pipe,
    registry: &Registry,
    rest: &Rest,
    crop: &str,
    licence: &str,
) -> Result<(), Gone> {
    let wanted = |slug: &str| crop.is_empty() || slug == crop;
    let mut out = Counted { pipe, lines: 0 };
    out.put(&Line::Header {
        format: "scionary registry".into(),
        format_version: VERSION,
        policy_version: scionary_domain::evidence::share::POLICY_VERSION,
        weights_version: registry.weights_version(),
        licence: licence.to_string(),
    })?;
    for crop in registry.crops().filter(|c| wanted(&c.slug)) {
        out.put(&Line::Crop { crop: Box::new(crop.clone()) })?;
    }
    for source in registry.sources() {
        out.put(&Line::Source { source: source.clone() })?;
    }
    let records = || registry.records().filter(|r| wanted(&r.cultivar.crop));
    // those that stand first: merged ones point at them
    for record in records() {
        out.put(&Line::Cultivar { cultivar: Box::new(record.cultivar.clone()) })?;
    }
    for merged in records().flat_map(|r| &r.merged) {
        out.put(&Line::Cultivar { cultivar: Box::new(merged.clone()) })?;
    }
    let mut people: BTreeMap<AccountId, Observer> = BTreeMap::new();
    for observed in records().flat_map(|r| &r.evidence).filter_map(|e| e.observed.as_ref()) {
        people.insert(observed.by.account, observed.by);
        people.extend(observed.checks.iter().map(|c| (c.by.account, c.by)));
    }
    for (id, observer) in people {
        let weight = rest.weights.get(&id).map(|w| WeightLine {
            accuracy: w.accuracy,
            compared: w.record.compared,
            right: w.record.right,
            borne_out: w.record.borne_out,
            doubted: w.record.doubted,
            pieces: w.record.pieces,
        });
        out.put(&Line::Observer { observer, weight })?;
    }
    let on_crops = registry.crops().filter(|c| wanted(&c.slug)).flat_map(|c| registry.on_crop(&c.slug));
    for piece in records().flat_map(|r| &r.evidence).chain(on_crops) {
        out.put(&Line::Evidence {
            row_key: rest.row_keys.get(&piece.id).cloned(),
            evidence: Box::new(Evidence::clone(piece)),
        })?;
    }
    let lines = out.lines;
    out.put(&Line::End { lines })
}
