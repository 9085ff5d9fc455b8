//! Claims whose time is over lapse, and what they held goes to those who wait.

use scionary_domain::{access::Granted, claim::State, limits, notice::Kind};
use scionary_store::{AuditRow, OutboxRow, claim_store};

use super::{TOPIC, give_back, held, move_up, offer_of, store, what};
use crate::{Done, Error, UseCase, Write, lots};

/// Lapses what is overdue; how many. One side's word that it changed hands stands where the other keeps silent.
pub struct LapseClaims;

impl UseCase for LapseClaims {
    type Out = usize;
    async fn run(&self, write: &Write<'_>) -> Result<Done<usize>, Error> {
        let overdue = claim_store::overdue(write.tx, write.call.now, limits::CLAIMS_LAPSED_TOGETHER).await?;
        let mut done = Done::quiet(overdue.len());
        for seen in overdue {
            // an earlier one of this sweep may have moved it up: it is looked at as it is now
            let mut claim = held(write, seen.id).await?;
            if !claim.state.is_open() || claim.lapses_at >= write.call.now {
                continue;
            }
            let held = claim.state == State::Accepted;
            let handed_over = claim.given_at.is_some() || claim.taken_at.is_some();
            claim.state = if handed_over { State::HandedOver } else { State::Lapsed };
            let released = held && !handed_over && give_back(write, &mut claim, false).await?;
            store(write, Granted::system("its time is over"), &mut claim).await?;
            if released {
                move_up(write, claim.offer).await?;
            }
            let offer = offer_of(write, claim.offer).await?;
            let what = what(&write.app.registry(), &claim, &offer);
            let words = if held && handed_over {
                let lot = lots::given(write, &claim, &offer).await?;
                done.events.push(OutboxRow { topic: lots::TOPIC, subject: lot.id.to_string() });
                format!("{what} counts as handed over, as one side said so. Its lot is {}.", lot.code)
            } else {
                format!("The claim on {what} has lapsed: nothing happened for too long.")
            };
            done = done.and_tell(claim.giver, Kind::ClaimEnded, claim.id, "lapsed", words.clone()).and_tell(
                claim.taker,
                Kind::ClaimEnded,
                claim.id,
                "lapsed",
                words,
            );
            let subject = claim.id.to_string();
            done.audit.push(AuditRow {
                action: "claim.lapsed",
                subject: subject.clone(),
                change: "{}".into(),
            });
            done.events.push(OutboxRow { topic: TOPIC, subject });
        }
        Ok(done)
    }
}
