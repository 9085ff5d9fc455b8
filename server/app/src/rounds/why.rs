//! Why lines of lists were not met: worked out once for each settlement, and kept with it for each member.

use std::collections::{BTreeMap, BTreeSet};

use scionary_domain::{
    clearing::{Explainer, Input, Outcome, Reason},
    ids::{AccountId, RoundId, RoundLotId, WishId},
    limits,
};
use scionary_store::{Source, round_store};
use serde::{Deserialize, Serialize};

use crate::Error;

/// Why a line did not get one more unit of a lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct WhyNot {
    /// The lot.
    pub lot: RoundLotId,
    /// The reason.
    pub reason: Reason,
    /// Other members who got some of the lot.
    pub others: u32,
}

/// Reasons of one member, by wish. Lines that are met have none.
pub(super) type Reasons = BTreeMap<WishId, Vec<WhyNot>>;

/// Works out the reasons of every member, as JSON.
pub(super) fn work_out(input: &Input, outcome: &Outcome) -> Result<Vec<(AccountId, String)>, Error> {
    let bad = |what: &str| Error::Internal(format!("an outcome names {what}"));
    if input.wants.len() > limits::ROUND_REASONS_LINES_MAX {
        return Ok(Vec::new());
    }
    let explainer = Explainer::new(input, outcome)?;
    let owner: BTreeMap<&str, &str> =
        input.wants.iter().map(|w| (w.id.as_str(), w.member.as_str())).collect();
    let mut takers: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    let mut got: BTreeMap<&str, u32> = BTreeMap::new();
    for share in &outcome.shares {
        let taker = owner.get(share.want.as_str()).copied().unwrap_or_default();
        takers.entry(&share.lot).or_default().insert(taker);
        *got.entry(&share.want).or_default() += share.units;
    }
    let mut all: BTreeMap<AccountId, Reasons> = BTreeMap::new();
    for want in &input.wants {
        if got.get(want.id.as_str()).copied().unwrap_or(0) >= want.quantity {
            continue;
        }
        let member: AccountId = want.member.parse().map_err(|_| bad("a taker who is none"))?;
        let wish: WishId = want.id.parse().map_err(|_| bad("a wish that is none"))?;
        let mut reasons = Vec::new();
        for (lot, reason) in explainer.whys(&want.id).unwrap_or_default() {
            let of_lot = takers.get(lot).into_iter().flatten().filter(|taker| **taker != want.member);
            let others = u32::try_from(of_lot.count()).unwrap_or(u32::MAX);
            let lot = lot.parse().map_err(|_| bad("a lot that is none"))?;
            reasons.push(WhyNot { lot, reason, others });
        }
        all.entry(member).or_default().insert(wish, reasons);
    }
    all.into_iter()
        .map(|(member, reasons)| {
            let text = serde_json::to_string(&reasons).map_err(|e| Error::Internal(e.to_string()))?;
            Ok((member, text))
        })
        .collect()
}

/// Reads the reasons that the latest settlement kept for a member.
pub(super) async fn kept(db: &dyn Source, round: RoundId, account: AccountId) -> Result<Reasons, Error> {
    let Some(text) = round_store::reasons(db, round, account).await? else { return Ok(Reasons::new()) };
    serde_json::from_str(&text).map_err(|e| Error::Internal(format!("kept reasons cannot be read: {e}")))
}
