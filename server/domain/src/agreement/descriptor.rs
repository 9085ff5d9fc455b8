//! How far growers agree on each descriptor of a crop, over all its records.

use std::{collections::BTreeMap, sync::Arc};

use super::alpha::{Alpha, Metric, Unit, alpha_with_interval};
use crate::{
    crop::{Crop, Descriptor, DescriptorKind},
    evidence::{Evidence, Value, voice::listen},
};

/// Number of bootstrap resamples for the interval.
const RESAMPLES: usize = 400;
/// Fixed seed of the bootstrap, so that the same evidence gives the same interval.
const SEED: u64 = 0x5c10_4a17;

/// Agreement on one descriptor.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// Key of the descriptor.
    pub descriptor: String,
    /// Label of the descriptor, for display.
    pub label: String,
    /// Krippendorff's alpha over the records that at least two independent voices judged; `None` without any.
    pub alpha: Option<Alpha>,
    /// Name of the difference function: `nominal`, `ordinal`, `interval` or `ratio`.
    pub metric: &'static str,
}

/// Returns the difference function for a descriptor's kind; `None` for texts and periods.
fn metric(descriptor: &Descriptor) -> Option<(Metric, &'static str)> {
    match descriptor.kind {
        DescriptorKind::Category => Some((Metric::Nominal, "nominal")),
        DescriptorKind::Ordinal => Some((Metric::Ordinal, "ordinal")),
        DescriptorKind::Quantity => Some((Metric::Ratio, "ratio")),
        DescriptorKind::CountRatio => Some((Metric::Interval, "interval")),
        DescriptorKind::Period | DescriptorKind::Text => None,
    }
}

/// Maps a value to the number that the metric compares.
fn code(descriptor: &Descriptor, value: &Value) -> Option<f64> {
    match value {
        Value::Class { state } | Value::Grade { state } => {
            let at = descriptor.states.iter().position(|s| s.key == *state)?;
            u32::try_from(at).ok().map(f64::from)
        }
        Value::Tally { counted, of_these } => {
            (*counted > 0).then(|| f64::from(*of_these) / f64::from(*counted))
        }
        // Three significant digits limit the distinct values: the ratio metric compares every pair of them.
        Value::Quantity { mean: Some(mean), .. } => three_digits(*mean),
        Value::Quantity { .. }
        | Value::Rate { .. }
        | Value::Period { .. }
        | Value::Sighting { .. }
        | Value::Text { .. } => None,
    }
}

fn three_digits(value: f64) -> Option<f64> {
    if value <= 0.0 || !value.is_finite() {
        return None;
    }
    let scale = 10f64.powf(value.log10().floor() - 2.0);
    Some((value / scale).round() * scale)
}

/// Returns the agreement on each descriptor of a kind that has a metric, over the records of a crop. A unit
/// is a record. The first value of each voice in it counts.
pub fn of<'a>(crop: &Crop, records: impl Iterator<Item = &'a [Arc<Evidence>]> + Clone) -> Vec<Agreement> {
    crop.descriptors
        .iter()
        .filter_map(|descriptor| {
            let (metric, name) = metric(descriptor)?;
            let units: Vec<Unit> = records
                .clone()
                .map(|evidence| {
                    let mut of: BTreeMap<String, f64> = BTreeMap::new();
                    for heard in listen(evidence.iter().filter(|e| e.descriptor == descriptor.key)) {
                        let heeded = heard.voice.trust > 0.0;
                        if let Some(value) = code(descriptor, &heard.evidence.value).filter(|_| heeded) {
                            of.entry(heard.voice.group).or_insert(value);
                        }
                    }
                    of.into_values().collect()
                })
                .filter(|unit: &Unit| unit.len() > 1)
                .collect();
            Some(Agreement {
                descriptor: descriptor.key.clone(),
                label: descriptor.label.clone(),
                alpha: alpha_with_interval(&units, metric, RESAMPLES, SEED),
                metric: name,
            })
        })
        .collect()
}
