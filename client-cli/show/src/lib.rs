//! Every sentence that Scionary shows: views of few blocks, made from typed facts and reasons. It knows no terminal,
//! no network, no clock.

pub mod act;
pub mod reader;
pub mod units;
pub mod view;
pub mod words;

pub use act::{Act, Deed};
pub use reader::Reader;
pub use view::{Block, View};
