//! The handlers, a file for each noun: admission, conversion, use case, conversion.

mod account;
mod alert;
mod claim;
mod club;
mod crop;
mod cultivar;
mod curation;
mod evidence;
mod export;
mod grafts;
mod lot;
mod movement;
mod notice;
mod offer;
mod plan;
mod round;
mod server;
mod want;

pub use account::AccountRpc;
pub use alert::AlertRpc;
pub use claim::ClaimRpc;
pub use club::ClubRpc;
pub use crop::CropRpc;
pub use cultivar::CultivarRpc;
pub use curation::CurationRpc;
pub use evidence::EvidenceRpc;
pub use export::ExportRpc;
pub use grafts::GraftRpc;
pub use lot::LotRpc;
pub use movement::MovementRpc;
pub use notice::NoticeRpc;
pub use offer::OfferRpc;
pub use plan::PlanRpc;
pub use round::RoundRpc;
pub use server::ServerRpc;
pub use want::WantRpc;
