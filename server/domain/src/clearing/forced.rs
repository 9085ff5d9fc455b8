//! Compares every reason with a settlement that has the unit forced: the pair's own objective comes before
//! all others, and the difference of the two outcomes is counted from their shares alone.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    draw::Draw,
    flow::{Circulation, Unwatched},
    network::{Network, Role},
    solve::aims,
    *,
};

/// A generator of numbers (SplitMix64), so that a failure can be seen again.
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, end: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % end
    }
    fn to(&mut self, most: u32) -> u32 {
        u32::try_from(self.below(u64::from(most) + 1)).unwrap()
    }
    fn one_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }
}

/// A round at random: limits, groups, gifts, bars, and in some of them an earlier outcome, of which a part
/// was handed over.
fn round(seed: u64) -> Input {
    let mut random = Numbers(seed);
    let mut input = Input { round: format!("r{seed}"), ..Default::default() };
    let members = 3 + random.to(5);
    let grouped = random.one_in(3);
    for at in 0..members {
        let balance = i32::try_from(random.to(8)).unwrap() - 4;
        let caps = if grouped {
            BTreeMap::from([("g0".to_string(), random.to(1) + 1), ("g1".to_string(), random.to(1) + 1)])
        } else {
            BTreeMap::new()
        };
        input.members.push(Member {
            id: format!("m{at}"),
            give: random.to(2) + balance.min(0).unsigned_abs(),
            get: random.to(1) + balance.max(0).unsigned_abs(),
            balance,
            cap: random.to(3) + 1,
            caps,
        });
        for _ in 0..random.to(3) {
            let (id, group) = (format!("l{}", input.lots.len()), format!("g{}", random.to(2)));
            let (owner, units, gift) = (format!("m{at}"), random.to(2) + 1, random.one_in(8));
            input.lots.push(Lot { id, owner, units, group, gift });
        }
    }
    let lots = u32::try_from(input.lots.len()).unwrap();
    for at in 0..members {
        for rank in 1..=random.to(4) {
            if lots == 0 {
                break;
            }
            let first = random.to(lots - 1) as usize;
            let group = input.lots[first].group.clone();
            let mut named = BTreeSet::from([first]);
            for _ in 0..random.to(2) {
                named.insert(random.to(lots - 1) as usize);
            }
            let same = |lot: &&usize| !grouped || input.lots[**lot].group == group;
            let lots = named.iter().filter(same).map(|lot| format!("l{lot}")).collect();
            input.wants.push(Want {
                id: format!("m{at}:{rank}"),
                member: format!("m{at}"),
                rank,
                quantity: random.to(2) + 1,
                lots,
            });
        }
    }
    for want in input.wants.clone() {
        for lot in want.lots {
            if random.one_in(12) {
                input.barred.push(Barred { lot, want: want.id.clone(), why: Bar::Movement });
            }
        }
    }
    if random.one_in(5) {
        input.fair_levels = Some(i32::try_from(random.to(3)).unwrap());
    }
    if random.one_in(3) {
        let before = settle(&input, "before", &mut Unwatched, &mut |_| {}).unwrap();
        let cut = random.below(before.shares.len() as u64 + 1) as usize;
        input.fixed = before.shares[..cut].to_vec();
        input.kept = before.shares[cut..].to_vec();
        for share in before.shares.iter().skip(cut) {
            if random.one_in(4) && !input.barred.iter().any(|b| b.lot == share.lot && b.want == share.want) {
                let (lot, want) = (share.lot.clone(), share.want.clone());
                input.barred.push(Barred { lot, want, why: Bar::Absent });
            }
        }
        let barred: BTreeSet<_> = input.barred.iter().map(|b| (b.lot.clone(), b.want.clone())).collect();
        input.kept.retain(|share| !barred.contains(&(share.lot.clone(), share.want.clone())));
    }
    input
}

/// Settles with at least `units` of a lot for a wish; `None` where no outcome has them.
fn forced(input: &Input, outcome: &Outcome, lot: &str, want: &str, units: i32) -> Option<Vec<Share>> {
    let network = Network::new(input).unwrap();
    let is_pair = |role: &Role| {
        matches!(role, Role::Pair { lot: l, want: w, .. }
            if input.lots[*l as usize].id == lot && input.wants[*w as usize].id == want)
    };
    let arcs: Vec<u32> =
        network.roles.iter().zip(0..).filter(|(role, _)| is_pair(role)).map(|(_, at)| at).collect();
    let mut bounded = network.arcs.clone();
    // At most the forced units, so that the first objective asks for no more than them.
    let mut left = units;
    for arc in &arcs {
        let arc = &mut bounded[*arc as usize];
        arc.upper = arc.upper.min(left.max(arc.lower));
        left -= arc.upper;
    }
    let mut circulation = Circulation::new(network.nodes, bounded);
    let force: Vec<(u32, i64)> = arcs.iter().map(|a| (*a, 1)).collect();
    circulation.improve(&force, &mut Unwatched).unwrap();
    let flow: i32 = arcs.iter().map(|a| circulation.arcs()[*a as usize].flow).sum();
    if flow < units {
        return None;
    }
    let draw = Draw::new(&outcome.seed, outcome.redraw);
    for aim in aims(input, &network) {
        circulation.improve(&aim.weights(&network, input, &draw), &mut Unwatched).unwrap();
    }
    assert!(circulation.is_settled(), "the draw separates all outcomes");
    let mut pairs: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    for (role, arc) in network.roles.iter().zip(circulation.arcs()) {
        if let Role::Pair { lot, want, .. } = role {
            *pairs.entry((*lot, *want)).or_default() += arc.flow.unsigned_abs();
        }
    }
    let named = |((lot, want), units): ((u32, u32), u32)| Share {
        lot: input.lots[lot as usize].id.clone(),
        want: input.wants[want as usize].id.clone(),
        units,
    };
    Some(pairs.into_iter().filter(|(_, units)| *units > 0).map(named).collect())
}

/// Counts of an outcome, from its shares.
struct Counts {
    pairs: BTreeMap<(String, String), i32>,
    lines: BTreeMap<String, i32>,
    totals: BTreeMap<String, i32>,
}

fn counts(input: &Input, shares: &[Share]) -> Counts {
    let owner: BTreeMap<&str, &str> =
        input.wants.iter().map(|w| (w.id.as_str(), w.member.as_str())).collect();
    let mut all = Counts { pairs: BTreeMap::new(), lines: BTreeMap::new(), totals: BTreeMap::new() };
    for share in shares {
        let units = i32::try_from(share.units).unwrap();
        *all.pairs.entry((share.lot.clone(), share.want.clone())).or_default() += units;
        *all.lines.entry(share.want.clone()).or_default() += units;
        *all.totals.entry(owner[share.want.as_str()].to_string()).or_default() += units;
    }
    all
}

/// The changes of all keys from one count to another.
fn change<K: Ord + Clone>(from: &BTreeMap<K, i32>, to: &BTreeMap<K, i32>) -> BTreeMap<K, i32> {
    let mut all: BTreeMap<K, i32> = to.clone();
    for (key, units) in from {
        *all.entry(key.clone()).or_default() -= units;
    }
    all.retain(|_, by| *by != 0);
    all
}

/// Values of all objectives for the given shares, from their definitions.
fn values(input: &Input, outcome: &Outcome, shares: &[Share]) -> Vec<i64> {
    let counted = counts(input, shares);
    let draw = Draw::new(&outcome.seed, outcome.redraw);
    let wants: BTreeMap<&str, &Want> = input.wants.iter().map(|w| (w.id.as_str(), w)).collect();
    let of = |aim: &Aim| -> i64 {
        match aim {
            Aim::Kept => input
                .kept
                .iter()
                .map(|k| {
                    let key = (k.lot.clone(), k.want.clone());
                    let fixed: u32 = input
                        .fixed
                        .iter()
                        .filter(|f| f.lot == k.lot && f.want == k.want)
                        .map(|f| f.units)
                        .sum();
                    let have = counted.pairs.get(&key).copied().unwrap_or(0) - i32::try_from(fixed).unwrap();
                    i64::from(have.clamp(0, i32::try_from(k.units).unwrap()))
                })
                .sum(),
            Aim::Level(level) => input
                .members
                .iter()
                .map(|m| {
                    let total = counted.totals.get(&m.id).copied().unwrap_or(0).unsigned_abs();
                    (1..=total).filter(|unit| m.level(*unit) == *level).count() as i64
                })
                .sum(),
            Aim::Who => {
                counted.totals.iter().map(|(member, units)| draw.member(member) * i64::from(*units)).sum()
            }
            Aim::Rank(rank) => counted
                .lines
                .iter()
                .filter(|(want, _)| wants[want.as_str()].rank.min(RANKS) == *rank)
                .map(|(_, units)| i64::from(*units))
                .sum(),
            Aim::Which => counted
                .pairs
                .iter()
                .map(|((lot, want), units)| draw.pair(lot, want) * i64::from(*units))
                .sum(),
            Aim::Settled => 0,
        }
    };
    outcome.steps.iter().map(|step| of(&step.aim)).collect()
}

/// What a member would read, counted from the two outcomes.
fn counted(input: &Input, outcome: &Outcome, want: &Want, other: &[Share]) -> Reason {
    let (now, then) = (counts(input, &outcome.shares), counts(input, other));
    let (had, has) = (values(input, outcome, &outcome.shares), values(input, outcome, other));
    let place = had.iter().zip(&has).position(|(a, b)| a != b).unwrap();
    let by = outcome.steps[place].aim;
    let me = &want.member;
    let of = |id: &str| input.wants.iter().find(|w| w.id == id).unwrap();
    let (pairs, lines, totals) =
        (change(&now.pairs, &then.pairs), change(&now.lines, &then.lines), change(&now.totals, &then.totals));
    let others = || totals.iter().filter(|(m, _)| *m != me);
    let level_of = |member: &str, units: i32| {
        input.members.iter().find(|m| m.id == member).unwrap().level(units.unsigned_abs())
    };
    let had_units = |member: &str| now.totals.get(member).copied().unwrap_or(0);
    let mut own_lines: Vec<u32> = lines
        .iter()
        .filter(|(id, by)| **by < 0 && **id != want.id && of(id).member == *me)
        .map(|(id, _)| of(id).rank)
        .collect();
    own_lines.sort_unstable();
    let mut facts = Change {
        loss: had[place] - has[place],
        own_total: totals.get(me).copied().unwrap_or(0),
        own_lines,
        same_line: pairs.iter().any(|((_, w), by)| *w == want.id && *by < 0),
        others_less: others().filter(|(_, by)| **by < 0).count() as u32,
        others_more: others().filter(|(_, by)| **by > 0).count() as u32,
        ..Change::default()
    };
    let foreign = |id: &str| of(id).member != *me;
    match by {
        Aim::Level(level) => {
            let falls = others().filter(|(m, by)| **by < 0 && level_of(m, had_units(m)) == level);
            facts.at_level = falls.count() as u32;
            facts.standing = level - level_of(me, had_units(me));
        }
        Aim::Rank(rank) => {
            for (_, by) in lines.iter().filter(|(id, _)| foreign(id) && of(id).rank.min(RANKS) == rank) {
                if *by < 0 {
                    facts.lines_less += by.unsigned_abs();
                } else {
                    facts.lines_more += by.unsigned_abs();
                }
            }
        }
        Aim::Which => {
            let lost = pairs.iter().filter(|((_, w), by)| foreign(w) && **by < 0);
            facts.lines_less = lost.map(|(_, by)| by.unsigned_abs()).sum();
        }
        Aim::Kept => {
            let kept = |shares: &Counts, k: &Share| {
                let fixed: u32 =
                    input.fixed.iter().filter(|f| f.lot == k.lot && f.want == k.want).map(|f| f.units).sum();
                let have = shares.pairs.get(&(k.lot.clone(), k.want.clone())).copied().unwrap_or(0);
                (have - i32::try_from(fixed).unwrap()).clamp(0, i32::try_from(k.units).unwrap())
            };
            let lost = input.kept.iter().filter(|k| foreign(&k.want));
            facts.lines_less = lost.map(|k| (kept(&now, k) - kept(&then, k)).max(0).unsigned_abs()).sum();
        }
        Aim::Who | Aim::Settled => {}
    }
    Reason::Decided { by, change: facts }
}

/// Widens limits of a member who wishes, or of the owner, by one unit.
fn widened(input: &Input, limits: &[Limit], lot: &Lot, want: &Want) -> Input {
    let mut wider = input.clone();
    for member in &mut wider.members {
        let (is_taker, is_owner) = (member.id == want.member, member.id == lot.owner);
        for limit in limits {
            match limit {
                Limit::Cap => member.cap += u32::from(is_taker),
                Limit::CultivarCap if is_taker => {
                    member.caps.entry(lot.group.clone()).and_modify(|cap| *cap += 1);
                }
                Limit::CultivarCap => {}
                Limit::Get => member.get += u32::from(is_taker),
                Limit::Give => member.give += u32::from(is_owner),
            }
        }
    }
    // Completed hand-overs can exceed a limit; then it is the excess that has to be widened.
    let (mut took, mut net): (BTreeMap<&str, u32>, BTreeMap<&str, i64>) = Default::default();
    for share in &input.fixed {
        let want = input.wants.iter().find(|w| w.id == share.want).unwrap();
        let lot = input.lots.iter().find(|l| l.id == share.lot).unwrap();
        *took.entry(&want.member).or_default() += share.units;
        *net.entry(&want.member).or_default() += i64::from(share.units);
        if !lot.gift {
            *net.entry(&lot.owner).or_default() -= i64::from(share.units);
        }
    }
    for member in &mut wider.members {
        let extra = |limit: Limit, is: bool| u32::from(is && limits.contains(&limit));
        let (is_taker, is_owner) = (member.id == want.member, member.id == lot.owner);
        let net = net.get(member.id.as_str()).copied().unwrap_or(0);
        let least = |units: i64| u32::try_from(units.max(0)).unwrap();
        member.cap =
            member.cap.max(took.get(member.id.as_str()).copied().unwrap_or(0) + extra(Limit::Cap, is_taker));
        member.get = member.get.max(least(net) + extra(Limit::Get, is_taker));
        member.give = member.give.max(least(-net) + extra(Limit::Give, is_owner));
    }
    wider
}

#[test]
fn every_reason_is_the_reason() {
    let (mut decided, mut limited, mut books, mut gone, mut kinds) = (0, 0, 0, 0, BTreeMap::new());
    for seed in 0..600 {
        let input = round(seed);
        let outcome = settle(&input, &format!("seed {seed}"), &mut Unwatched, &mut |_| {}).unwrap();
        let explainer = Explainer::new(&input, &outcome).unwrap();
        let now = counts(&input, &outcome.shares);
        for want in &input.wants {
            for (lot_id, reason) in explainer.whys(&want.id).unwrap() {
                assert_eq!(explainer.why(lot_id, &want.id).as_ref(), Some(&reason));
                let lot = input.lots.iter().find(|l| l.id == lot_id).unwrap();
                let units = now.pairs.get(&(lot.id.clone(), want.id.clone())).copied().unwrap_or(0) + 1;
                let of = format!("{lot_id} for {} of round {seed}", want.id);
                let possible = |input: &Input| forced(input, &outcome, lot_id, &want.id, units);
                match &reason {
                    Reason::Barred { .. } => {}
                    Reason::Met => {
                        assert!(now.lines[&want.id].unsigned_abs() >= want.quantity, "{of}");
                    }
                    Reason::AllOfIt => {
                        let most = lot.units.min(want.quantity);
                        assert!(units.unsigned_abs() > most, "{of}");
                    }
                    Reason::Gone => {
                        let fixed: u32 =
                            input.fixed.iter().filter(|f| f.lot == lot.id).map(|f| f.units).sum();
                        assert!(fixed >= lot.units, "{of}");
                        gone += 1;
                    }
                    Reason::Limits { limits } => {
                        assert_eq!(possible(&input), None, "{of}");
                        assert!(possible(&widened(&input, limits, lot, want)).is_some(), "{of}: {limits:?}");
                        for (at, _) in limits.iter().enumerate() {
                            let mut fewer = limits.clone();
                            fewer.remove(at);
                            let narrow = widened(&input, &fewer, lot, want);
                            assert_eq!(possible(&narrow), None, "{of}: {fewer:?} of {limits:?}");
                        }
                        limited += 1;
                    }
                    Reason::Books => {
                        let all = [Limit::Cap, Limit::CultivarCap, Limit::Get, Limit::Give];
                        assert_eq!(possible(&widened(&input, &all, lot, want)), None, "{of}");
                        books += 1;
                    }
                    Reason::Decided { by, .. } => {
                        let other = possible(&input).unwrap_or_else(|| panic!("{of} is possible"));
                        assert_eq!(reason, counted(&input, &outcome, want, &other), "{of}");
                        decided += 1;
                        let kind = match by {
                            Aim::Level(_) => "level",
                            Aim::Rank(_) => "rank",
                            Aim::Kept => "kept",
                            Aim::Who => "who",
                            Aim::Which => "which",
                            Aim::Settled => "settled",
                        };
                        *kinds.entry(kind).or_insert(0) += 1;
                    }
                }
            }
        }
    }
    // The test would show nothing if a kind of reason never came up.
    assert!(decided > 500 && limited > 100 && books > 5 && gone > 10, "{decided} {limited} {books} {gone}");
    for kind in ["level", "rank", "kept", "who", "which"] {
        assert!(kinds.get(kind).is_some_and(|n| *n > 10), "{kinds:?}");
    }
    assert!(!kinds.contains_key("settled"), "{kinds:?}");
}
