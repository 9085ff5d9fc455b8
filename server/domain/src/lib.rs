//! What Scionary knows and decides, as plain functions over plain values.
//!
//! Nothing here does I/O, reads a clock or draws randomness: `now`, ids and data are arguments. The same
//! arguments therefore give the same answer, byte for byte. Nothing here knows the wire or the database.

pub mod access;
pub mod account;
pub mod agreement;
pub mod calendar;
pub mod claim;
pub mod clearing;
pub mod club;
pub mod crop;
pub mod cultivar;
pub mod curation;
pub mod evidence;
pub mod field;
pub mod gazetteer;
pub mod grafting;
pub mod ids;
pub mod keeping;
pub mod limits;
pub mod lineage;
pub mod movement;
pub mod names;
pub mod notice;
pub mod odds;
pub mod offer;
pub mod page;
pub mod passport;
pub mod place;
pub mod plan;
pub mod profile;
pub mod protection;
pub mod quadrature;
pub mod round;
pub mod routes;
pub mod season;
pub mod seed;
pub mod sowing;
pub mod sown;
pub mod stats;
pub mod time;
pub mod trueness;
pub mod unions;
pub mod viability;
pub mod want;
