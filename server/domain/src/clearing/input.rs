//! The input of a sealed round, and its canonical form, whose hash the server publishes.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

crate::offer::words! {
    /// Why a lot cannot go to a wish, whatever the objectives say.
    Bar {
        /// The member who wishes owns the lot.
        Own = "own",
        /// A stored rule forbids the movement, or needs a document that was not declared.
        Movement = "movement",
        /// The rules leave a movement between two provinces or countries open, and no one has noted advice from
        /// the authority.
        NoRule = "no_rule",
        /// No way of hand-over suits both members.
        HandOver = "hand_over",
        /// A confirmed alert covers the lot.
        Alert = "alert",
        /// The lot is no longer viable on the swap day, or its offer ends before that day.
        Viability = "viability",
        /// One of the two members has blocked the other.
        Blocked = "blocked",
        /// One of the two members refused this pairing.
        Refused = "refused",
        /// The owner, the lot or the member who wishes is absent on the swap day.
        Absent = "absent",
    }
}

/// A member who takes part in the round.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Member {
    /// Unique id of the member.
    pub id: String,
    /// Most units that they may give beyond what they get.
    pub give: u32,
    /// Most units that they may get beyond what they give.
    pub get: u32,
    /// Units given minus units taken in all earlier rounds, counting completed hand-overs.
    pub balance: i32,
    /// Most units that they take in this round.
    pub cap: u32,
    /// Most units that they take of a group of lots (a cultivar), by group; a group without an entry has no
    /// limit.
    #[serde(default)]
    pub caps: BTreeMap<String, u32>,
}

/// A lot that a member brings.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lot {
    /// Unique id of the lot.
    pub id: String,
    /// Id of the member who brings the lot.
    pub owner: String,
    /// Units in the lot.
    pub units: u32,
    /// The group for limits by group: the cultivar.
    #[serde(default)]
    pub group: String,
    /// The lot is a gift: its units do not count toward its owner's balance.
    #[serde(default)]
    pub gift: bool,
}

/// A wish: one line on a member's list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Want {
    /// Unique id of the wish.
    pub id: String,
    /// Id of the member who wishes.
    pub member: String,
    /// Rank of the wish; 1 is the most wanted.
    pub rank: u32,
    /// Most units that the wish may receive.
    pub quantity: u32,
    /// Ids of the lots that can meet the wish; any of them will do.
    pub lots: Vec<String>,
}

/// A pair of a lot and a wish that is barred.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Barred {
    /// Id of the lot.
    pub lot: String,
    /// Id of the wish.
    pub want: String,
    /// Reason for the bar.
    pub why: Bar,
}

/// Units of one lot for one wish.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Share {
    /// Id of the lot.
    pub lot: String,
    /// Id of the wish.
    pub want: String,
    /// Units of the lot that go to the wish.
    pub units: u32,
}

/// A sealed round: everything that decides its outcome, apart from the seed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Input {
    /// Unique id of the round.
    pub round: String,
    /// The members who take part.
    pub members: Vec<Member>,
    /// The lots that members bring.
    pub lots: Vec<Lot>,
    /// The members' wishes.
    pub wants: Vec<Want>,
    /// The barred pairs of lots and wishes.
    #[serde(default)]
    pub barred: Vec<Barred>,
    /// Shares already handed over; they do not change.
    #[serde(default)]
    pub fixed: Vec<Share>,
    /// Shares of the earlier outcome; as many of their units as possible stay.
    #[serde(default)]
    pub kept: Vec<Share>,
    /// If set, units at this level or below are decided before the ranks of wishes, and all other units after
    /// them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fair_levels: Option<i32>,
}

/// Says what is wrong with an input.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct BadInput(pub String);

/// Deepest rank that counts separately; deeper ranks count as this one.
pub const RANKS: u32 = 10;
/// Largest shift, in units, that earlier rounds give a member's starting level, up or down.
pub const HEAD_START: i32 = 3;

impl Member {
    /// Returns the level of the member's `unit`-th unit, counted from 1. Lower levels are filled first.
    pub fn level(&self, unit: u32) -> i32 {
        i32::try_from(unit).unwrap_or(i32::MAX / 2) - self.balance.clamp(-HEAD_START, HEAD_START)
    }
}

impl Input {
    /// Returns the canonical form: JSON with sorted keys and without spaces.
    ///
    /// # Errors
    /// Returns [`BadInput`] when serialisation fails, which does not happen in practice.
    pub fn canonical(&self) -> Result<String, BadInput> {
        // A JSON value sorts its keys; serialising the struct directly would not.
        let value = serde_json::to_value(self).map_err(|e| BadInput(e.to_string()))?;
        Ok(value.to_string())
    }

    /// Returns the hash of the canonical form: SHA-256 in hexadecimal.
    ///
    /// # Errors
    /// Returns [`BadInput`] when [`Input::canonical`] fails.
    pub fn hash(&self) -> Result<String, BadInput> {
        Ok(sha256(self.canonical()?.as_bytes()))
    }

    /// Returns what is settled again on the day: what was sealed, with what came up since.
    ///
    /// Members, lots and wishes that were sealed stay as they were sealed; of lots only the units change, with those
    /// that came. Bars that were sealed stay, new ones are added. Who and what came in since is added.
    #[must_use]
    pub fn since(mut self, sealed: &Self) -> Self {
        for member in &mut self.members {
            if let Some(was) = sealed.members.iter().find(|was| was.id == member.id) {
                *member = was.clone();
            }
        }
        let was_lot: BTreeMap<&str, &Lot> = sealed.lots.iter().map(|lot| (lot.id.as_str(), lot)).collect();
        for lot in &mut self.lots {
            if let Some(was) = was_lot.get(lot.id.as_str()) {
                *lot = Lot { units: lot.units.min(was.units), ..(*was).clone() };
            }
        }
        let here: BTreeSet<String> = self.lots.iter().map(|lot| lot.id.clone()).collect();
        let was_want: BTreeMap<&str, &Want> = sealed.wants.iter().map(|w| (w.id.as_str(), w)).collect();
        for want in &mut self.wants {
            if let Some(was) = was_want.get(want.id.as_str()) {
                let new = want.lots.iter().filter(|lot| !was_lot.contains_key(lot.as_str())).cloned();
                let lots = was.lots.iter().filter(|lot| here.contains(*lot)).cloned().chain(new).collect();
                *want = Want { lots, ..(*was).clone() };
            }
        }
        let wants: BTreeSet<&str> = self.wants.iter().map(|want| want.id.as_str()).collect();
        let known: BTreeSet<(&str, &str)> = self
            .barred
            .iter()
            .map(|b| (b.lot.as_str(), b.want.as_str()))
            .chain(self.fixed.iter().map(|s| (s.lot.as_str(), s.want.as_str())))
            .collect();
        let still: Vec<Barred> = sealed
            .barred
            .iter()
            .filter(|b| !known.contains(&(b.lot.as_str(), b.want.as_str())))
            .filter(|b| here.contains(&b.lot) && wants.contains(b.want.as_str()))
            .cloned()
            .collect();
        self.barred.extend(still);
        self.fair_levels = sealed.fair_levels;
        self
    }

    /// Checks that ids are unique, that every reference exists, and that ranks start at 1.
    ///
    /// # Errors
    /// Returns [`BadInput`] for the first mistake.
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
                return bad(format!("wish {} names lot {lot}, which no one brings", want.id));
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

/// Returns the ids as a set, or an error when one occurs twice.
fn once<'a>(what: &str, ids: impl Iterator<Item = &'a String>) -> Result<BTreeSet<&'a str>, BadInput> {
    let mut seen = BTreeSet::new();
    for id in ids {
        if !seen.insert(id.as_str()) {
            return Err(BadInput(format!("{what} {id} is there twice")));
        }
    }
    Ok(seen)
}

/// Returns the SHA-256 of `bytes` in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}
