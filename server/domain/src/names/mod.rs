//! Matches names as growers type, hear and mishear them. [`fold`] makes comparable forms, [`score`] compares
//! two of them, and [`index`] finds and ranks candidates with a reason for each.
//!
//! The score blends edit distance on joined words, on sorted words and on a sound key with trigram overlap and
//! word-set overlap. It was chosen for its measured recall over single measures; `tests/it/names.rs` measures
//! recall on generated misspellings.

pub mod distance;
pub mod epithet;
pub mod fold;
pub mod index;
pub mod score;
pub mod sound;

pub use fold::Folded;
pub use index::{Hit, NameIndex, Reason};
