//! At the tables: who walks in, what was ticked by mistake, and the log of all of it.

use scionary_domain::{
    access::Granted,
    claim::State,
    club::Standing,
    ids::{AccountId, ClaimId, RoundId},
    limits,
    notice::{Kind, NewNotice},
    page::{self, Page},
    round::{Event, EventKind, Part, Phase},
};
use scionary_store::{StoreError, account_store, claim_store, club_store, lot_store, round_store};
use serde_json::json;

use super::{TOPIC, arranged, day::member_named, held, in_phase, named, noted};
use crate::{App, Call, Done, Error, Rule, UseCase, Write};

/// Enters a member of the club who stands at the table and takes no part yet (organisers).
pub struct AddRoundMember {
    /// The round's id.
    pub id: RoundId,
    /// Who: their handle or id.
    pub member: String,
}

/// Takes a hand-over back that was ticked by mistake (organisers).
pub struct UndoHandOver {
    /// The round's id.
    pub id: RoundId,
    /// Which lot: its number, its code or its id.
    pub lot: String,
    /// To whom: their number, handle or id.
    pub member: String,
}

/// An event of a round with the names that stand beside it.
#[derive(Clone, Debug)]
pub struct ShownEvent {
    /// The event.
    pub event: Event,
    /// The lot's number on the tables; 0 where none is concerned.
    pub lot_number: u32,
    /// The member's number and name; 0 and empty where none is concerned.
    pub member: (u32, String),
    /// Who noted it.
    pub by_name: String,
}

impl UseCase for AddRoundMember {
    /// The round, and the member's number on the day.
    type Out = (RoundId, u32);
    async fn run(&self, write: &Write<'_>) -> Result<Done<Self::Out>, Error> {
        let (round, _) = held(write, self.id).await?;
        in_phase(&round, &[Phase::HandingOver])?;
        let text = self.member.trim();
        let missing = || Error::NotFound {
            kind: "member of this club",
            id: text.to_string(),
            hint: "give the handle or the id of someone whom the club has let in".into(),
        };
        let account: AccountId = match text.parse() {
            Ok(id) => id,
            Err(_) => {
                let key = text.trim_start_matches('@').to_ascii_lowercase();
                account_store::account_to_sign_in(write.tx, &key)
                    .await?
                    .map(|(a, _)| a.id)
                    .ok_or_else(missing)?
            }
        };
        let own = club_store::membership(write.tx, round.club, account).await?;
        let belongs = |standing: Standing| standing.belongs();
        own.filter(|m| belongs(m.standing)).ok_or_else(missing)?;
        if let Some(part) = round_store::part(write.tx, round.id, account).await? {
            return Ok(Done::quiet((round.id, part.number)));
        }
        let (last, count) = round_store::count_parts(write.tx, round.id).await?;
        if count >= limits::ROUND_MEMBERS_MAX {
            return Err(Rule::RoundFull(limits::ROUND_MEMBERS_MAX).into());
        }
        let part = Part {
            round: round.id,
            account,
            number: last + 1,
            // They stand at the table; where they take it to is theirs to say.
            area: round.says.area.clone(),
            meeting: true,
            post: false,
            contact: String::new(),
            give_more: 0,
            absent: false,
            entered_by: write.call.account_id().ok(),
            on_sheets: false,
        };
        round_store::set_part(write.tx, &Granted::system("organisers enter who walks in"), &part).await?;
        noted(write, round.id, EventKind::Joined, (None, Some(account)), 0, "").await?;
        let change = json!({ "whom": account.to_string() });
        Ok(Done::new((round.id, part.number), "round.walked_in", round.id, change)
            .and_publish(TOPIC, round.id))
    }
}

impl UseCase for UndoHandOver {
    type Out = ClaimId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ClaimId>, Error> {
        let (round, _) = held(write, self.id).await?;
        in_phase(&round, &[Phase::HandingOver])?;
        let lot = named(write.tx, round.id, &self.lot).await?;
        let part = member_named(write.tx, round.id, &self.member).await?;
        let of_lot = claim_store::of_round_lots(write.tx, &[lot.id]).await?;
        let done = of_lot.into_iter().filter(|c| c.taker == part.account && c.state == State::HandedOver);
        let mut claim = done
            .max_by_key(|claim| claim.taken_at.max(claim.given_at))
            .ok_or(Rule::NotHandedOver { lot: lot.number, member: part.number })?;
        // The lot that the hand-over made for the taker ends; what came of it since would lose its source.
        for made in lot_store::of_claim(write.tx, claim.id).await? {
            let onward =
                lot_store::links(write.tx, scionary_domain::lineage::Direction::Forward, [made.id]).await?;
            if !onward.is_empty() {
                return Err(Rule::LotInUse(made.code.to_string()).into());
            }
            let from = made.version;
            let ended = scionary_domain::lineage::Lot {
                ended_on: Some(write.call.now.date().max(made.made_on)),
                ended_why: "Its hand-over was ticked by mistake.".into(),
                version: from + 1,
                ..made
            };
            let granted = Granted::system("its hand-over was ticked by mistake");
            if !lot_store::replace(write.tx, &granted, &ended, from).await? {
                return Err(StoreError::Collision.into());
            }
        }
        let from = claim.version;
        claim.version += 1;
        claim.state = State::Accepted;
        claim.given_at = None;
        claim.taken_at = None;
        let units = claim.in_round.map_or(0, |r| r.units);
        let granted = Granted::system("its hand-over was ticked by mistake");
        // another promise of the same lot to the same member may stand beside it
        let replaced = claim_store::replace(write.tx, granted, &claim, from).await;
        let beside = Error::Rule(Rule::PromisedBeside { lot: lot.number, member: part.number });
        if !replaced.map_err(|e| e.if_exists(beside))? {
            return Err(StoreError::Collision.into());
        }
        noted(write, round.id, EventKind::TakenBack, (Some(lot.id), Some(part.account)), units, "").await?;
        let words = format!(
            "{}: an organiser took back the tick for lot {}: it counts as not handed over.",
            round.says.title, lot.number
        );
        let change = json!({ "lot": lot.id.to_string(), "whom": part.account.to_string() });
        let mut done = Done::new(claim.id, "round.hand_over_taken_back", round.id, change)
            .and_publish(TOPIC, round.id)
            .and_publish(crate::claims::TOPIC, claim.id);
        done.notices = [claim.giver, claim.taker]
            .into_iter()
            .map(|to| NewNotice {
                to,
                kind: Kind::Round,
                subject: round.id.to_string(),
                once: format!("taken back {} {}", claim.id, claim.version),
                words: words.clone(),
            })
            .collect();
        Ok(done)
    }
}

impl App {
    /// A page of a round's log, oldest first, for its organisers.
    ///
    /// # Errors
    /// The caller does not arrange it; a page token that does not fit.
    pub async fn round_events(
        &self,
        call: &Call,
        id: RoundId,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownEvent>, Error> {
        let reader = self.store().reader();
        arranged(reader, call, id).await?;
        let asked = page::Asked::<u32>::read(page_size, token, format!("events of {id}"))?;
        let rows = round_store::events(reader, id, asked.after.unwrap_or(0), asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |event| event.number);
        let people: Vec<AccountId> = rows.iter().flat_map(|e| e.member.into_iter().chain([e.by])).collect();
        let names = account_store::display_names(reader, &people).await?;
        let parts = round_store::parts_of(reader, id, &people).await?;
        let ids: Vec<_> = rows.iter().filter_map(|e| e.lot).collect();
        let lots = round_store::some_lots(reader, id, &ids).await?;
        let name = |who: AccountId| names.get(&who).cloned().unwrap_or_default();
        let shown = rows.into_iter().map(|event| ShownEvent {
            lot_number: lots.iter().find(|l| Some(l.id) == event.lot).map_or(0, |l| l.number),
            member: event.member.map_or((0, String::new()), |who| {
                (parts.iter().find(|p| p.account == who).map_or(0, |p| p.number), name(who))
            }),
            by_name: name(event.by),
            event,
        });
        Ok(Page { rows: shown.collect(), next })
    }
}
