//! Assembles the sealed input of a settlement: members, lots, wishes, and pairs of lot and wish that are barred.

use std::collections::{BTreeMap, BTreeSet};

use super::{Accepts, Brought, Ledger, Part, Round, Settings, Wish};
use crate::{
    clearing::{Bar, Barred, Input, Lot, Member, Share, Want},
    ids::{AccountId, CultivarId, RoundLotId},
    offer::Material,
};

/// Returns why a lot cannot go to a member; `None` if it can.
pub type Barrier<'a> = dyn Fn(&Brought, &Part) -> Option<Bar> + 'a;

/// Data from which a round's input is assembled.
pub struct Facts<'a> {
    /// The round.
    pub round: &'a Round,
    /// Settings of the round, or trial settings of an organiser.
    pub settings: Settings,
    /// Members who take part.
    pub parts: &'a [Part],
    /// Lots that members bring.
    pub lots: &'a [Brought],
    /// Cultivar and material of each lot.
    pub what: &'a BTreeMap<RoundLotId, (CultivarId, Material)>,
    /// Wishes of the members.
    pub wishes: &'a [Wish],
    /// Units given and taken in earlier rounds, by member.
    pub ledgers: &'a BTreeMap<AccountId, Ledger>,
    /// Returns why a lot cannot go to a member.
    pub barrier: &'a Barrier<'a>,
    /// Shares that were already handed over; the settlement keeps them.
    pub fixed: Vec<Share>,
    /// Shares of the previous settlement; the new one keeps as many as possible.
    pub kept: Vec<Share>,
}

/// Assembles the input. It includes wishes that no lot can meet, so that the outcome can explain them.
pub fn assemble(facts: &Facts<'_>) -> Input {
    let Facts { round, settings, parts, lots, what, wishes, ledgers, .. } = facts;
    let part_of: BTreeMap<AccountId, &Part> = parts.iter().map(|p| (p.account, p)).collect();
    let done: BTreeSet<(&str, &str)> =
        facts.fixed.iter().map(|s| (s.lot.as_str(), s.want.as_str())).collect();
    let group =
        |lot: &Brought| what.get(&lot.id).map(|(cultivar, _)| cultivar.to_string()).unwrap_or_default();
    let groups: BTreeSet<String> = lots.iter().map(&group).collect();
    let caps: BTreeMap<String, u32> = if settings.cultivar_cap == 0 {
        BTreeMap::new()
    } else {
        groups.into_iter().map(|g| (g, settings.cultivar_cap)).collect()
    };
    let members = parts.iter().map(|part| {
        let ledger = ledgers.get(&part.account).copied().unwrap_or_default();
        let balance = ledger.balance();
        let owes = balance.min(0).unsigned_abs();
        let is_owed = balance.max(0).unsigned_abs();
        Member {
            id: part.account.to_string(),
            give: settings.slack.saturating_add(part.give_more).saturating_add(owes),
            get: is_owed.saturating_add(if ledger.is_new() { settings.newcomers } else { 0 }),
            balance,
            cap: settings.cap,
            caps: caps.clone(),
        }
    });
    let members: Vec<Member> = members.collect();
    let lots_of: Vec<Lot> = lots
        .iter()
        .filter(|lot| part_of.contains_key(&lot.giver))
        .map(|lot| Lot {
            id: lot.id.to_string(),
            owner: lot.giver.to_string(),
            units: lot.there(),
            group: group(lot),
            gift: lot.gift,
        })
        .collect();
    let mut by_id: BTreeMap<RoundLotId, &Brought> = BTreeMap::new();
    let mut by_what: BTreeMap<(CultivarId, Material), Vec<&Brought>> = BTreeMap::new();
    for lot in lots.iter().filter(|lot| part_of.contains_key(&lot.giver)) {
        by_id.insert(lot.id, lot);
        if let Some(what) = what.get(&lot.id) {
            by_what.entry(*what).or_default().push(lot);
        }
    }
    let mut wants = Vec::new();
    let mut barred = Vec::new();
    let mut pairs: BTreeSet<(String, String)> = BTreeSet::new();
    for wish in *wishes {
        let Some(part) = part_of.get(&wish.account) else { continue };
        let id = wish.id.to_string();
        let mut named: BTreeMap<RoundLotId, &Brought> = BTreeMap::new();
        for accepts in &wish.accepts {
            match accepts {
                Accepts::Lot(lot) => named.extend(by_id.get_key_value(lot)),
                Accepts::Any(cultivar, material) => {
                    let lots = by_what.get(&(*cultivar, *material)).into_iter().flatten();
                    named.extend(lots.map(|lot| (lot.id, *lot)));
                }
            }
        }
        // A wish for one's own cultivar means other members' lots.
        named.retain(|_, lot| lot.giver != wish.account);
        for lot in named.values() {
            let pair = (lot.id.to_string(), id.clone());
            if let Some(why) = (facts.barrier)(lot, part)
                && !done.contains(&(pair.0.as_str(), pair.1.as_str()))
            {
                barred.push(Barred { lot: pair.0.clone(), want: id.clone(), why });
            }
            pairs.insert(pair);
        }
        wants.push(Want {
            id,
            member: wish.account.to_string(),
            rank: wish.rank,
            quantity: wish.quantity,
            lots: named.keys().map(ToString::to_string).collect(),
        });
    }
    let here = |share: &&Share| pairs.contains(&(share.lot.clone(), share.want.clone()));
    let kept = facts.kept.iter().filter(here).cloned().collect();
    let fixed = facts.fixed.iter().filter(here).cloned().collect();
    Input {
        round: round.id.to_string(),
        members,
        lots: lots_of,
        wants,
        barred,
        fixed,
        kept,
        fair_levels: settings.fair_levels,
    }
}
