//! The handlers, a file for each noun: admission, conversion, use case, conversion.

mod account;
mod claim;
mod crop;
mod cultivar;
mod curation;
mod evidence;
mod export;
mod grafts;
mod movement;
mod offer;
mod plan;
mod server;

pub use account::AccountRpc;
pub use claim::ClaimRpc;
pub use crop::CropRpc;
pub use cultivar::CultivarRpc;
pub use curation::CurationRpc;
pub use evidence::EvidenceRpc;
pub use export::ExportRpc;
pub use grafts::GraftRpc;
pub use movement::MovementRpc;
pub use offer::OfferRpc;
pub use plan::PlanRpc;
pub use server::ServerRpc;
