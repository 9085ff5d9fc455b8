//! A member's own part of a round: what they bring and wish for, what they get and why not more.

use std::collections::{BTreeMap, BTreeSet};

use scionary_domain::{
    claim::{Claim, State},
    clearing::HEAD_START,
    ids::{AccountId, ClaimId, RoundId, RoundLotId, WishId},
    limits,
    round::{Accepts, Ledger, Part, Wish},
};
use scionary_store::{claim_store, round_store};

use super::{
    ShownLot, ShownRound,
    facts::OnFile,
    read::Named,
    seen,
    why::{self, WhyNot},
};
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
    /// Why not more; `None` while the round is not settled, or where all came.
    pub why_not: Option<WhyShort>,
    /// For each lot that it accepts: its number, and why not more of it.
    pub lots: Vec<(u32, WhyNot)>,
}

/// Why a line got less than it asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WhyShort {
    /// No other member brought anything that the line accepts.
    NotBrought,
    /// The member took it from what was left over.
    FromLeftOvers,
    /// The round is too large for reasons.
    NotWorkedOut,
    /// It was allotted, and then a side withdrew, or it was settled again after the reasons were kept.
    Withdrawn,
    /// The reason of the lot that came closest, and the lot's number.
    Nearest(u32, WhyNot),
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
        let wishes = round_store::wishes(reader, id, Some(account)).await?;
        let wish_ids: Vec<WishId> = wishes.iter().map(|wish| wish.id).collect();
        let shares = round_store::shares_of(reader, &wish_ids).await?;
        let own = claim_store::of_round_people(reader, id, &[account]).await?;
        let shown = ShownRound::new(reader, call, round.clone()).await?;
        // only what the member can see of the round is read
        let mut ids: BTreeSet<RoundLotId> = own.iter().filter_map(|c| c.in_round).map(|r| r.lot).collect();
        ids.extend(wishes.iter().flat_map(|wish| &wish.accepts).filter_map(|accepts| match accepts {
            Accepts::Lot(lot) => Some(*lot),
            Accepts::Any(..) => None,
        }));
        let mut why = why::kept(reader, id, account).await?;
        ids.extend(why.values().flatten().map(|why| why.lot));
        let brought = round_store::lots(reader, id, Some(account), 0, limits::ROUND_LOTS_MAX).await?;
        ids.extend(brought.iter().map(|lot| lot.id));
        let ids: Vec<RoundLotId> = ids.into_iter().collect();
        let rows = round_store::some_lots(reader, id, &ids).await?;
        let claims = claim_store::of_round_lots(reader, &ids).await?;
        let people = own.iter().flat_map(|claim| [claim.giver, claim.taker]).chain([account]);
        let file = OnFile::some(reader, round, rows, people).await?;
        let named = Named::of(reader, &file).await?;
        let numbers: BTreeMap<AccountId, u32> = file.parts.iter().map(|p| (p.account, p.number)).collect();
        let lots: BTreeMap<RoundLotId, ShownLot> = file
            .lots
            .iter()
            .filter_map(|lot| Some((lot.id, named.lot(self, &file, lot, &claims)?)))
            .collect();
        let holds = |claim: &&Claim| matches!(claim.state, State::Accepted | State::HandedOver);
        let changes = |of: &dyn Fn(&Claim) -> Option<AccountId>| -> Vec<ShownTaken> {
            let mut all: Vec<ShownTaken> = own
                .iter()
                .filter(holds)
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
        let held: BTreeSet<ClaimId> = own.iter().filter(holds).map(|c| c.id).collect();
        let took = |wish: &Wish| {
            let shared = |g: &&ShownTaken| shares.iter().any(|s| s.claim == g.claim.id);
            gets.iter().filter(|g| !shared(g)).any(|g| wish.accepts.contains(&Accepts::Lot(g.lot.lot.id)))
        };
        let settled = shown.round.runs > 0;
        let large = usize::try_from(shown.wishes).is_ok_and(|n| n > limits::ROUND_REASONS_LINES_MAX);
        let wishes = wishes
            .into_iter()
            .map(|wish| {
                let of_wish = || shares.iter().filter(|s| s.wish == wish.id);
                let units = of_wish().filter(|s| held.contains(&s.claim)).map(|s| s.units).sum();
                let reasons = why.remove(&wish.id);
                let short = settled && units < wish.quantity;
                let number = |lot: RoundLotId| lots.get(&lot).map(|l| l.lot.number);
                let nearest = reasons.iter().flatten().max_by_key(|why| why.reason.nearness());
                let why_not = short.then(|| match (nearest, &reasons) {
                    _ if took(&wish) => WhyShort::FromLeftOvers,
                    _ if of_wish().any(|s| !held.contains(&s.claim)) => WhyShort::Withdrawn,
                    (Some(why), _) => WhyShort::Nearest(number(why.lot).unwrap_or(0), why.clone()),
                    (None, Some(_)) => WhyShort::NotBrought,
                    (None, None) if large => WhyShort::NotWorkedOut,
                    (None, None) => WhyShort::Withdrawn,
                });
                ShownWish {
                    accepts: wish.accepts.iter().map(|a| self.accepts_words(a, &lots)).collect(),
                    units,
                    why_not,
                    lots: reasons
                        .into_iter()
                        .flatten()
                        .filter(|_| short)
                        .filter_map(|why| Some((number(why.lot)?, why)))
                        .collect(),
                    wish,
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
