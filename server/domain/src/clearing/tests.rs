//! Properties of settled rounds, tested at random. Check values from an independent solver are in
//! tests/python/rounds.py.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;

use super::*;

/// A member: balance, limits, lots (units, whether they are a gift), and wishes (indexes of lots, quantity).
type Made = (i32, u32, u32, Vec<(u32, bool)>, Vec<(Vec<usize>, u32)>);

fn members(lots_a_wish: usize) -> impl Strategy<Value = Vec<Made>> {
    let wish = (prop::collection::vec(0_usize..20, 1..=lots_a_wish), 1_u32..3);
    let lot = (1_u32..3, prop::bool::weighted(0.1));
    let member =
        (-4_i32..5, 0_u32..3, 1_u32..5, prop::collection::vec(lot, 0..3), prop::collection::vec(wish, 0..6));
    prop::collection::vec(member, 2..8)
}

fn input(made: &[Made]) -> Input {
    let mut input = Input { round: "made".into(), ..Default::default() };
    for (at, (balance, give, cap, lots, _)) in made.iter().enumerate() {
        input.members.push(Member {
            id: format!("m{at}"),
            give: give + balance.min(&0).unsigned_abs(),
            get: balance.max(&0).unsigned_abs(),
            balance: *balance,
            cap: *cap,
            caps: BTreeMap::new(),
        });
        for (units, gift) in lots {
            let (id, owner) = (format!("l{}", input.lots.len()), format!("m{at}"));
            input.lots.push(Lot { id, owner, units: *units, group: String::new(), gift: *gift });
        }
    }
    for (at, (.., wishes)) in made.iter().enumerate() {
        let mut named = BTreeSet::new();
        for (rank, (lots, quantity)) in wishes.iter().enumerate() {
            let lots: Vec<String> = lots
                .iter()
                .filter(|l| !input.lots.is_empty() && named.insert(*l % input.lots.len()))
                .map(|l| format!("l{}", l % input.lots.len()))
                .collect();
            if !lots.is_empty() {
                let (id, member) = (format!("m{at}:{rank}"), format!("m{at}"));
                input.wants.push(Want { id, member, rank: rank as u32 + 1, quantity: *quantity, lots });
            }
        }
    }
    input
}

fn settled(input: &Input, seed: &str) -> Outcome {
    settle(input, seed, &mut Unwatched, &mut |_| {}).unwrap()
}

/// Returns the units that each member takes, by rank.
fn taken(input: &Input, outcome: &Outcome) -> BTreeMap<String, BTreeMap<u32, u32>> {
    let wants: BTreeMap<&str, &Want> = input.wants.iter().map(|w| (w.id.as_str(), w)).collect();
    let mut taken: BTreeMap<String, BTreeMap<u32, u32>> = BTreeMap::new();
    for share in &outcome.shares {
        let want = wants[share.want.as_str()];
        *taken.entry(want.member.clone()).or_default().entry(want.rank).or_default() += share.units;
    }
    taken
}

fn units(taken: &BTreeMap<String, BTreeMap<u32, u32>>, member: &str) -> u32 {
    taken.get(member).map_or(0, |ranks| ranks.values().sum())
}

/// Returns the ranks of a member's units, best first.
fn ranks(taken: &BTreeMap<String, BTreeMap<u32, u32>>, member: &str) -> Vec<u32> {
    let ranks = taken.get(member).into_iter().flatten();
    ranks.flat_map(|(rank, units)| std::iter::repeat_n(*rank, *units as usize)).collect()
}

proptest! {
    #[test]
    fn limits_hold(made in members(3)) {
        let input = input(&made);
        let outcome = settled(&input, "seed");
        let lots: BTreeMap<&str, &Lot> = input.lots.iter().map(|l| (l.id.as_str(), l)).collect();
        let wants: BTreeMap<&str, &Want> = input.wants.iter().map(|w| (w.id.as_str(), w)).collect();
        let mut left: BTreeMap<&str, i64> = BTreeMap::new();
        let mut books: BTreeMap<&str, (i64, i64)> = BTreeMap::new();
        for share in &outcome.shares {
            let (lot, want) = (lots[share.lot.as_str()], wants[share.want.as_str()]);
            prop_assert!(want.lots.contains(&share.lot) && lot.owner != want.member);
            *left.entry(&share.lot).or_insert(i64::from(lot.units)) -= i64::from(share.units);
            *left.entry(&share.want).or_insert(i64::from(want.quantity)) -= i64::from(share.units);
            books.entry(&want.member).or_default().0 += i64::from(share.units);
            if !lot.gift {
                books.entry(&lot.owner).or_default().1 += i64::from(share.units);
            }
        }
        prop_assert!(left.values().all(|l| *l >= 0));
        for member in &input.members {
            let (took, gave) = books.get(member.id.as_str()).copied().unwrap_or_default();
            prop_assert!(took <= i64::from(member.cap));
            prop_assert!(gave - took <= i64::from(member.give) && took - gave <= i64::from(member.get));
        }
    }

    #[test]
    fn the_order_of_the_input_does_not_matter(made in members(3), turn in 0_usize..7) {
        let input = input(&made);
        let mut turned = input.clone();
        turned.wants.reverse();
        if !turned.lots.is_empty() {
            let turn = turn % turned.lots.len();
            turned.lots.rotate_left(turn);
        }
        let turn = turn % turned.members.len();
        turned.members.rotate_left(turn);
        for want in &mut turned.wants {
            want.lots.reverse();
        }
        prop_assert_eq!(settled(&input, "seed").shares, settled(&turned, "seed").shares);
    }

    /// Guarantee (c): no other outcome gives every member as many units of as good ranks, and one member
    /// better.
    #[test]
    fn nothing_is_better_for_everybody(made in members(3), other in "[a-z]{4}") {
        let input = input(&made);
        let ours = taken(&input, &settled(&input, "seed"));
        let mut turned = input.clone();
        for fair_levels in [None, Some(-9), Some(1)] {
            turned.fair_levels = fair_levels;
            let theirs = taken(&turned, &settled(&turned, &other));
            let (mut worse, mut better) = (false, false);
            for member in &input.members {
                let (us, them) = (ranks(&ours, &member.id), ranks(&theirs, &member.id));
                worse |= them.len() < us.len() || us.iter().zip(&them).any(|(a, b)| b > a);
                better |= them.len() > us.len() || us.iter().zip(&them).any(|(a, b)| b < a);
            }
            prop_assert!(worse || !better);
        }
    }

    /// Guarantee (e): where each wish names one lot, hiding wishes, asking for less, a lower limit or
    /// withholding swapped lots brings no more units.
    #[test]
    fn hiding_brings_no_more_units(made in members(1), who in 0_usize..8, how in 0_usize..4, what in 0_usize..8) {
        let truth = input(&made);
        let who = format!("m{}", who % made.len());
        let mut told = truth.clone();
        let mine: Vec<usize> = (0..told.wants.len()).filter(|w| told.wants[*w].member == who).collect();
        match how {
            0 if !mine.is_empty() => {
                told.wants.remove(mine[what % mine.len()]);
            }
            1 if !mine.is_empty() => told.wants[mine[what % mine.len()]].quantity = 1,
            2 => told.members.iter_mut().filter(|m| m.id == who).for_each(|m| m.cap = m.cap.saturating_sub(1)),
            _ => {
                let Some(lot) = told.lots.iter().position(|l| l.owner == who && !l.gift) else { return Ok(()) };
                let id = told.lots.remove(lot).id;
                told.wants.retain(|w| w.lots != [id.clone()]);
            }
        }
        let (ours, theirs) = (taken(&truth, &settled(&truth, "s")), taken(&told, &settled(&told, "s")));
        prop_assert!(units(&theirs, &who) <= units(&ours, &who));
    }

    /// Completed hand-overs stay; of the rest, as much as possible.
    #[test]
    fn what_stands_is_kept(made in members(3), half in 0_usize..6) {
        let first = input(&made);
        let outcome = settled(&first, "seed");
        let mut again = first.clone();
        let cut = half.min(outcome.shares.len());
        again.fixed = outcome.shares[..cut].to_vec();
        again.kept = outcome.shares[cut..].to_vec();
        let same = settled(&again, "other seed");
        for share in &outcome.shares {
            prop_assert!(same.shares.iter().any(|s| s.lot == share.lot && s.want == share.want && s.units >= share.units));
        }
    }
}

#[test]
fn every_thread_says_the_same() {
    let made: Vec<Made> = (0..40_usize)
        .map(|n| {
            (
                n as i32 % 5 - 2,
                1,
                4,
                vec![(2, n % 9 == 0); 2],
                vec![(vec![n * 7 % 80, n * 3 % 80], 1), (vec![n + 1], 2)],
            )
        })
        .collect();
    let input = input(&made);
    let one = settled(&input, "seed");
    std::thread::scope(|scope| {
        let all: Vec<_> = (0..4).map(|_| scope.spawn(|| settled(&input, "seed"))).collect();
        for other in all {
            assert_eq!(other.join().unwrap(), one);
        }
    });
    assert!(one.shares.len() > 20);
}

#[test]
fn it_can_be_stopped() {
    struct Stop(u32);
    impl Watch for Stop {
        fn go_on(&mut self) -> bool {
            self.0 -= 1;
            self.0 > 0
        }
    }
    let made: Vec<Made> =
        (0..20_usize).map(|n| (0, 1, 2, vec![(1, false)], vec![(vec![n + 1], 1)])).collect();
    let input = input(&made);
    assert_eq!(settle(&input, "s", &mut Stop(3), &mut |_| {}), Err(Failed::Stopped(Stopped)));
}

#[test]
fn what_is_not_there_is_told() {
    let made = vec![(0, 1, 2, vec![(1, false)], vec![]), (0, 1, 2, vec![], vec![(vec![0], 1)])];
    let good = input(&made);
    assert!(good.check().is_ok());
    let mut bad = good.clone();
    bad.wants[0].lots.push("l9".into());
    assert!(bad.check().unwrap_err().0.contains("l9"));
    let mut bad = good.clone();
    bad.members.push(bad.members[0].clone());
    assert!(bad.check().unwrap_err().0.contains("twice"));
    // The canonical form has sorted keys and no spaces, whatever the order of the fields.
    assert!(
        good.canonical()
            .unwrap()
            .starts_with(r#"{"barred":[],"fixed":[],"kept":[],"lots":[{"gift":false,"group":"","id":"l0""#)
    );
    assert_eq!(good.hash().unwrap(), sha256(good.canonical().unwrap().as_bytes()));
}
