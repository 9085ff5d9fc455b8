//! Where things are kept. One code path serves SQLite and PostgreSQL; callers see domain types only, never
//! a row. Reads take a [`Reader`] or a [`Tx`]; writes happen in a [`Job`] that the one door runs.

mod accounts;
mod connect;
mod door;
mod entity;
mod error;
mod offers;
mod records;
mod registry;
mod source;

pub use accounts::{NewAccount, NewSession, SessionFacts};
pub use connect::{Backend, ConnectError, Options, Store};
pub use door::{Job, Tx};
pub use entity::tables;
pub use error::StoreError;
pub use offers::{Near, OfferKey, OfferOrder, OfferQuery, Ranked};
pub use records::{AuditRow, Kept, OutboxRow, Revision};
pub use registry::{CatalogueCultivar, CatalogueEvidence, EvidenceKey};
pub use source::{Reader, Source};

/// Reading and writing accounts, sessions, roles and invitations.
pub mod account_store {
    pub use crate::accounts::*;
}
/// Reading and writing crops, sources, cultivars and evidence.
pub mod registry_store {
    pub use crate::registry::*;
}
/// Reading and writing offers.
pub mod offer_store {
    pub use crate::offers::*;
}
/// What every write leaves behind.
pub mod record_store {
    pub use crate::records::*;
}
