//! The weight table: made by a nightly job from all evidence, and named by its version in findings.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    sync::{Arc, Weak},
};

use scionary_domain::{
    agreement::{
        dawid_skene::{self, Options, Rating},
        descriptor::{self, Agreement},
    },
    crop::{Crop, DescriptorKind},
    evidence::{Evidence, Value, growers, voice::voice},
    ids::AccountId,
};
use scionary_store::{Weight, observer_store, record_store};

use crate::{
    App, Done, Error, KeepReply, UseCase, Write,
    registry::{self, Registry},
};

/// The day on which a table was last made.
const SETTING: &str = "weights.made_on";
/// Fewer shared records than this tell nothing of an observer.
const SHARED_MIN: usize = 20;
/// Changes of accuracy below this are not worth a new version, which has every finding made again.
const WORTH: f64 = 0.005;

/// Agreement on each crop, with the registry that it was computed of.
pub(crate) type Agreements = HashMap<String, (Weak<Registry>, Vec<Agreement>)>;

/// Puts a table in place.
struct PutWeights {
    rows: BTreeMap<AccountId, Weight>,
    day: String,
    /// Only if no table was made on the day yet: several servers may want to.
    once_a_day: bool,
}

impl UseCase for PutWeights {
    type Out = bool;
    async fn run(&self, write: &Write<'_>) -> Result<Done<bool>, Error> {
        let nothing = |out| Done::quiet(out);
        let made_on = record_store::setting(write.tx, SETTING).await?;
        if self.once_a_day && made_on.as_ref() == Some(&self.day) {
            return Ok(nothing(false));
        }
        record_store::set_setting(write.tx, SETTING, &self.day, write.call.now).await?;
        let old = observer_store::weights(write.tx).await?;
        let version = observer_store::weights_version(write.tx).await? + 1;
        let same = old.len() == self.rows.len()
            && self.rows.iter().all(|(id, new)| {
                old.get(id).is_some_and(|old| {
                    (old.accuracy - new.accuracy).abs() < WORTH && old.record.pieces == new.record.pieces
                })
            });
        if same {
            return Ok(nothing(false));
        }
        let rows = self.rows.iter().map(|(id, w)| (*id, Weight { version, ..*w })).collect();
        observer_store::replace_weights(write.tx, &rows).await?;
        let change = serde_json::json!({ "version": version, "growers": rows.len() });
        Ok(Done::new(true, "weights.made", version, change).and_publish(registry::TOPIC, "weights"))
    }
}

/// What every grower's evidence gives, over the whole registry.
fn table(registry: &Registry) -> BTreeMap<AccountId, Weight> {
    let mut table = growers::Table::default();
    for record in registry.records() {
        if let Some(crop) = registry.crop(&record.cultivar.crop) {
            table.add(crop, &record.evidence);
        }
    }
    let diagnosis = diagnosis(registry);
    table
        .finish()
        .into_iter()
        .map(|(id, record)| {
            let (share, items) = diagnosis.get(&id).copied().unwrap_or((0.0, 0));
            let weight = Weight {
                version: 0,
                accuracy: record.accuracy(),
                record,
                diagnosis: (items >= SHARED_MIN).then_some(share),
                diagnosis_items: u32::try_from(items).unwrap_or(u32::MAX),
            };
            (id, weight)
        })
        .collect()
}

/// A grower's class of a piece, as a number.
fn class(crop: &Crop, piece: &Evidence) -> Option<usize> {
    let descriptor = crop.descriptor(&piece.descriptor)?;
    match &piece.value {
        Value::Class { state } | Value::Grade { state } => {
            descriptor.states.iter().position(|s| s.key == *state)
        }
        Value::Tally { .. }
        | Value::Rate { .. }
        | Value::Quantity { .. }
        | Value::Period { .. }
        | Value::Sighting { .. }
        | Value::Text { .. } => None,
    }
}

/// The model of Dawid and Skene over each descriptor with classes: the share expected right, and of how many shared
/// records, averaged over descriptors.
fn diagnosis(registry: &Registry) -> HashMap<AccountId, (f64, usize)> {
    let mut sums: HashMap<AccountId, (f64, usize)> = HashMap::new();
    for crop in registry.crops() {
        let of_crop: Vec<&[Arc<Evidence>]> = registry
            .records()
            .filter(|r| r.cultivar.crop == crop.slug)
            .map(|r| r.evidence.as_slice())
            .collect();
        let with_classes = crop
            .descriptors
            .iter()
            .filter(|d| matches!(d.kind, DescriptorKind::Category | DescriptorKind::Ordinal));
        for descriptor in with_classes {
            let mut people: BTreeMap<AccountId, usize> = BTreeMap::new();
            let mut ratings = Vec::new();
            for (item, evidence) in of_crop.iter().enumerate() {
                let mut own = Vec::new();
                let mut seen = BTreeSet::new();
                for piece in evidence.iter().filter(|e| e.descriptor == descriptor.key) {
                    let Some(observed) = &piece.observed else { continue };
                    let Some(class) = class(crop, piece).filter(|_| !voice(piece).published) else {
                        continue;
                    };
                    if seen.insert(observed.by.account) {
                        own.push((observed.by.account, class));
                    }
                }
                if own.len() < 2 {
                    continue;
                }
                for (account, class) in own {
                    let next = people.len();
                    let observer = *people.entry(account).or_insert(next);
                    ratings.push(Rating { item, observer, class });
                }
            }
            let Some(fit) = dawid_skene::fit(&ratings, descriptor.states.len(), Options::MAP) else {
                continue;
            };
            for (account, observer) in people {
                if let Some(found) = dawid_skene::accuracy(&fit, &ratings, observer) {
                    let sum = sums.entry(account).or_default();
                    let items = u32::try_from(found.ratings).map_or(0.0, f64::from);
                    sum.0 += found.share * items;
                    sum.1 += found.ratings;
                }
            }
        }
    }
    for (share, items) in sums.values_mut() {
        *share /= u32::try_from(*items).map_or(1.0, f64::from).max(1.0);
    }
    sums
}

impl App {
    /// Makes the weight table again. Whether anything changed. `once_a_day` is for the nightly job of servers that
    /// share a database.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn weigh_growers(&self, once_a_day: bool) -> Result<bool, Error> {
        let call = self.system_call()?;
        let day = call.now.date().to_string();
        if once_a_day && record_store::setting(self.store().reader(), SETTING).await?.as_ref() == Some(&day) {
            return Ok(false);
        }
        self.refresh_registry().await?;
        let registry = self.registry();
        let rows = tokio::task::spawn_blocking(move || table(&registry))
            .await
            .map_err(|e| Error::Internal(format!("the weights could not be made: {e}")))?;
        let put = PutWeights { rows, day, once_a_day };
        let changed = self.write(&call, put, KeepReply::Yes, |made| vec![u8::from(*made)]).await?;
        if changed == [1] {
            self.refresh_registry().await?;
        }
        Ok(changed == [1])
    }

    /// Agreement of growers on each descriptor of a crop.
    ///
    /// # Errors
    /// [`Error::NotFound`].
    pub async fn agreement(&self, crop: &str) -> Result<Vec<Agreement>, Error> {
        let registry = self.registry();
        let slug = crop.trim().to_lowercase();
        if registry.crop(&slug).is_none() {
            return Err(scionary_domain::field::FieldError::new("crop", registry.crop_expected(crop)).into());
        }
        // one at a time, and once for each state of the registry: it draws records again some hundred times
        let mut kept = self.0.agreements.lock().await;
        if let Some((of, found)) = kept.get(&slug)
            && of.upgrade().is_some_and(|of| Arc::ptr_eq(&of, &registry))
        {
            return Ok(found.clone());
        }
        let of = Arc::downgrade(&registry);
        let key = slug.clone();
        let found = tokio::task::spawn_blocking(move || {
            let Some(crop) = registry.crop(&slug) else { return Vec::new() };
            let own = registry.records().filter(|r| r.cultivar.crop == slug).map(|r| r.evidence.as_slice());
            descriptor::of(crop, own)
        })
        .await
        .map_err(|e| Error::Internal(format!("agreement could not be computed: {e}")))?;
        kept.insert(key, (of, found.clone()));
        Ok(found)
    }
}
