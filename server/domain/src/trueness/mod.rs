//! How many of a cultivar's seedlings are not true to it: one model for a crop, from which look-ups, odds, ways, advice,
//! plans and wants all read.
//!
//! Unknown of a cultivar is theta, the share of off-types among its seedlings as they come. logit(theta) is Normal(mu,
//! tau) over the cultivars of a crop, those stated polyembryonic and the others apart; mu is Normal(0, 1.5) and tau
//! half-Normal(1.5), carried along on a grid, never as a point: with few counted cultivars the spread itself is unsure.
//! Evidence enters as what it is ([`Observed`]): counts, rates without their counts, classes with open ends, seeds that
//! held an off-type sprout. A statement enters nothing but the group that a cultivar is in.

use std::sync::Arc;

mod crop_model;
mod grid;
mod observed;

pub use crop_model::{CropModel, UNITS_MAX, UnitId, after};
pub use grid::Spread;
pub use observed::{Held, Observed, OffTypes};

/// What is known of a cultivar's off-types.
#[derive(Clone, Debug, PartialEq)]
pub struct Trueness {
    /// The share of off-types among its seedlings as they come.
    pub off_type: Spread,
    /// What the other cultivars of the crop and group say of it.
    pub of_crop: Spread,
    /// Something was counted or published of the cultivar itself; otherwise it is the spread over the crop's cultivars.
    pub own: bool,
    /// How many other cultivars of the crop and group were counted.
    pub others: usize,
    /// The lowest and the highest share that was found in any of them; none where there are none.
    pub seen: Option<(f64, f64)>,
}

impl Trueness {
    /// Of a cultivar of which, and of whose crop, nothing was counted.
    pub fn unknown() -> Arc<Self> {
        CropModel::default().of_uncounted()
    }
}
