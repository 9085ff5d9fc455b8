//! Every sentence that Scionary shows: views with few blocks, made from typed facts and reasons. This crate uses no
//! terminal, no network and no clock.

pub mod account;
pub mod act;
pub mod alert;
pub mod claim;
pub mod club;
pub mod crop;
pub mod cultivar;
pub mod curation;
pub mod dated;
pub mod days;
pub mod descent;
pub mod evidence;
pub mod grafts;
pub mod inbox;
pub mod lookup;
pub mod lot;
pub mod me;
pub mod missing;
pub mod movement;
pub mod odds;
pub mod offer;
pub mod reader;
pub mod refusal;
pub mod round;
pub mod routes;
pub mod season;
pub mod start;
pub mod unions;
pub mod units;
pub mod view;
pub mod waiting;
pub mod want;
pub mod words;

pub use act::{Act, Deed};
pub use reader::Reader;
pub use view::{Block, View};
