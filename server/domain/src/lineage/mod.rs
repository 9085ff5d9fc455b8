//! Lineage: codes for tags, and what is exposed when something in the descent proves sick or misnamed.

mod code;
mod trace;

pub use code::{CodeError, LotCode};
pub use trace::{Back, Exposure, Forward, Record, Route, common_sources};
