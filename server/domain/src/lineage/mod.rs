//! Lineage: mother plants and lots with codes for their tags, their descent, and the lots that a sick or
//! misnamed ancestor affects.

mod alert;
mod code;
mod lot;
mod trace;

pub use alert::{
    ALWAYS, Alert, AlertDraft, AlertKind, AlertState, Node, Part, checked as check_alert, starts,
};
pub use code::{CodeError, LotCode};
pub use lot::{Descent, Kind, Link, Lot, LotDraft, LotTest, Origin, check as check_lot, fits};
pub use trace::{Direction, Exposure, Record, Route, Search, common_sources};
