//! Where things are kept. One code path serves SQLite and PostgreSQL; callers see domain types only, never
//! a row. Reads take a [`Reader`] or a [`Tx`]; writes happen in a [`Job`] that the one door runs.

mod accounts;
mod alerts;
mod blocks;
mod claims;
mod clubs;
mod condition;
mod connect;
mod curation;
mod door;
mod entity;
mod error;
mod evidence;
mod grafts;
mod lots;
mod notices;
mod observers;
mod offers;
mod plans;
mod protections;
mod records;
mod registry;
mod releases;
mod rounds;
mod source;
mod sowings;
mod sqlite;
mod tickets;
mod wants;

pub use accounts::{NewAccount, NewSession, SessionFacts};
pub use condition::{Ailment, Condition};
pub use connect::{Backend, ConnectError, Options, Store};
pub use curation::{DescriptorText, Event, ProposalQuery, Version};
pub use door::{Job, Tx};
pub use entity::tables;
pub use error::StoreError;
pub use evidence::{GROWER, Of, Stored, TwinKey};
pub use observers::Weight;
pub use offers::{Near, OfferKey, OfferOrder, OfferQuery, Ranked};
pub use records::{AuditRow, Kept, OutboxRow};
pub use registry::{CatalogueCultivar, CatalogueEvidence, EvidenceKey};
pub use source::{Reader, Source};
pub use tickets::{Ticket, TicketQuery};

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
/// Reading and writing pieces of evidence and their checks.
pub mod evidence_store {
    pub use crate::evidence::*;
}
/// What evidence knows of its people.
pub mod observer_store {
    pub use crate::observers::*;
}
/// Proposals, versions and history.
pub mod curation_store {
    pub use crate::curation::*;
}
/// Sowings.
pub mod sowing_store {
    pub use crate::sowings::*;
}
/// Complaints.
pub mod ticket_store {
    pub use crate::tickets::*;
}
/// Plans.
pub mod plan_store {
    pub use crate::plans::*;
}
/// The grafting log.
pub mod graft_store {
    pub use crate::grafts::*;
}
/// Claims.
pub mod claim_store {
    pub use crate::claims::*;
}
/// Members who block each other.
pub mod block_store {
    pub use crate::blocks::*;
}
/// Lots, what they descend from, tests.
pub mod lot_store {
    pub use crate::lots::*;
}
/// Alerts.
pub mod alert_store {
    pub use crate::alerts::*;
}
/// Notices.
pub mod notice_store {
    pub use crate::notices::*;
}
/// Clubs and their members.
pub mod club_store {
    pub use crate::clubs::*;
}
/// Wants.
pub mod want_store {
    pub use crate::wants::*;
}
/// Swap rounds.
pub mod round_store {
    pub use crate::rounds::*;
}
/// Rules on moving plants that stewards proposed and published.
pub mod release_store {
    pub use crate::releases::*;
}
/// Protected cultivars.
pub mod protection_store {
    pub use crate::protections::*;
}
