//! Why a wish was not met: the rule that decided, and what one more unit would have changed.

use serde::{Deserialize, Serialize};

use super::{input::Bar, solve::Aim};

/// Why a wish did not get one more unit of a lot.
///
/// Every number is a fact about settling the round again with that unit forced and everything else as
/// before.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "reason")]
pub enum Reason {
    /// The pair is barred.
    Barred {
        /// Reason for the bar.
        bar: Bar,
    },
    /// The wish received its full quantity.
    Met,
    /// The wish received all units of the lot that it may have.
    AllOfIt,
    /// Every unit of the lot has been handed over to others.
    Gone,
    /// The unit would be possible if these limits were one unit wider, and not if one of them stayed.
    Limits {
        /// The limits, in the order of [`Limit`].
        limits: Vec<Limit>,
    },
    /// No outcome within what the members agreed to give and take includes the unit.
    Books,
    /// The unit is possible, and an objective would be lower with it.
    Decided {
        /// The first objective that would be lower.
        by: Aim,
        /// What would change.
        change: Change,
    },
}

crate::offer::words! {
    /// A limit that keeps a unit from a wish.
    Limit {
        /// The most units that the member may take in this round.
        Cap = "cap",
        /// The most units of this cultivar that the member may take.
        CultivarCap = "cultivar_cap",
        /// The most units that the member may get beyond what they give.
        Get = "get",
        /// The most units that who brings the lot may give beyond what they get.
        Give = "give",
    }
}

/// What settling the round again would change if one more unit were forced.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Change {
    /// Amount by which the deciding objective would fall. For draws the number has no meaning.
    pub loss: i64,
    /// Change of the member's own total, in units.
    pub own_total: i32,
    /// Ranks of the member's other lines that would get less, ascending.
    pub own_lines: Vec<u32>,
    /// Whether the line itself would get less of another lot.
    pub same_line: bool,
    /// Other members whose total would fall.
    pub others_less: u32,
    /// Other members whose total would rise.
    pub others_more: u32,
    /// Where a level decides: other members who would lose a unit at that level.
    pub at_level: u32,
    /// Where a level decides: that level minus the level that the member has reached. 0 means that those who
    /// would lose a unit stand as high as the member, -1 one unit lower.
    pub standing: i32,
    /// Where a rank decides, units that others' lines of that rank would lose. Where the draw of lots or the
    /// earlier outcome decides, units that any lines of others would lose.
    pub lines_less: u32,
    /// Units that others' lines of that rank would gain.
    pub lines_more: u32,
}

impl Reason {
    /// Ranks how near a lot was to being allotted. Higher is nearer; objectives decided later are nearer.
    pub fn nearness(&self) -> i32 {
        match self {
            Self::Barred { .. } => 0,
            // What could not have been more says less than what was refused by choice.
            Self::AllOfIt => 1,
            Self::Gone => 2,
            Self::Books => 3,
            Self::Limits { .. } => 4,
            Self::Decided { by, .. } => match by {
                Aim::Kept => 5,
                Aim::Level(level) => level.saturating_add(1_000),
                Aim::Who => 1_000_000,
                Aim::Rank(rank) => i32::try_from(*rank).unwrap_or(0).saturating_add(1_000_001),
                Aim::Which | Aim::Settled => 2_000_000,
            },
            Self::Met => i32::MAX,
        }
    }
}
