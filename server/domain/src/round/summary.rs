//! Summarises an outcome, so that an organiser can judge it before publication and compare it with another.

use std::collections::{BTreeMap, BTreeSet};

use crate::clearing::{Explainer, Input, Reason, Share};

/// Why units of a lot are left over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum WhyLeft {
    /// No member wishes for the lot.
    NotWished,
    /// Every wish for the lot is barred from it.
    Barred,
    /// Every member who wishes for it has the wanted number of units, or their cap.
    Enough,
    /// Another unit would exceed the limit on giving more than receiving, or on receiving more than giving.
    Books,
}

/// Units of a lot that no member gets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOver {
    /// Id of the lot.
    pub lot: String,
    /// Number of units.
    pub units: u32,
    /// Why the units are left over.
    pub why: WhyLeft,
}

/// Figures of one outcome.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Summary {
    /// Members who take part.
    pub members: u32,
    /// Members with at least one wish.
    pub wishing: u32,
    /// Units brought.
    pub brought: u32,
    /// Units brought as gifts, included in `brought`.
    pub gifts: u32,
    /// Units that change hands.
    pub given: u32,
    /// Members who get at least one unit of a wish of rank 1.
    pub first_wish: u32,
    /// Members with wishes who get no unit.
    pub with_nothing: u32,
    /// Units allotted by rank of their wish; the first entry is rank 1.
    pub by_rank: Vec<u32>,
    /// Members with wishes by the number of units they get; the first entry is 0 units.
    pub by_units: Vec<u32>,
    /// Per member: account id, units given (without gifts) and units received.
    pub books: Vec<(String, u32, u32)>,
    /// Lots with units left over.
    pub left: Vec<LeftOver>,
}

/// Calculates the figures of an outcome. Without an explainer, reasons for left-over units are coarse.
pub fn summary(input: &Input, shares: &[Share], explainer: Option<&Explainer<'_>>) -> Summary {
    let wants: BTreeMap<&str, _> = input.wants.iter().map(|w| (w.id.as_str(), w)).collect();
    let lots: BTreeMap<&str, _> = input.lots.iter().map(|l| (l.id.as_str(), l)).collect();
    let mut books: BTreeMap<&str, (u32, u32)> =
        input.members.iter().map(|m| (m.id.as_str(), (0, 0))).collect();
    let mut first: BTreeMap<&str, bool> = BTreeMap::new();
    let mut gone: BTreeMap<&str, u32> = BTreeMap::new();
    let mut by_rank = vec![0; input.wants.iter().map(|w| w.rank as usize).max().unwrap_or(0)];
    let mut given = 0;
    for want in &input.wants {
        first.entry(&want.member).or_insert(false);
    }
    for share in shares {
        let (Some(want), Some(lot)) = (wants.get(share.want.as_str()), lots.get(share.lot.as_str())) else {
            continue;
        };
        given += share.units;
        *gone.entry(&share.lot).or_insert(0) += share.units;
        if let Some(rank) = by_rank.get_mut((want.rank as usize).saturating_sub(1)) {
            *rank += share.units;
        }
        if want.rank == 1 {
            first.insert(&want.member, true);
        }
        if let Some((_, taken)) = books.get_mut(want.member.as_str()) {
            *taken += share.units;
        }
        if !lot.gift
            && let Some((given, _)) = books.get_mut(lot.owner.as_str())
        {
            *given += share.units;
        }
    }
    let most = books.values().map(|(_, taken)| *taken as usize).max().unwrap_or(0);
    let mut by_units = vec![0; most + 1];
    for (member, (_, taken)) in &books {
        if first.contains_key(member)
            && let Some(count) = by_units.get_mut(*taken as usize)
        {
            *count += 1;
        }
    }
    // One search a wish answers for all its lots.
    let mut reasons: BTreeMap<&str, Vec<Reason>> = BTreeMap::new();
    for (lot, reason) in
        input.wants.iter().flat_map(|want| explainer.and_then(|e| e.whys(&want.id)).unwrap_or_default())
    {
        reasons.entry(lot).or_default().push(reason);
    }
    let named: BTreeSet<&str> = input.wants.iter().flat_map(|want| &want.lots).map(String::as_str).collect();
    let left = input.lots.iter().filter_map(|lot| {
        let units = lot.units - gone.get(lot.id.as_str()).copied().unwrap_or(0).min(lot.units);
        let wished = named.contains(lot.id.as_str());
        let of_lot = reasons.get(lot.id.as_str()).map_or(&[][..], Vec::as_slice);
        (units > 0).then(|| LeftOver { lot: lot.id.clone(), units, why: why_left(wished, of_lot) })
    });
    Summary {
        members: count(input.members.len()),
        wishing: count(first.len()),
        brought: input.lots.iter().map(|l| l.units).sum(),
        gifts: input.lots.iter().filter(|l| l.gift).map(|l| l.units).sum(),
        given,
        first_wish: count(first.values().filter(|got| **got).count()),
        with_nothing: by_units.first().copied().unwrap_or(0),
        by_rank,
        by_units,
        left: left.collect(),
        books: books.into_iter().map(|(id, (given, taken))| (id.to_string(), given, taken)).collect(),
    }
}

fn why_left(wished: bool, reasons: &[Reason]) -> WhyLeft {
    if !wished {
        WhyLeft::NotWished
    } else if !reasons.is_empty() && reasons.iter().all(|r| matches!(r, Reason::Barred { .. })) {
        WhyLeft::Barred
    } else if reasons
        .iter()
        .any(|r| matches!(r, Reason::Limits { .. } | Reason::Books | Reason::Decided { .. }))
    {
        WhyLeft::Books
    } else {
        WhyLeft::Enough
    }
}

fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
