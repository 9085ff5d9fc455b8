//! Share of a cultivar's seedlings that are off-type: one model for a crop, which look-ups, odds, ways, advice,
//! plans and wants all use.
//!
//! The unknown is theta, the share of off-types among a cultivar's unselected seedlings. logit(theta) is Normal(mu,
//! tau) over the cultivars of a crop, separately for those stated polyembryonic and the others. mu is Normal(0, 1.5)
//! and tau is half-Normal(1.5). Both stay on a grid and are never reduced to a point, because few counted cultivars
//! leave the spread itself uncertain. Evidence ([`Observed`]) enters in its own form: counts, rates without counts,
//! classes with open ends, seeds with an off-type sprout. A statement only decides the group of a cultivar.

use std::sync::Arc;

mod crop_model;
mod grid;
mod next;
mod observed;

pub use crop_model::{CropModel, UNITS_MAX, UnitId, after};
pub use grid::Spread;
pub use next::{JUDGED, Source, Taught, taught, taught_by_sprouts, worth};
pub use observed::{Held, Observed, OffTypes};

/// Result of the model for one cultivar.
#[derive(Clone, Debug, PartialEq)]
pub struct Trueness {
    /// Share of off-types among its unselected seedlings.
    pub off_type: Spread,
    /// The same share, from the other cultivars of the crop and group alone.
    pub of_crop: Spread,
    /// True if the cultivar itself was counted or has a published rate; otherwise `off_type` equals `of_crop`.
    pub own: bool,
    /// Number of other observed cultivars in the crop and group.
    pub others: usize,
    /// Lowest and highest share observed in those; `None` without any.
    pub seen: Option<(f64, f64)>,
}

impl Trueness {
    /// Returns the result for a cultivar of a crop without observations.
    pub fn unknown() -> Arc<Self> {
        CropModel::default().of_uncounted()
    }
}
