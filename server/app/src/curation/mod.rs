//! Curation: proposals by any grower, rulings by curators, locks, history, complaints.

mod enter;
mod fit;
mod lock;
mod propose;
mod read;
mod rule;
mod tickets;

pub use enter::EnterCultivar;
pub use fit::Remark;
pub use lock::LockRecord;
pub use propose::{Propose, WithdrawProposal};
pub use read::{HistoryEvent, ProposalFilter, ShownProposal};
pub use rule::RuleOnProposal;
pub use tickets::{CloseTicket, FileTicket, ShownTicket, Subject};
