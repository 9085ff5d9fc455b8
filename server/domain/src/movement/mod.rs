//! Movement of plant material: what the rules on file say, and which authority to ask. An answer is never a
//! permission; the authority decides.
//!
//! Rules are data: source, dates in force, plants and parts, origin, destination. The strictest rule that
//! applies sets the headline. Within one instrument an exception can replace the rule that it names; no rule
//! overrides another authority's rule. Having nothing on file is the absence of an answer.

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

/// Sentence that accompanies every answer.
pub const NOT_A_DECISION: &str = "This is what is on file, not a decision. The authority decides.";
