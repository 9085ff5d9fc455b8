//! Rules on moving plants: read from files, asked for offers and for plants that anyone names.

mod ask;
mod parse;
mod plants;
mod publish;

pub(crate) use ask::of_offer;
pub use ask::{AskMovement, MovementFound};
pub use parse::{MovementFiles, read};
pub use publish::{Changes, ProposeRules, PublishRules, ShownRelease, TOPIC, WithdrawRules};
