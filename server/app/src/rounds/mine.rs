//! A member's own part of a round: what they bring and wish for, what they get and why not more.

use std::collections::BTreeMap;

use scionary_domain::{
    claim::{Claim, State},
    clearing::{Aim, Explainer, HEAD_START, Input, Outcome, Reason},
    ids::{AccountId, RoundId, RoundLotId},
    round::{Accepts, Ledger, Part, Wish, reason_words, unmet_words},
};
use scionary_store::{claim_store, round_store};

use super::{ShownLot, ShownRound, facts::OnFile, read::Named, seen};
use crate::{App, Call, Error, Rule, claims::told_to};

/// What a member gets for a wish, or gives of a lot.
#[derive(Clone, Debug)]
pub struct ShownTaken {
    /// The claim.
    pub claim: Claim,
    /// Packs.
    pub units: u32,
    /// The lot.
    pub lot: ShownLot,
    /// The other side's number on the day.
    pub other_number: u32,
    /// Their name.
    pub other_name: String,
}

/// A line of a list, with what came of it.
#[derive(Clone, Debug)]
pub struct ShownWish {
    /// The line.
    pub wish: Wish,
    /// What it accepts, in words.
    pub accepts: Vec<String>,
    /// Packs that came of it.
    pub units: u32,
    /// Why not more; empty while the round is not settled, or where all came.
    pub why_not: String,
    /// For each lot that it accepts: its number, and why not more of it.
    pub lots: Vec<(u32, String)>,
}

/// A member's own part.
#[derive(Clone, Debug)]
pub struct MyRound {
    /// The round.
    pub round: ShownRound,
    /// Their part.
    pub part: Part,
    /// What they gave and took in earlier rounds of the club.
    pub ledger: Ledger,
    /// By how many steps of the ladder they start lower (and so are served earlier) than who is even.
    pub head_start: i32,
    /// What they bring.
    pub lots: Vec<ShownLot>,
    /// What they wish for.
    pub wishes: Vec<ShownWish>,
    /// What they get.
    pub gets: Vec<ShownTaken>,
    /// What goes to others.
    pub gives: Vec<ShownTaken>,
}

/// For each wish, each lot that it accepts with its reason and how many others got some of it.
type Reasons = BTreeMap<String, Vec<(String, Reason, u32)>>;

/// Works reasons out, of the wishes of one member.
fn reasons(input: &str, outcome: &str, member: &str) -> Result<Reasons, Error> {
    let corrupt = |e: serde_json::Error| Error::Internal(format!("a kept outcome cannot be read: {e}"));
    let input: Input = serde_json::from_str(input).map_err(corrupt)?;
    let outcome: Outcome = serde_json::from_str(outcome).map_err(corrupt)?;
    let explainer = Explainer::new(&input, &outcome)?;
    let owner: BTreeMap<&str, &str> =
        input.wants.iter().map(|w| (w.id.as_str(), w.member.as_str())).collect();
    let mut takers: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for share in &outcome.shares {
        let taker = owner.get(share.want.as_str()).copied().unwrap_or_default();
        let of_lot = takers.entry(&share.lot).or_default();
        if taker != member && !of_lot.contains(&taker) {
            of_lot.push(taker);
        }
    }
    let mut all = Reasons::new();
    for want in input.wants.iter().filter(|w| w.member == member) {
        let of_want = all.entry(want.id.clone()).or_default();
        for lot in &want.lots {
            if let Some(reason) = explainer.why(lot, &want.id) {
                let others = takers.get(lot.as_str()).map_or(0, Vec::len);
                of_want.push((lot.clone(), reason, u32::try_from(others).unwrap_or(u32::MAX)));
            }
        }
    }
    Ok(all)
}

/// Puts the reasons of the first settling in the place of those that only say that it was so before.
fn before(last: &mut Reasons, first: &Reasons) {
    for (want, lots) in last {
        for (lot, reason, _) in lots {
            let was = first.get(want).into_iter().flatten().find(|(l, _, _)| l == lot);
            if let (Reason::Decided { by: Aim::Kept, .. }, Some((_, was, _))) = (&reason, was)
                && matches!(was, Reason::Decided { .. })
            {
                *reason = *was;
            }
        }
    }
}

impl App {
    /// The caller's own part of a round.
    ///
    /// # Errors
    /// They do not belong to the club, or take no part.
    pub async fn my_round(&self, call: &Call, id: RoundId) -> Result<MyRound, Error> {
        let reader = self.store().reader();
        let account = call.account_id()?;
        let round = seen(reader, call, id).await?;
        let part = round_store::part(reader, id, account).await?.ok_or(Rule::NotInRound)?;
        let ledger = round_store::ledgers(reader, round.club, round.id, Some(account))
            .await?
            .remove(&account)
            .unwrap_or_default();
        // settled again, "it was allotted to others before" says little: then the reason is shown
        let mut runs = Vec::new();
        for number in if round.runs > 1 { vec![round.runs, 1] } else { vec![round.runs] } {
            let run = if number == 0 { None } else { round_store::run(reader, id, number).await? };
            runs.extend(run.and_then(|run| Some((run.input, run.outcome?))));
        }
        let claims = claim_store::of_round(reader, id).await?;
        let shares = round_store::shares(reader, id).await?;
        let shown = ShownRound::new(reader, call, round.clone()).await?;
        let file = OnFile::read(reader, round).await?;
        let named = Named::of(reader, &file).await?;
        let numbers: BTreeMap<AccountId, u32> = file.parts.iter().map(|p| (p.account, p.number)).collect();
        let lots: BTreeMap<RoundLotId, ShownLot> = file
            .lots
            .iter()
            .filter_map(|lot| Some((lot.id, named.lot(self, &file, lot, &claims)?)))
            .collect();
        let why = if runs.is_empty() {
            Reasons::new()
        } else {
            let (member, turn) = (account.to_string(), self.settling().await?);
            let work = move || {
                let _turn = turn;
                let mut all = runs.iter().map(|(input, outcome)| reasons(input, outcome, &member));
                let mut last = all.next().transpose()?.unwrap_or_default();
                if let Some(first) = all.next().transpose()? {
                    before(&mut last, &first);
                }
                Ok::<_, Error>(last)
            };
            tokio::task::spawn_blocking(work)
                .await
                .map_err(|e| Error::Internal(format!("reasons broke off: {e}")))??
        };
        let changes = |of: &dyn Fn(&Claim) -> Option<AccountId>| -> Vec<ShownTaken> {
            let mut all: Vec<ShownTaken> = claims
                .iter()
                .filter(|c| matches!(c.state, State::Accepted | State::HandedOver))
                .filter_map(|claim| {
                    let other = of(claim)?;
                    let in_round = claim.in_round?;
                    Some(ShownTaken {
                        units: in_round.units,
                        lot: lots.get(&in_round.lot)?.clone(),
                        other_number: numbers.get(&other).copied().unwrap_or(0),
                        other_name: named.name(other),
                        claim: told_to(call, claim.clone()),
                    })
                })
                .collect();
            all.sort_by_key(|taken| (taken.lot.lot.number, taken.other_number));
            all
        };
        let gets = changes(&|c| (c.taker == account).then_some(c.giver));
        let full = gets.iter().map(|g| g.units).sum::<u32>() >= shown.round.says.settings.cap;
        let took = |wish: &Wish| {
            let shared = |g: &&ShownTaken| shares.iter().any(|s| s.claim == g.claim.id);
            gets.iter().filter(|g| !shared(g)).any(|g| wish.accepts.contains(&Accepts::Lot(g.lot.lot.id)))
        };
        let wishes = file
            .wishes
            .iter()
            .filter(|wish| wish.account == account)
            .map(|wish| {
                let units = shares.iter().filter(|s| s.wish == wish.id).map(|s| s.units).sum();
                let found = why.get(&wish.id.to_string());
                let short = units < wish.quantity && shown.round.runs > 0;
                let nearest: Vec<(Reason, u32)> =
                    found.into_iter().flatten().map(|(_, reason, takers)| (*reason, *takers)).collect();
                let number = |lot: &str| {
                    lot.parse().ok().and_then(|id: RoundLotId| lots.get(&id)).map(|l| l.lot.number)
                };
                ShownWish {
                    accepts: wish.accepts.iter().map(|a| self.accepts_words(a, &lots)).collect(),
                    units,
                    why_not: match (short, full, took(wish)) {
                        (false, _, _) => String::new(),
                        (true, _, true) => "You took it of what was left over.".into(),
                        (true, true, false) => "You have as many packs as one member may take here.".into(),
                        (true, false, false) => unmet_words(&nearest),
                    },
                    lots: if short {
                        found
                            .into_iter()
                            .flatten()
                            .filter_map(|(lot, reason, takers)| {
                                Some((number(lot)?, reason_words(reason, *takers)))
                            })
                            .collect()
                    } else {
                        Vec::new()
                    },
                    wish: wish.clone(),
                }
            })
            .collect();
        Ok(MyRound {
            head_start: ledger.balance().clamp(-HEAD_START, HEAD_START),
            gives: changes(&|c| (c.giver == account).then_some(c.taker)),
            lots: lots.values().filter(|l| l.lot.giver == account).cloned().collect(),
            round: shown,
            gets,
            part,
            ledger,
            wishes,
        })
    }

    /// What a line accepts, in words.
    fn accepts_words(&self, accepts: &Accepts, lots: &BTreeMap<RoundLotId, ShownLot>) -> String {
        match accepts {
            Accepts::Lot(id) => match lots.get(id) {
                Some(lot) => {
                    format!("lot {}: {}, {}", lot.lot.number, lot.cultivar_name, lot.material.label())
                }
                None => "a lot that was taken back".into(),
            },
            Accepts::Any(cultivar, material) => {
                let registry = self.registry();
                let name = registry.record(*cultivar).map(|r| r.cultivar.full_name()).unwrap_or_default();
                format!("{name}, {}", material.label())
            }
        }
    }
}
