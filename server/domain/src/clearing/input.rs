//! What a round is made of when it is sealed, and its one canonical form, whose hash is published.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

crate::offer::words! {
    /// Why a lot cannot go to a wish, whatever else is decided.
    Bar {
        /// It is the member's own.
        Own = "own",
        /// A rule on file forbids the movement, or asks for a document that was not declared.
        Movement = "movement",
        /// No rule is on file for the movement between two provinces or countries, and nobody was asked.
        NoRule = "no_rule",
        /// There is no way of handing over that both can take.
        HandOver = "hand_over",
        /// A confirmed alert reaches the lot.
        Alert = "alert",
        /// It will no longer be fit for use on the day.
        Viability = "viability",
        /// One of the two does not deal with the other.
        Blocked = "blocked",
        /// One of the two said no to it.
        Refused = "refused",
        /// Its owner, or the lot itself, is not there on the day.
        Absent = "absent",
    }
}

/// Somebody who takes part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Member {
    /// Who.
    pub id: String,
    /// How many units more they may give than they get.
    pub give: u32,
    /// How many units more they may get than they give.
    pub get: u32,
    /// Units given less units taken in all earlier rounds, as handed over.
    pub balance: i32,
    /// The most units they take.
    pub cap: u32,
    /// The most units they take of a group of lots (a cultivar), where there is such a limit.
    #[serde(default)]
    pub caps: BTreeMap<String, u32>,
}

/// What somebody brings.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lot {
    /// Which.
    pub id: String,
    /// Whose.
    pub owner: String,
    /// How many units.
    pub units: u32,
    /// What it counts as where members take a limited number of a group: its cultivar.
    #[serde(default)]
    pub group: String,
    /// Given freely: it is not charged to its owner.
    #[serde(default)]
    pub gift: bool,
}

/// A wish: one line of a member's list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Want {
    /// Which.
    pub id: String,
    /// Whose.
    pub member: String,
    /// 1 is the dearest.
    pub rank: u32,
    /// At most so many units.
    pub quantity: u32,
    /// Any of these lots.
    pub lots: Vec<String>,
}

/// A lot that cannot go to a wish.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Barred {
    /// The lot.
    pub lot: String,
    /// The wish.
    pub want: String,
    /// Why.
    pub why: Bar,
}

/// Units of a lot for a wish.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Share {
    /// The lot.
    pub lot: String,
    /// The wish.
    pub want: String,
    /// How many units.
    pub units: u32,
}

/// A sealed round.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Input {
    /// Which.
    pub round: String,
    /// Who takes part.
    pub members: Vec<Member>,
    /// What they bring.
    pub lots: Vec<Lot>,
    /// What they wish for.
    pub wants: Vec<Want>,
    /// What cannot go where.
    #[serde(default)]
    pub barred: Vec<Barred>,
    /// What was handed over already and stays.
    #[serde(default)]
    pub fixed: Vec<Share>,
    /// What was allotted before: as much of it stays as can.
    #[serde(default)]
    pub kept: Vec<Share>,
    /// Where set, units that stand at this level or below come before the ranks of wishes, all others after them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fair_levels: Option<i32>,
}

/// Why an input is none.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct BadInput(pub String);

/// The deepest rank that is told apart; deeper ones count as this.
pub const RANKS: u32 = 10;
/// The most that earlier rounds move a member's start line, either way.
pub const HEAD_START: i32 = 3;

impl Member {
    /// At which level their `unit`-th unit stands, counted from 1: lower ones are filled first.
    pub fn level(&self, unit: u32) -> i32 {
        i32::try_from(unit).unwrap_or(i32::MAX / 2) - self.balance.clamp(-HEAD_START, HEAD_START)
    }
}

impl Input {
    /// The canonical form: JSON with sorted keys, without spaces.
    ///
    /// # Errors
    /// None in practice: every part can be written.
    pub fn canonical(&self) -> Result<String, BadInput> {
        // a value's keys are sorted, a struct's are not
        let value = serde_json::to_value(self).map_err(|e| BadInput(e.to_string()))?;
        Ok(value.to_string())
    }

    /// The hash of the canonical form: SHA-256 in hexadecimal.
    ///
    /// # Errors
    /// As [`Input::canonical`].
    pub fn hash(&self) -> Result<String, BadInput> {
        Ok(sha256(self.canonical()?.as_bytes()))
    }

    /// Looks whether everything that is named is there, once.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn check(&self) -> Result<(), BadInput> {
        let bad = |text: String| Err(BadInput(text));
        let members = once("member", self.members.iter().map(|m| &m.id))?;
        let lots = once("lot", self.lots.iter().map(|l| &l.id))?;
        let wants = once("wish", self.wants.iter().map(|w| &w.id))?;
        for lot in &self.lots {
            if !members.contains(lot.owner.as_str()) {
                return bad(format!("lot {} belongs to {}, who is no member", lot.id, lot.owner));
            }
        }
        for want in &self.wants {
            if !members.contains(want.member.as_str()) {
                return bad(format!("wish {} is of {}, who is no member", want.id, want.member));
            }
            if want.rank == 0 {
                return bad(format!("wish {} has no rank", want.id));
            }
            let named = once(&format!("in wish {}: lot", want.id), want.lots.iter())?;
            if let Some(lot) = named.iter().find(|l| !lots.contains(*l)) {
                return bad(format!("wish {} names lot {lot}, which nobody brings", want.id));
            }
        }
        let shares = self.fixed.iter().chain(&self.kept).map(|s| (&s.lot, &s.want));
        for (lot, want) in self.barred.iter().map(|b| (&b.lot, &b.want)).chain(shares) {
            if !lots.contains(lot.as_str()) || !wants.contains(want.as_str()) {
                return bad(format!("lot {lot} and wish {want}: one of them is not there"));
            }
        }
        Ok(())
    }
}

/// The ids, if none of them is there twice.
fn once<'a>(what: &str, ids: impl Iterator<Item = &'a String>) -> Result<BTreeSet<&'a str>, BadInput> {
    let mut seen = BTreeSet::new();
    for id in ids {
        if !seen.insert(id.as_str()) {
            return Err(BadInput(format!("{what} {id} is there twice")));
        }
    }
    Ok(seen)
}

/// SHA-256 in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}
