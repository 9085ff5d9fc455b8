//! Settling a round: outside of any transaction, one at a time, told as it goes, and kept only if the round still is what
//! it was. A crash, or two organisers at once, leave it sealed or settled once.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
};

use scionary_domain::{
    access::Granted,
    claim::{Claim, InRound, State},
    clearing::{Bar, Failed, Input, Outcome, Progress, Share, Watch, seed, settle},
    ids::{AccountId, ClaimId, RoundId, RoundLotId, WishId},
    limits,
    notice::{Kind, NewNotice},
    round::{Brought, EventKind, Part, Phase, Round},
    time::Timestamp,
};
use scionary_store::{
    StoreError, claim_store,
    round_store::{self, Run, Shared},
};
use serde_json::json;
use tokio::sync::{OwnedSemaphorePermit, mpsc};

use super::{
    TOPIC, arranged, claims_of,
    facts::{Barriers, OnFile, movement},
    held, in_phase, noted, notices, store,
    why::work_out,
};
use crate::{App, Call, Done, Error, KeepReply, Rule, UseCase, Write};

/// Settling a round.
#[derive(Clone, Debug)]
pub struct AllotRequest {
    /// The round's id.
    pub id: RoundId,
    /// On the day: only lots that were checked in.
    pub only_checked_in: bool,
}

/// How far it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RoundProgress {
    /// So many objectives of so many.
    Settling(u32, u32),
    /// It is settled: how often that was done by now, and how many units change hands.
    Settled {
        /// Times.
        runs: u32,
        /// Units.
        units: u32,
    },
}

/// Says stop once no one listens any more.
pub(super) struct WhileHeard(pub(super) Arc<AtomicBool>);

impl Watch for WhileHeard {
    fn go_on(&mut self) -> bool {
        !self.0.load(Ordering::Relaxed)
    }
}

/// Tells that no one listens when it is dropped.
pub(super) struct Listener(pub(super) Arc<AtomicBool>);

impl Drop for Listener {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// The round to be settled, and of what.
struct Prepared {
    round: Round,
    input: Input,
}

impl App {
    /// A turn to settle a round.
    pub(super) async fn settling(&self) -> Result<OwnedSemaphorePermit, Error> {
        self.settlements().acquire_owned().await.map_err(|e| Error::Internal(e.to_string()))
    }

    async fn prepare(&self, call: &Call, request: &AllotRequest) -> Result<Prepared, Error> {
        let reader = self.store().reader();
        let (round, _) = arranged(reader, call, request.id).await?;
        let phases = [Phase::Sealed, Phase::Allotted, Phase::HandingOver];
        in_phase(&round, if request.only_checked_in { &[Phase::HandingOver] } else { &phases })?;
        if round.phase == Phase::Sealed {
            let run = round_store::run(reader, round.id, 0)
                .await?
                .ok_or_else(|| Error::Internal("a sealed round has no input".into()))?;
            let input = serde_json::from_str(&run.input)
                .map_err(|e| Error::Internal(format!("a sealed input cannot be read: {e}")))?;
            return Ok(Prepared { round, input });
        }
        if round.runs >= limits::ROUND_RUNS_MAX {
            return Err(Rule::TooManyRuns(limits::ROUND_RUNS_MAX).into());
        }
        // again, without those who are not there: what was handed over stays, of the rest as much as can
        let claims: BTreeMap<ClaimId, Claim> =
            claims_of(reader, &round).await?.into_iter().map(|c| (c.id, c)).collect();
        let shares = round_store::shares(reader, round.id).await?;
        let settings = round.says.settings;
        let file = OnFile::read(reader, round.clone()).await?;
        let (mut fixed, mut kept) = (Vec::new(), Vec::new());
        for share in shares {
            let Some(claim) = claims.get(&share.claim) else { continue };
            let row = Share { lot: share.lot.to_string(), want: share.wish.to_string(), units: share.units };
            if is_fixed(claim) {
                fixed.push(row);
            } else if claim.state == State::Accepted {
                kept.push(row);
            }
        }
        // who said no to something does not get it again
        let refused: BTreeSet<(RoundLotId, AccountId)> = claims
            .values()
            .filter(|c| matches!(c.state, State::Withdrawn | State::Declined | State::Lapsed))
            .filter_map(|c| {
                c.in_round.filter(|r| c.state != State::Declined || r.units > 0).map(|r| (r.lot, c.taker))
            })
            .collect();
        let absent_people: BTreeSet<AccountId> =
            file.parts.iter().filter(|p| p.absent).map(|p| p.account).collect();
        let only = request.only_checked_in;
        let bar = |lot: &Brought, part: &Part| {
            if part.absent || absent_people.contains(&lot.giver) || only && lot.checked_in_at.is_none() {
                return Some(Bar::Absent);
            }
            refused.contains(&(lot.id, part.account)).then_some(Bar::Refused)
        };
        let sealed = round_store::run(reader, round.id, 0).await?;
        let sealed = sealed.ok_or_else(|| Error::Internal("a settled round has no sealed input".into()))?;
        let sealed: Input = serde_json::from_str(&sealed.input)
            .map_err(|e| Error::Internal(format!("a sealed input cannot be read: {e}")))?;
        let mut input = file.input(self, settings, fixed, kept, &bar).since(&sealed);
        taken_at_the_tables(&mut input, &file.lots, claims.values());
        Ok(Prepared { round, input })
    }

    /// Whether a round can be settled by the caller now, before the work is begun.
    ///
    /// # Errors
    /// The caller does not arrange it; it is not sealed.
    pub async fn check_settling(&self, call: &Call, id: RoundId) -> Result<(), Error> {
        let (round, _) = arranged(self.store().reader(), call, id).await?;
        in_phase(&round, &[Phase::Sealed, Phase::Allotted, Phase::HandingOver])
    }

    /// Settles a round and keeps the outcome. `tell` hears how far it is; where it is closed, the work stops and the round
    /// stays as it was.
    ///
    /// # Errors
    /// The caller does not arrange it; it is not sealed; it was changed meanwhile.
    pub async fn allot_round(
        &self,
        call: &Call,
        request: AllotRequest,
        tell: mpsc::Sender<RoundProgress>,
    ) -> Result<(), Error> {
        let Prepared { round, input } = self.prepare(call, &request).await?;
        let hash = input.hash()?;
        // of what was sealed, however often it is settled: no one draws again by settling again
        let sealed = round.input_hash.clone().unwrap_or_default();
        let seed = seed(&round.secret, &sealed, &round.id.to_string());
        let turn = self.settling().await?;
        let gone = Arc::new(AtomicBool::new(false));
        let _listener = Listener(gone.clone());
        let progress = tell.clone();
        let work = move || {
            // kept until the work ends, also where no one waits for it any more
            let _turn = turn;
            let mut watch = WhileHeard(gone);
            let outcome = settle(&input, &seed, &mut watch, &mut |Progress { done, of }| {
                // a slow listener hears less
                let _ = progress.try_send(RoundProgress::Settling(done, of));
            });
            outcome.map(|outcome| (work_out(&input, &outcome), input, outcome))
        };
        let settled = tokio::task::spawn_blocking(work)
            .await
            .map_err(|e| Error::Internal(format!("settling broke off: {e}")))?;
        let (reasons, input, outcome) = settled.map_err(|e| match e {
            Failed::Stopped(_) => Error::Rule(Rule::SettlingStopped),
            Failed::Input(_) | Failed::Open => Error::Internal(format!("a round cannot be settled: {e}")),
        })?;
        let units = outcome.shares.iter().map(|s| s.units).sum();
        let keep = KeepOutcome {
            version: round.version,
            round: round.id,
            first: round.phase == Phase::Sealed,
            hash,
            input,
            outcome,
            reasons: reasons?,
        };
        let runs = self.write(call, keep, KeepReply::Yes, |runs| runs.to_be_bytes().to_vec()).await?;
        let runs = runs.try_into().map(u32::from_be_bytes).unwrap_or_default();
        let _ = tell.send(RoundProgress::Settled { runs, units }).await;
        Ok(())
    }
}

/// Whether what was promised has happened: by both sides' word, or by that of who has it now. A giver's word alone does not
/// bind the taker.
fn is_fixed(claim: &Claim) -> bool {
    claim.state == State::HandedOver || (claim.state == State::Accepted && claim.taken_at.is_some())
}

/// What was taken of left-overs, and so is no share of any wish, is no longer there to be allotted.
fn taken_at_the_tables<'a>(input: &mut Input, lots: &[Brought], claims: impl Iterator<Item = &'a Claim>) {
    let mut promised: BTreeMap<RoundLotId, u32> = BTreeMap::new();
    for part in claims.filter_map(|c| c.in_round) {
        *promised.entry(part.lot).or_default() += part.units;
    }
    let mut shared: BTreeMap<String, u32> = BTreeMap::new();
    for share in input.fixed.iter().chain(&input.kept) {
        *shared.entry(share.lot.clone()).or_default() += share.units;
    }
    for lot in lots {
        let id = lot.id.to_string();
        let taken = promised.get(&lot.id).copied().unwrap_or(0);
        let beside = taken.saturating_sub(shared.get(&id).copied().unwrap_or(0));
        if let Some(row) = input.lots.iter_mut().find(|row| row.id == id) {
            row.units = row.units.saturating_sub(beside);
        }
    }
}

/// Keeps an outcome: claims are promised, shares noted, everyone told.
struct KeepOutcome {
    round: RoundId,
    version: i64,
    first: bool,
    hash: String,
    input: Input,
    outcome: Outcome,
    /// Why lines were not met, by member, as JSON.
    reasons: Vec<(AccountId, String)>,
}

/// Units of a lot for a taker, and the wishes that they are for.
type Bundle = (u32, Vec<(WishId, u32)>);

impl KeepOutcome {
    /// The outcome by lot and taker.
    fn bundles(&self) -> Result<BTreeMap<(RoundLotId, AccountId), Bundle>, Error> {
        let bad = |what: &str| Error::Internal(format!("an outcome names {what}"));
        let takers: BTreeMap<&str, &str> =
            self.input.wants.iter().map(|w| (w.id.as_str(), w.member.as_str())).collect();
        let mut bundles: BTreeMap<(RoundLotId, AccountId), Bundle> = BTreeMap::new();
        for share in &self.outcome.shares {
            let lot: RoundLotId = share.lot.parse().map_err(|_| bad("a lot that is none"))?;
            let wish: WishId = share.want.parse().map_err(|_| bad("a wish that is none"))?;
            let taker = takers.get(share.want.as_str()).ok_or_else(|| bad("a wish without a taker"))?;
            let taker: AccountId = taker.parse().map_err(|_| bad("a taker who is none"))?;
            let (units, wishes) = bundles.entry((lot, taker)).or_default();
            *units += share.units;
            wishes.push((wish, share.units));
        }
        Ok(bundles)
    }
}

/// Until when what was promised for a day may change hands.
fn lapses(round: &Round, now: Timestamp) -> Timestamp {
    let days = (round.says.day.days() - now.date().days()).max(0);
    now.plus_days(days + limits::CLAIM_HAND_OVER_DAYS)
}

/// A claim of a round, promised.
pub(super) fn promised(
    write: &Write<'_>,
    file: &OnFile,
    lot: &Brought,
    (giver, taker): (&Part, &Part),
    units: u32,
) -> Result<Claim, Error> {
    let missing = || Error::Internal("a lot of a round has no offer".into());
    let offer = file.offers.get(&lot.offer).ok_or_else(missing)?;
    let quantity = i32::try_from(units.saturating_mul(lot.per_unit)).unwrap_or(i32::MAX);
    let (registry, rules) = (write.app.registry(), write.app.movement());
    let now = write.call.now;
    Ok(Claim {
        id: ClaimId::from_uuid(write.new_uuid()?),
        offer: lot.offer,
        giver: lot.giver,
        taker: taker.account,
        quantity,
        to: taker.area.clone(),
        note: String::new(),
        taker_contact: taker.contact.clone(),
        giver_contact: giver.contact.clone(),
        answer: String::new(),
        movement: movement(
            (&registry, &rules),
            offer,
            taker.area.as_str(),
            quantity,
            (file.round.says.day, now.date()),
        ),
        state: State::Accepted,
        asked_at: now,
        lapses_at: lapses(&file.round, now),
        given_at: None,
        taken_at: None,
        giver_missed: String::new(),
        taker_missed: String::new(),
        entered_by: None,
        in_round: Some(InRound { round: file.round.id, lot: lot.id, units, gift: lot.gift }),
        version: 1,
    })
}

async fn replace(write: &Write<'_>, claim: &mut Claim) -> Result<(), Error> {
    let from = claim.version;
    claim.version += 1;
    let granted = Granted::system("its round was settled");
    if claim_store::replace(write.tx, granted, claim, from).await? {
        Ok(())
    } else {
        Err(StoreError::Collision.into())
    }
}

impl UseCase for KeepOutcome {
    type Out = u32;
    async fn run(&self, write: &Write<'_>) -> Result<Done<u32>, Error> {
        let (mut round, granted) = held(write, self.round).await?;
        // another organiser was faster, with the very same
        if self.first && round.runs == 1 && round.input_hash.as_deref() == Some(self.hash.as_str()) {
            return Ok(Done::quiet(round.runs));
        }
        if round.version != self.version + 1 {
            return Err(Rule::RoundChanged.into());
        }
        let file = OnFile::read(write.tx, round.clone()).await?;
        let lots: BTreeMap<RoundLotId, &Brought> = file.lots.iter().map(|l| (l.id, l)).collect();
        let parts: BTreeMap<AccountId, &Part> = file.parts.iter().map(|p| (p.account, p)).collect();
        // how much of each claim came of wishes; the rest was taken of what was left over, and stays
        let mut wished: BTreeMap<ClaimId, u32> = BTreeMap::new();
        for share in round_store::shares(write.tx, round.id).await? {
            *wished.entry(share.claim).or_default() += share.units;
        }
        let of_wishes = |claim: &Claim| wished.get(&claim.id).copied().unwrap_or(0);
        let mut open: BTreeMap<(RoundLotId, AccountId), Claim> = BTreeMap::new();
        // what the giver says has happened stays as they said it, or is promised no more
        let mut given: BTreeMap<(RoundLotId, AccountId), Vec<Claim>> = BTreeMap::new();
        let mut done_already: BTreeMap<(RoundLotId, AccountId), Vec<Claim>> = BTreeMap::new();
        for claim in claims_of(write.tx, &round).await? {
            let Some(part) = claim.in_round else { continue };
            let key = (part.lot, claim.taker);
            if is_fixed(&claim) {
                done_already.entry(key).or_default().push(claim);
            } else if claim.state == State::Accepted && claim.given_at.is_some() {
                given.entry(key).or_default().push(claim);
            } else if claim.state == State::Accepted {
                open.insert(key, claim);
            }
        }
        if self.first {
            let (registry, rules) = (write.app.registry(), write.app.movement());
            let barriers = Barriers::new(&file, &registry, &rules, round.says.settings);
            let barred = |(lot, taker): &(RoundLotId, AccountId)| {
                let pair = lots.get(lot).zip(parts.get(taker));
                pair.is_none_or(|(lot, taker)| barriers.of(lot, taker).is_some())
            };
            if self.bundles()?.keys().any(barred) {
                return Err(Rule::SealedStale.into());
            }
        }
        let mut shares = Vec::new();
        let mut gets: BTreeMap<AccountId, u32> = BTreeMap::new();
        let mut gives: BTreeMap<AccountId, u32> = BTreeMap::new();
        let mut changed: BTreeSet<AccountId> = BTreeSet::new();
        let mut bundles = self.bundles()?;
        for key in open.keys().chain(given.keys()) {
            bundles.entry(*key).or_default();
        }
        for (key, (units, wishes)) in bundles {
            let missing = || Error::Internal("an outcome names what is not in the round".into());
            let lot = lots.get(&key.0).ok_or_else(missing)?;
            *gets.entry(key.1).or_default() += units;
            *gives.entry(lot.giver).or_default() += units;
            // wishes are shared out over what was handed over first, then over the rest
            let mut holders: Vec<(ClaimId, u32)> = done_already
                .get(&key)
                .into_iter()
                .flatten()
                .map(|claim| (claim.id, of_wishes(claim)))
                .filter(|(_, units)| *units > 0)
                .collect();
            let mut rest = units.saturating_sub(holders.iter().map(|(_, units)| units).sum());
            let beside =
                |claim: &Claim| claim.in_round.map_or(0, |r| r.units).saturating_sub(of_wishes(claim));
            // what the giver says has happened stays whole, or ends: they said it of that number
            let mut again = 0;
            for mut claim in given.remove(&key).into_iter().flatten() {
                let wished = of_wishes(&claim);
                if wished <= rest {
                    rest -= wished;
                    holders.extend((wished > 0).then_some((claim.id, wished)));
                } else {
                    again += beside(&claim);
                    changed.extend([claim.taker, claim.giver]);
                    set_units(write, &mut claim, lot, 0).await?;
                }
            }
            let claim = match open.remove(&key) {
                Some(mut claim) => {
                    let wanted = rest + again + beside(&claim);
                    if wanted != claim.in_round.map_or(0, |r| r.units) {
                        changed.extend([claim.taker, claim.giver]);
                        set_units(write, &mut claim, lot, wanted).await?;
                    }
                    Some(claim.id)
                }
                None if rest + again == 0 => None,
                None => {
                    let giver = parts.get(&lot.giver).ok_or_else(missing)?;
                    let taker = parts.get(&key.1).ok_or_else(missing)?;
                    let claim = promised(write, &file, lot, (giver, taker), rest + again)?;
                    changed.extend([claim.taker, claim.giver]);
                    claim_store::insert(write.tx, &claim)
                        .await
                        .map_err(|e| e.if_exists(StoreError::Collision))?;
                    Some(claim.id)
                }
            };
            holders.extend(claim.map(|id| (id, rest)));
            for (wish, mut units) in wishes {
                for (claim, left) in &mut holders {
                    let here = units.min(*left);
                    if here > 0 {
                        shares.push(Shared { lot: key.0, wish, units: here, claim: *claim });
                        units -= here;
                        *left -= here;
                    }
                }
            }
        }
        round_store::set_reasons(write.tx, &granted, round.id, &self.reasons).await?;
        round_store::set_shares(write.tx, &granted, round.id, &shares).await?;
        if self.first {
            round.phase = Phase::Allotted;
        }
        round.runs += 1;
        let outcome = serde_json::to_string(&self.outcome).map_err(|e| Error::Internal(e.to_string()))?;
        let run = Run {
            number: round.runs,
            input: self.input.canonical()?,
            input_hash: self.hash.clone(),
            outcome: Some(outcome),
            by: write.call.account_id()?,
            at: write.call.now,
        };
        round_store::set_run(write.tx, &granted, round.id, &run).await?;
        let units = self.outcome.shares.iter().map(|s| s.units).sum();
        noted(write, round.id, EventKind::Settled, (None, None), units, &self.hash).await?;
        store(write, &granted, &mut round).await?;
        let change = json!({ "run": round.runs, "input_hash": self.hash, "seed": self.outcome.seed });
        let mut done = Done::new(round.runs, "round.settled", round.id, change).and_publish(TOPIC, round.id);
        // settled again, only those hear of it for whom something is different
        for part in file.parts.iter().filter(|p| self.first || changed.contains(&p.account)) {
            let (gets, gives) = (
                gets.get(&part.account).copied().unwrap_or(0),
                gives.get(&part.account).copied().unwrap_or(0),
            );
            let again = if self.first { "is settled" } else { "was settled again" };
            let words = format!("{} {again}: you get {gets} and give {gives}.", round.says.title);
            let once = format!("settled {}", round.runs);
            let told = notices(&[part.account], &round, once, &words);
            done.notices.extend(told.into_iter().map(|n| NewNotice { kind: Kind::RoundSettled, ..n }));
        }
        Ok(done)
    }
}

/// Gives a claim another number of packs; none ends it.
async fn set_units(write: &Write<'_>, claim: &mut Claim, lot: &Brought, units: u32) -> Result<(), Error> {
    if units == 0 {
        claim.state = State::Declined;
        claim.answer = "The round was settled again, without this.".into();
    } else {
        claim.quantity = i32::try_from(units.saturating_mul(lot.per_unit)).unwrap_or(i32::MAX);
    }
    if let Some(part) = &mut claim.in_round {
        part.units = units;
    }
    replace(write, claim).await
}
