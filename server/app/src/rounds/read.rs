//! Rounds as members and organisers see them.

use std::collections::BTreeMap;

use scionary_domain::{
    claim::{Claim, State},
    clearing::Bar,
    ids::{AccountId, ClubId, CultivarId, LotId, RoundId, RoundLotId},
    limits,
    lineage::LotCode,
    offer::{Material, Unit},
    page::{self, Page},
    round::{Advice, Brought, Ledger, Part, Phase, Round},
};
use scionary_store::{Source, account_store, claim_store, club_store, lot_store, round_store};

use serde_json::json;

use super::{
    arranged,
    facts::{Barriers, OnFile},
    left_of, seen,
};
use crate::{App, Call, Error, clubs};

/// A round with what stands beside it.
#[derive(Clone, Debug)]
pub struct ShownRound {
    /// The round.
    pub round: Round,
    /// The club's name.
    pub club_name: String,
    /// How many take part.
    pub members: u64,
    /// How many lots there are.
    pub lots: u64,
    /// How many lines of wishes there are.
    pub wishes: u64,
    /// Whether the caller takes part.
    pub takes_part: bool,
    /// Whether the caller arranges it.
    pub arranges: bool,
    /// What authorities said.
    pub advice: Vec<Advice>,
}

impl ShownRound {
    pub(super) async fn new(db: &dyn Source, call: &Call, round: Round) -> Result<Self, Error> {
        let account = call.account_id()?;
        let (_, members) = round_store::count_parts(db, round.id).await?;
        let (_, lots, _) = round_store::count_lots(db, round.id, account).await?;
        Ok(Self {
            club_name: club_store::one(db, round.club).await?.map(|c| c.name).unwrap_or_default(),
            members,
            lots,
            wishes: round_store::count_wishes(db, round.id).await?,
            takes_part: round_store::part(db, round.id, account).await?.is_some(),
            arranges: clubs::organises(db, round.club, account).await?,
            advice: round_store::advice(db, round.id).await?,
            round,
        })
    }

    /// The secret of the draw, once it may be known.
    pub fn secret(&self) -> &str {
        match self.round.phase {
            Phase::Allotted | Phase::HandingOver | Phase::Closed => &self.round.secret,
            // whoever sees it before knows who wins a draw, and may be tempted to open the round again
            Phase::Gathering | Phase::Sealed | Phase::CalledOff => "",
        }
    }
}

/// A lot of a round.
#[derive(Clone, Debug)]
pub struct ShownLot {
    /// The lot.
    pub lot: Brought,
    /// Who brings it.
    pub giver_name: String,
    /// The cultivar: the record that stands for it now.
    pub cultivar: CultivarId,
    /// The cultivar's name.
    pub cultivar_name: String,
    /// What of it.
    pub material: Material,
    /// The unit of its offer.
    pub unit: Unit,
    /// The code on its tag, where its offer names a lot.
    pub code: Option<LotCode>,
    /// Packs that are not allotted; all of them before the round is settled.
    pub left: u32,
    /// What bars it from the caller, where they take part.
    pub bar: Option<Bar>,
}

/// Someone who takes part, for organisers.
#[derive(Clone, Debug)]
pub struct ShownPart {
    /// Their part.
    pub part: Part,
    /// Their name.
    pub name: String,
    /// What they gave and took in earlier rounds.
    pub ledger: Ledger,
    /// How many packs they bring.
    pub brings: u32,
    /// How many lines they list.
    pub lines: u32,
    /// Packs allotted to them.
    pub gets: u32,
    /// Packs of theirs allotted to others.
    pub gives: u32,
}

/// Something that changes hands, for organisers.
#[derive(Clone, Debug)]
pub struct ShownShare {
    /// The claim.
    pub claim: Claim,
    /// The lot's number on the tables.
    pub lot_number: u32,
    /// The code on its tag.
    pub code: Option<LotCode>,
    /// The cultivar's name.
    pub cultivar_name: String,
    /// What of it.
    pub material: Material,
    /// The unit of its offer.
    pub unit: Unit,
    /// Giver: number, name.
    pub giver: (u32, String),
    /// Taker: number, name.
    pub taker: (u32, String),
    /// It goes by post.
    pub by_post: bool,
}

/// Names and codes beside what is on file.
pub(super) struct Named {
    pub(super) names: BTreeMap<AccountId, String>,
    codes: BTreeMap<LotId, LotCode>,
}

impl Named {
    pub(super) async fn of(db: &dyn Source, file: &OnFile) -> Result<Self, Error> {
        let people: Vec<AccountId> = file.parts.iter().map(|p| p.account).collect();
        let tagged: Vec<LotId> = file.offers.values().filter_map(|o| o.contents.lot).collect();
        let codes = lot_store::some(db, &tagged).await?.into_iter().map(|(id, lot)| (id, lot.code)).collect();
        Ok(Self { names: account_store::display_names(db, &people).await?.into_iter().collect(), codes })
    }

    pub(super) fn name(&self, who: AccountId) -> String {
        self.names.get(&who).cloned().unwrap_or_default()
    }

    pub(super) fn lot(&self, app: &App, file: &OnFile, lot: &Brought, claims: &[Claim]) -> Option<ShownLot> {
        let contents = &file.offers.get(&lot.offer)?.contents;
        let registry = app.registry();
        Some(ShownLot {
            giver_name: self.name(lot.giver),
            cultivar: registry.record(contents.cultivar).map_or(contents.cultivar, |r| r.cultivar.id),
            cultivar_name: registry
                .record(contents.cultivar)
                .map(|r| r.cultivar.full_name())
                .unwrap_or_default(),
            material: contents.material,
            unit: contents.unit,
            code: contents.lot.and_then(|id| self.codes.get(&id)).copied(),
            left: left_of(lot, claims),
            bar: None,
            lot: lot.clone(),
        })
    }
}

impl App {
    /// A round of a club that the caller belongs to.
    ///
    /// # Errors
    /// [`Error::NotFound`], also for other clubs' rounds.
    pub async fn round(&self, call: &Call, id: RoundId) -> Result<ShownRound, Error> {
        let reader = self.store().reader();
        let round = seen(reader, call, id).await?;
        ShownRound::new(reader, call, round).await
    }

    /// A page of rounds of the caller's clubs, or of one of them, the newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn rounds(
        &self,
        call: &Call,
        club: &str,
        open_only: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownRound>, Error> {
        let reader = self.store().reader();
        let account = call.account_id()?;
        let mut of = clubs::clubs_of(reader, account).await?;
        if !club.trim().is_empty() {
            let id: ClubId = crate::App::id(club)?;
            of.retain(|c| *c == id);
            if of.is_empty() {
                return Err(Error::not_found("club of yours", id));
            }
        }
        let asked =
            page::Asked::<RoundId>::read(page_size, token, format!("rounds {account} {club} {open_only}"))?;
        let rows = round_store::of_clubs(reader, &of, open_only, asked.after, asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |r| r.id);
        let mut shown = Vec::new();
        for round in rows {
            shown.push(ShownRound::new(reader, call, round).await?);
        }
        Ok(Page { rows: shown, next })
    }

    /// A page of what members bring to a round, by its number on the tables.
    ///
    /// # Errors
    /// The caller does not belong to the club; a page token that does not fit.
    pub async fn round_lots(
        &self,
        call: &Call,
        id: RoundId,
        left_only: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownLot>, Error> {
        let reader = self.store().reader();
        let round = seen(reader, call, id).await?;
        let asked = page::Asked::<u32>::read(page_size, token, format!("lots of {id} {left_only}"))?;
        let settings = round.says.settings;
        let own = round_store::part(reader, id, call.account_id()?).await?;
        let (registry, rules) = (self.registry(), self.movement());
        let mut rows = Vec::new();
        let mut after = asked.after.unwrap_or(0);
        loop {
            let lots = round_store::lots(reader, id, None, after, asked.limit()).await?;
            let Some(last) = lots.last() else { break };
            after = last.number;
            let ids: Vec<RoundLotId> = lots.iter().map(|lot| lot.id).collect();
            let claims = claim_store::of_round_lots(reader, &ids).await?;
            // on the day, what no one has seen on a table cannot be taken from it
            let there = |lot: &Brought| round.phase != Phase::HandingOver || lot.checked_in_at.is_some();
            let wanted = |lot: &Brought| !left_only || there(lot) && left_of(lot, &claims) > 0;
            let lots = lots.into_iter().filter(wanted).collect();
            let people = own.iter().map(|part| part.account);
            let file = OnFile::some(reader, round.clone(), lots, people).await?;
            let named = Named::of(reader, &file).await?;
            let barriers = Barriers::new(&file, &registry, &rules, settings);
            rows.extend(file.lots.iter().filter_map(|lot| {
                let bar = own.as_ref().and_then(|part| barriers.of(lot, part));
                Some(ShownLot { bar, ..named.lot(self, &file, lot, &claims)? })
            }));
            if rows.len() > asked.size {
                break;
            }
        }
        rows.truncate(asked.size + 1);
        Ok(asked.cut(rows, |row| row.lot.number))
    }

    /// A page of who takes part in a round, by number, for its organisers.
    ///
    /// # Errors
    /// The caller does not arrange it; a page token that does not fit.
    pub async fn round_members(
        &self,
        call: &Call,
        id: RoundId,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownPart>, Error> {
        let reader = self.store().reader();
        let (round, _) = arranged(reader, call, id).await?;
        let asked = page::Asked::<u32>::read(page_size, token, format!("members of {id}"))?;
        let parts = round_store::parts(reader, id, asked.after.unwrap_or(0), asked.limit()).await?;
        let Page { rows: parts, next } = asked.cut(parts, |p| p.number);
        let people: Vec<AccountId> = parts.iter().map(|p| p.account).collect();
        let names = account_store::display_names(reader, &people).await?;
        let ledgers = round_store::ledgers(reader, round.club, round.id, None).await?;
        let claims = claim_store::of_round_people(reader, id, &people).await?;
        let brings = round_store::brought_by(reader, id, &people).await?;
        let lines = round_store::lines_of(reader, id, &people).await?;
        let mut rows = Vec::new();
        for part in parts {
            let who = part.account;
            let units = |of: &dyn Fn(&Claim) -> bool| -> u32 {
                claims.iter().filter(|c| of(c)).filter_map(|c| c.in_round).map(|r| r.units).sum()
            };
            rows.push(ShownPart {
                name: names.get(&who).cloned().unwrap_or_default(),
                ledger: ledgers.get(&who).copied().unwrap_or_default(),
                brings: brings.get(&who).copied().unwrap_or(0),
                lines: lines.get(&who).copied().unwrap_or(0),
                gets: units(&|c| c.taker == who && c.state.holds()),
                gives: units(&|c| c.giver == who && c.state.holds()),
                part,
            });
        }
        Ok(Page { rows, next })
    }

    /// A page of what changes hands in a round, for its organisers.
    ///
    /// # Errors
    /// The caller does not arrange it; a page token that does not fit.
    pub async fn round_shares(
        &self,
        call: &Call,
        id: RoundId,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownShare>, Error> {
        let reader = self.store().reader();
        let (round, _) = arranged(reader, call, id).await?;
        let asked = page::Asked::<String>::read(page_size, token, format!("shares of {id}"))?;
        let key =
            |share: &ShownShare| format!("{:010}.{:010}.{}", share.lot_number, share.taker.0, share.claim.id);
        let by_post_at_all = round.says.settings.by_post;
        let after = asked.after.clone().unwrap_or_default();
        let mut shares: Vec<ShownShare> = Vec::new();
        // of the lot at which the page before ended something may be left
        let mut lot_after: u32 =
            after.split('.').next().and_then(|n| n.parse().ok()).unwrap_or(0_u32).saturating_sub(1);
        while shares.len() <= asked.size {
            let lots = round_store::lots(reader, id, None, lot_after, asked.limit()).await?;
            let Some(last) = lots.last() else { break };
            lot_after = last.number;
            let ids: Vec<RoundLotId> = lots.iter().map(|lot| lot.id).collect();
            let claims = claim_store::of_round_lots(reader, &ids).await?;
            let people = claims.iter().map(|claim| claim.taker);
            let file = OnFile::some(reader, round.clone(), lots, people).await?;
            let named = Named::of(reader, &file).await?;
            let parts: BTreeMap<AccountId, &Part> = file.parts.iter().map(|p| (p.account, p)).collect();
            let lots: BTreeMap<RoundLotId, &Brought> = file.lots.iter().map(|l| (l.id, l)).collect();
            let some = claims.into_iter().filter(|c| matches!(c.state, State::Accepted | State::HandedOver));
            let some = some.filter_map(|claim| {
                let lot = lots.get(&claim.in_round?.lot)?;
                let shown = named.lot(self, &file, lot, &[])?;
                let (giver, taker) = (parts.get(&claim.giver)?, parts.get(&claim.taker)?);
                Some(ShownShare {
                    lot_number: lot.number,
                    code: shown.code,
                    cultivar_name: shown.cultivar_name,
                    material: shown.material,
                    unit: shown.unit,
                    giver: (giver.number, named.name(claim.giver)),
                    taker: (taker.number, named.name(claim.taker)),
                    by_post: by_post_at_all && !(giver.meeting && taker.meeting),
                    claim,
                })
            });
            let mut some: Vec<ShownShare> = some.collect();
            some.sort_by_key(key);
            shares.extend(some.into_iter().filter(|share| key(share) > after));
        }
        shares.truncate(asked.size + 1);
        Ok(asked.cut(shares, key))
    }

    /// What an organiser hands to whoever wants to check a settling: the input, the secret, the outcome with its proof, as
    /// JSON in chunks. `run` is 0 for the last one.
    ///
    /// # Errors
    /// The caller does not arrange it; it was not settled.
    pub async fn round_audit(&self, call: &Call, id: RoundId, run: u32) -> Result<Vec<Vec<u8>>, Error> {
        let reader = self.store().reader();
        let (round, _) = arranged(reader, call, id).await?;
        let number = if run == 0 { round.runs } else { run };
        let missing = || Error::NotFound {
            kind: "settling of this round",
            id: number.to_string(),
            hint: "settle it first".into(),
        };
        if number == 0 || number > round.runs {
            return Err(missing());
        }
        let mut chunks = Vec::new();
        let mut push = |text: &str| chunks.extend(text.as_bytes().chunks(1 << 20).map(<[u8]>::to_vec));
        push(&format!(
            "{{\"secret\":\"{}\",\"commitment\":\"{}\",\"sealed_hash\":\"{}\",\"run\":{number}",
            round.secret,
            round.commitment,
            round.input_hash.as_deref().unwrap_or_default()
        ));
        // settled again, each settling is proved from the one before it and from the log
        for at in 1..=number {
            let kept = round_store::run(reader, id, at).await?.ok_or_else(missing)?;
            let outcome = kept.outcome.unwrap_or_default();
            let (input, hash) = (kept.input, kept.input_hash);
            if at == number {
                push(if number > 1 { "],\"input\":" } else { ",\"input\":" });
                push(&format!("{input},\"input_hash\":\"{hash}\",\"outcome\":{outcome}"));
            } else {
                push(if at == 1 { ",\"earlier\":[" } else { "," });
                push(&format!("{{\"input\":{input},\"input_hash\":\"{hash}\",\"outcome\":{outcome}}}"));
            }
        }
        push(",\"log\":[");
        let events = round_store::events(reader, id, 0, limits::ROUND_EVENTS_AUDITED).await?;
        for (place, event) in events.iter().enumerate() {
            let row = json!({
                "kind": event.kind.word(),
                "lot": event.lot.map(|id| id.to_string()),
                "member": event.member.map(|id| id.to_string()),
                "units": event.units,
                "words": event.words,
            });
            push(&format!("{}{row}", if place == 0 { "" } else { "," }));
        }
        push("]}\n");
        Ok(chunks)
    }
}
