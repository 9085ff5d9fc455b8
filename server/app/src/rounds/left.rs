//! What is left over: whoever comes first takes it, within the same bars as before.

use std::collections::BTreeSet;

use scionary_domain::{
    claim::InRound,
    clearing::Bar,
    field::FieldError,
    ids::{ClaimId, RoundId},
    round::{EventKind, Phase, bar_words},
};
use scionary_store::{StoreError, claim_store, round_store};
use serde_json::json;

use super::{
    TOPIC,
    allot::promised,
    arranged, claims_of,
    day::member_named,
    facts::{Barriers, OnFile},
    in_phase, left_of, named, noted,
    part::own_part,
    seen,
};
use crate::{Done, Error, Rule, UseCase, Write};

/// Takes some of what is left over of a lot.
pub struct TakeLeftOver {
    /// The round's id.
    pub id: RoundId,
    /// Which lot: its number, its code or its id.
    pub lot: String,
    /// How many packs; 0 for one.
    pub units: u32,
    /// For whom, where an organiser takes it for someone who stands there: their number, handle or id; empty for the
    /// caller.
    pub member: String,
}

impl UseCase for TakeLeftOver {
    type Out = ClaimId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ClaimId>, Error> {
        round_store::lock(write.tx, self.id).await?;
        let round = seen(write.tx, write.call, self.id).await?;
        in_phase(&round, &[Phase::HandingOver])?;
        let part = if self.member.trim().is_empty() {
            own_part(write, &round).await?
        } else {
            arranged(write.tx, write.call, self.id).await?;
            member_named(write.tx, round.id, &self.member).await?
        };
        let lot = named(write.tx, round.id, &self.lot).await?;
        let claims = claims_of(write.tx, &round).await?;
        let (left, units) = (left_of(&lot, &claims), self.units.max(1));
        if units > left {
            let expected = format!(
                "at most {left} expected: so many are left over of lot {}; {units} found",
                lot.number
            );
            return Err(FieldError::new("units", expected).into());
        }
        let (id, settings) = (round.id, round.says.settings);
        let shared: u32 = {
            let mine: BTreeSet<ClaimId> =
                claims.iter().filter(|c| c.taker == part.account).map(|c| c.id).collect();
            let shares = round_store::shares(write.tx, id).await?;
            shares.iter().filter(|s| mine.contains(&s.claim)).map(|s| s.units).sum()
        };
        let has: u32 = claims
            .iter()
            .filter(|c| c.taker == part.account && c.state.holds())
            .filter_map(|c| c.in_round)
            .map(|r| r.units)
            .sum();
        let beside = has.saturating_sub(shared);
        if beside + units > settings.cap {
            return Err(Rule::EnoughLeftOvers(beside).into());
        }
        let file = OnFile::read(write.tx, round).await?;
        let bar = {
            let (registry, rules) = (write.app.registry(), write.app.movement());
            let gone = file.parts.iter().any(|p| p.account == lot.giver && p.absent);
            // what no one has seen on a table cannot be taken from it
            let absent = (gone || lot.checked_in_at.is_none()).then_some(Bar::Absent);
            absent.or_else(|| Barriers::new(&file, &registry, &rules, settings).of(&lot, &part))
        };
        if let Some(bar) = bar {
            return Err(Rule::BarredInRound(bar_words(bar)).into());
        }
        // more of what they have already is one claim
        let claim = match claim_store::open_in_round(write.tx, lot.id, part.account).await? {
            Some(mut claim) => {
                let from = claim.version;
                claim.version += 1;
                let more = i32::try_from(units.saturating_mul(lot.per_unit)).unwrap_or(i32::MAX);
                claim.quantity = claim.quantity.saturating_add(more);
                if let Some(InRound { units: all, .. }) = &mut claim.in_round {
                    *all += units;
                }
                let granted = scionary_domain::access::Granted::system("left over of a round");
                if !claim_store::replace(write.tx, granted, &claim, from).await? {
                    return Err(StoreError::Collision.into());
                }
                claim.id
            }
            None => {
                let giver = file.parts.iter().find(|p| p.account == lot.giver);
                let giver = giver.ok_or(Rule::BarredInRound(bar_words(Bar::Absent)))?;
                let claim = promised(write, &file, &lot, (giver, &part), units)?;
                claim_store::insert(write.tx, &claim)
                    .await
                    .map_err(|e| e.if_exists(StoreError::Collision))?;
                claim.id
            }
        };
        noted(write, id, EventKind::LeftOver, (Some(lot.id), Some(part.account)), units, "").await?;
        let change = json!({ "lot": lot.id.to_string(), "units": units, "claim": claim.to_string() });
        Ok(Done::new(claim, "round.left_over_taken", id, change).and_publish(TOPIC, id))
    }
}
