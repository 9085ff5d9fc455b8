//! Movement of plant material: what rules on file say of it, and whom to ask. Never a permission: the authority decides.
//!
//! Rules are data: who says so, since when, for which plants and parts, from where, to where. The strictest that applies
//! makes the headline; inside one instrument an exception can replace the rule that it names; across authorities nothing
//! overrides anything. Where nothing is on file, that is no answer.

mod evaluate;
mod pest;
mod place;
mod publish;
mod rule;
mod taxon;

pub use evaluate::{Answer, Applies, Document, Gap, Move, Rules, Side};
pub use pest::Pest;
pub use place::{Expression, Holds, Member, Places, WORLD};
pub use publish::check;
pub use rule::{Kind, OpenTo, Part, Parts, Rule, Verdict};
pub use taxon::{ANY, Taxa};

/// Beside every answer.
pub const NOT_A_DECISION: &str = "This is what is on file, not a decision. The authority decides.";
