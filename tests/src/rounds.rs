//! Generated rounds: members, lots and wishes from a seed.

use scionary_domain::clearing::{Bar, Barred, Input, Lot, Member, Want};

/// A small random number generator (SplitMix64) with the same output on every machine.
#[derive(Clone, Debug)]
pub struct Numbers(u64);

impl Numbers {
    /// Starts from a seed.
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }
    /// Returns the next number.
    pub const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    /// Returns a number from 0 to `n - 1`.
    pub const fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }
    /// Returns true with a chance of `percent` in 100.
    pub const fn chance(&mut self, percent: usize) -> bool {
        self.below(100) < percent
    }
}

/// Returns a large round. A member has ten wishes and about 2.8 lots, and takes at most 8 units. A few lots are dear to
/// many (Zipf). Of the pairs of twelve zones 8 % are barred. Each member can reach some of six places to hand over.
/// Head starts go from -3 to 3. `lots_each` is the number of lots that a wish names.
pub fn large(members: usize, lots_each: usize, seed: u64) -> Input {
    let mut numbers = Numbers::new(seed);
    let barred_zones: Vec<bool> = (0..144).map(|_| numbers.chance(8)).collect();
    let zones: Vec<usize> = (0..members).map(|_| numbers.below(12)).collect();
    let places: Vec<usize> = (0..members).map(|_| (1 << numbers.below(6)) | numbers.below(64)).collect();
    let mut input = Input { round: format!("made-{members}-{lots_each}-{seed}"), ..Default::default() };
    let mut owners = Vec::new();
    for member in 0..members {
        let balance = numbers.below(7) as i32 - 3;
        let generous = if numbers.chance(5) { 6 } else { 0 };
        input.members.push(Member {
            id: format!("m{member}"),
            give: 1 + balance.min(0).unsigned_abs() + generous,
            get: balance.max(0).unsigned_abs() + u32::from(numbers.chance(20)),
            balance,
            cap: 8,
            caps: Default::default(),
        });
        for _ in 0..[1, 2, 3, 4, 4][numbers.below(5)] {
            input.lots.push(Lot {
                id: format!("l{}", owners.len()),
                owner: format!("m{member}"),
                units: 1 + numbers.below(3) as u32,
                group: String::new(),
                gift: numbers.chance(3),
            });
            owners.push(member);
        }
    }
    // The order of the lots by popularity is random.
    let mut dear: Vec<usize> = (0..owners.len()).collect();
    for at in (1..dear.len()).rev() {
        dear.swap(at, numbers.below(at + 1));
    }
    let mut heights = Vec::with_capacity(dear.len());
    let mut sum = 0.0;
    for place in 0..dear.len() {
        sum += 1.0 / (place as f64 + 1.0).powf(0.6);
        heights.push(sum);
    }
    for member in 0..members {
        let mut chosen = Vec::new();
        for rank in 1..=10 {
            let mut lots = Vec::new();
            let mut tries = 0;
            while lots.len() < lots_each && tries < 200 {
                tries += 1;
                let height = (numbers.next() >> 11) as f64 / (1_u64 << 53) as f64 * sum;
                let lot = dear[heights.partition_point(|h| *h < height).min(dear.len() - 1)];
                if owners[lot] != member && !chosen.contains(&lot) {
                    chosen.push(lot);
                    lots.push(lot);
                }
            }
            if lots.is_empty() {
                continue;
            }
            let id = format!("m{member}:{rank}");
            for lot in &lots {
                let why = if barred_zones[zones[owners[*lot]] * 12 + zones[member]] {
                    Bar::Movement
                } else if places[owners[*lot]] & places[member] == 0 {
                    Bar::HandOver
                } else {
                    continue;
                };
                input.barred.push(Barred { lot: format!("l{lot}"), want: id.clone(), why });
            }
            input.wants.push(Want {
                id,
                member: format!("m{member}"),
                rank,
                quantity: 1 + u32::from(numbers.chance(25)),
                lots: lots.into_iter().map(|lot| format!("l{lot}")).collect(),
            });
        }
    }
    input
}
