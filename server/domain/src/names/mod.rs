//! Names as growers type, hear and mis-hear them. [`fold`] makes forms to compare, [`score`] compares
//! two of them, [`index`] finds and ranks candidates among all names and says why each matched.
//!
//! The model is a blend of edit distance on joined and on sorted words, edit distance on a sound key,
//! trigram overlap and word-set overlap. It was chosen by measured recall over single measures; see
//! `tests/it/names.rs` for the recall test on generated misspellings.

pub mod distance;
pub mod epithet;
pub mod fold;
pub mod index;
pub mod score;
pub mod sound;

pub use fold::Folded;
pub use index::{Hit, NameIndex, Reason};
