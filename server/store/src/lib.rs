//! Storage of the server. One code path serves SQLite and PostgreSQL; callers see domain types and never rows.
//! Reads take a [`Reader`] or a [`Tx`]. Writes happen in a [`Job`] that [`Store::write`] runs.

mod accounts;
mod alerts;
mod blocks;
mod claims;
mod clubs;
mod condition;
mod connect;
mod curation;
mod day;
mod door;
mod entity;
mod error;
mod evidence;
mod grafts;
mod lots;
mod missing;
mod notices;
mod observers;
mod offers;
mod plans;
mod profiles;
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

/// Reads and writes accounts, sessions, role grants and invitations.
pub mod account_store {
    pub use crate::accounts::*;
}
/// Reads and writes crops, sources and cultivars, and imports catalogue evidence.
pub mod registry_store {
    pub use crate::registry::*;
}
/// Counts look-ups, keepers and offers by cultivar.
pub mod missing_store {
    pub use crate::missing::*;
}
/// Reads and writes offers.
pub mod offer_store {
    pub use crate::offers::*;
}
/// Reads and writes idempotency keys, the audit log, the outbox and settings.
pub mod record_store {
    pub use crate::records::*;
}
/// Reads and writes pieces of evidence and their checks.
pub mod evidence_store {
    pub use crate::evidence::*;
}
/// Reads and writes observers (who counts as one voice in evidence) and their weights.
pub mod observer_store {
    pub use crate::observers::*;
}
/// Reads and writes proposals, versions of records and the public history.
pub mod curation_store {
    pub use crate::curation::*;
}
/// Copies a swap day out of a database and into another, and keeps what was brought home.
pub mod day_store {
    pub use crate::day::*;
}
/// Reads and writes sowings.
pub mod sowing_store {
    pub use crate::sowings::*;
}
/// Reads and writes complaints (tickets).
pub mod ticket_store {
    pub use crate::tickets::*;
}
/// Reads and writes plans.
pub mod plan_store {
    pub use crate::plans::*;
}
/// Reads and writes profiles of members and their short numbers of items.
pub mod profile_store {
    pub use crate::profiles::*;
}
/// Reads and writes the grafting log.
pub mod graft_store {
    pub use crate::grafts::*;
}
/// Reads and writes claims, and the promised quantity of offers.
pub mod claim_store {
    pub use crate::claims::*;
}
/// Reads and writes blocks between members.
pub mod block_store {
    pub use crate::blocks::*;
}
/// Reads and writes lots, their descent and their tests.
pub mod lot_store {
    pub use crate::lots::*;
}
/// Reads and writes alerts and the lots where they start.
pub mod alert_store {
    pub use crate::alerts::*;
}
/// Reads and writes notices and mail addresses.
pub mod notice_store {
    pub use crate::notices::*;
}
/// Reads and writes clubs, their members and invitations.
pub mod club_store {
    pub use crate::clubs::*;
}
/// Reads and writes wants.
pub mod want_store {
    pub use crate::wants::*;
}
/// Reads and writes swap rounds.
pub mod round_store {
    pub use crate::rounds::*;
}
/// Reads and writes releases of movement rules that stewards propose and publish.
pub mod release_store {
    pub use crate::releases::*;
}
/// Reads and writes protections of cultivars.
pub mod protection_store {
    pub use crate::protections::*;
}
