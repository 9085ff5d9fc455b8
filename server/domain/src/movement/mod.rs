//! Movement of plant material: what rules on file say of it, and whom to ask. Never a permission: the authority decides.
//!
//! Rules are data: who says so, since when, for which plants and parts, from where, to where. The strictest that applies
//! makes the headline; inside one instrument an exception can replace the rule that it names; across authorities nothing
//! overrides anything. Where nothing is on file, that is no answer.

mod authority;
mod evaluate;
mod expression;
mod pest;
mod place;
mod publish;
mod rule;
mod rules;
mod taxon;

pub use authority::{Authorities, Authority, Side};
pub use evaluate::{Answer, Applies, Atom};
pub use expression::Expression;
pub use pest::Pest;
pub use place::{Holds, Member, Places, WORLD};
pub use publish::check;
pub use rule::{Kind, OpenTo, Part, Parts, Rule, Verdict};
pub use rules::{Document, Gap, Move, OnFile, Rules};
pub use taxon::{ANY, Above, Read, Taxa};

/// Beside every answer.
pub const NOT_A_DECISION: &str = "This is what is on file, not a decision. The authority decides.";
