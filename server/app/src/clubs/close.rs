//! Closing a club, and taking everything of it along.

use scionary_domain::{
    access::{Denied, Granted},
    claim::State,
    club::Standing,
    ids::{AccountId, ClubId},
    limits,
};
use scionary_store::{Reader, StoreError, account_store, claim_store, club_store, offer_store, round_store};
use serde_json::{Value, json};

use super::{club_of, notice, organised, organises, store};
use crate::{App, Call, Done, Error, Rule, UseCase, Write};

/// Closes a club (organisers): its offers are withdrawn, its members told.
pub struct CloseClub {
    /// The club's id.
    pub id: ClubId,
}

/// A club's export: JSON in chunks.
pub type ClubExport = Vec<Vec<u8>>;

/// Rows of one chunk.
const ROWS: u64 = 500;

impl UseCase for CloseClub {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        let now = write.call.now;
        let (mut club, granted) = organised(write, self.id).await?;
        if !round_store::of_clubs(write.tx, &[club.id], true, None, 1).await?.is_empty() {
            return Err(Rule::RoundsOpen.into());
        }
        club.closed_at = Some(now);
        store(write, &granted, &mut club).await?;
        let mut done = Done::new((), "club.closed", club.id, json!({}));
        let mut after = None;
        loop {
            let some = club_store::members(write.tx, club.id, Standing::ALL, after, ROWS).await?;
            let Some(last) = some.last() else { break };
            after = Some(last.account);
            let words = format!("{} was closed. What was promised between members stands.", club.name);
            done.notices.extend(some.iter().map(|m| notice(m.account, &club, "closed", words.clone())));
        }
        club_store::remove_all(write.tx, &granted, club.id).await?;
        for offer in offer_store::withdraw_of_club(write.tx, club.id, now).await? {
            for mut claim in claim_store::waiting(write.tx, offer, limits::CLAIMS_MOVED_UP_MAX).await? {
                let from = claim.version;
                claim.version += 1;
                claim.state = State::Declined;
                claim.answer = "The club was closed.".into();
                let granted = Granted::system("its club was closed");
                if !claim_store::replace(write.tx, granted, &claim, from).await? {
                    return Err(StoreError::Collision.into());
                }
            }
        }
        Ok(done)
    }
}

impl App {
    /// Everything of a club, for its organisers: itself, its members, its offers, the claims on them. How anyone can be
    /// reached is not in it.
    ///
    /// # Errors
    /// The caller does not arrange it.
    pub async fn export_club(&self, call: &Call, id: ClubId) -> Result<ClubExport, Error> {
        let account = call.account()?;
        let reader = self.store().reader();
        let club = club_of(reader, id).await?;
        if !organises(reader, id, account.id).await? {
            return Err(Denied::RoleMissing("an organiser of the club").into());
        }
        let registry = self.registry();
        let mut lines: Vec<Value> = vec![json!({
            "club": { "id": id.to_string(), "name": club.name, "about": club.about,
                "area": club.area.as_ref().map(|a| a.as_str()), "made": club.created_at.date().to_string() }
        })];
        let mut after = None;
        loop {
            let some = club_store::members(reader, id, Standing::ALL, after, ROWS).await?;
            let Some(last) = some.last() else { break };
            after = Some(last.account);
            let people: Vec<AccountId> = some.iter().map(|m| m.account).collect();
            let names = account_store::display_names(reader, &people).await?;
            lines.extend(some.iter().map(|m| {
                json!({ "member": { "id": m.account.to_string(), "name": names.get(&m.account),
                    "standing": m.standing.word(), "since": m.since.date().to_string(), "consent": m.consent } })
            }));
        }
        for offer in offer_store::of_club(reader, id).await? {
            let contents = &offer.contents;
            let name = registry.record(contents.cultivar).map(|r| r.cultivar.full_name());
            lines.push(json!({ "offer": {
                "id": offer.id.to_string(), "giver": offer.giver.to_string(), "cultivar": name,
                "material": contents.material.word(), "quantity": contents.quantity, "unit": contents.unit.word(),
                "promised": offer.promised, "from": contents.available_from.to_string(),
                "until": contents.available_until.to_string(), "grid": contents.place.grid.as_str(),
                "note": contents.note, "withdrawn": offer.withdrawn_at.is_some() } }));
            for claim in claim_store::of_offer(reader, offer.id).await? {
                lines.push(json!({ "claim": {
                    "id": claim.id.to_string(), "offer": offer.id.to_string(), "taker": claim.taker.to_string(),
                    "quantity": claim.quantity, "state": claim.state.word(),
                    "asked": claim.asked_at.date().to_string() } }));
            }
        }
        lines.extend(rounds(reader, id).await?);
        let chunk = usize::try_from(ROWS).unwrap_or(usize::MAX);
        Ok(lines
            .chunks(chunk)
            .map(|some| some.iter().flat_map(|line| format!("{line}\n").into_bytes()).collect())
            .collect())
    }
}

/// A club's rounds with what was brought; what changed hands are claims. Wishes are their members' own.
async fn rounds(reader: &Reader, club: ClubId) -> Result<Vec<Value>, Error> {
    let mut lines = Vec::new();
    let mut before = None;
    loop {
        let some = round_store::of_clubs(reader, &[club], false, before, ROWS).await?;
        let Some(last) = some.last() else { return Ok(lines) };
        before = Some(last.id);
        for round in &some {
            lines.push(json!({ "round": {
                "id": round.id.to_string(), "title": round.says.title, "day": round.says.day.to_string(),
                "phase": round.phase.word(), "commitment": round.commitment, "input_hash": round.input_hash,
                "runs": round.runs } }));
            for lot in round_store::lots(reader, round.id, None, 0, limits::ROUND_LOTS_MAX).await? {
                lines.push(json!({ "round_lot": {
                    "id": lot.id.to_string(), "round": round.id.to_string(), "offer": lot.offer.to_string(),
                    "giver": lot.giver.to_string(), "number": lot.number, "units": lot.units,
                    "per_unit": lot.per_unit, "gift": lot.gift } }));
            }
            for share in round_store::shares(reader, round.id).await? {
                lines.push(json!({ "round_share": {
                    "lot": share.lot.to_string(), "units": share.units, "claim": share.claim.to_string() } }));
            }
        }
    }
}
