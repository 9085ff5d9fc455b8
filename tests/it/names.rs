//! Recall of the name model on misspellings of the reference catalogue's own names: keyboard slips, sound-alikes,
//! spacing, and both. The generator is deterministic.

use crate::reference::registry;

/// A small deterministic generator (Numerical Recipes' LCG constants).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % sides.max(1)
    }
}

fn slip(name: &str, dice: &mut Dice) -> String {
    let mut letters: Vec<char> = name.chars().collect();
    let at = dice.roll(letters.len());
    let letter = char::from(b'a' + u8::try_from(dice.roll(26)).unwrap());
    match dice.roll(4) {
        0 => letters[at] = letter,
        1 => letters.insert(at, letter),
        2 if letters.len() > 3 => {
            letters.remove(at);
        }
        _ if at + 1 < letters.len() => letters.swap(at, at + 1),
        _ => letters.insert(at, letter),
    }
    letters.into_iter().collect()
}

fn misheard(name: &str, dice: &mut Dice) -> String {
    let pairs = [
        ("c", "k"),
        ("k", "c"),
        ("ph", "f"),
        ("ee", "ie"),
        ("oo", "ou"),
        ("y", "i"),
        ("s", "z"),
        ("v", "w"),
        ("tt", "t"),
        ("l", "ll"),
        ("th", "t"),
        ("j", "dj"),
        ("u", "oe"),
        ("ea", "ee"),
    ];
    let lower = name.to_lowercase();
    let from = dice.roll(pairs.len());
    for turn in 0..pairs.len() {
        let (a, b) = pairs[(from + turn) % pairs.len()];
        if lower.contains(a) {
            return lower.replacen(a, b, 1);
        }
    }
    slip(&lower, dice)
}

fn respaced(name: &str, dice: &mut Dice) -> String {
    if name.contains(' ') {
        return if dice.roll(2) == 0 {
            name.replace(' ', "")
        } else {
            name.split(' ').rev().collect::<Vec<_>>().join(" ")
        };
    }
    let letters: Vec<char> = name.chars().collect();
    let at = 1 + dice.roll(letters.len() - 1);
    let (front, back) = letters.split_at(at);
    format!("{} {}", front.iter().collect::<String>(), back.iter().collect::<String>())
}

#[test]
fn misspelt_names_are_found() {
    let registry = registry();
    let mut dice = Dice(20_261_124);
    let mut kinds: Vec<(&str, u32, u32, u32)> = Vec::new();
    type Spoil = fn(&str, &mut Dice) -> String;
    let spoils: [(&str, Spoil); 4] = [
        ("keyboard", slip),
        ("misheard", misheard),
        ("spacing", respaced),
        ("both", |n, d| {
            let heard = misheard(n, d);
            slip(&heard, d)
        }),
    ];
    let mut names: Vec<_> = Vec::new();
    let mut token = String::new();
    loop {
        let page = registry.list("", None, 100, &token).unwrap();
        names.extend(page.rows.iter().map(|r| (r.cultivar.id, r.cultivar.name.clone())));
        match page.next {
            Some(next) => token = next,
            None => break,
        }
    }
    for (kind, spoil) in spoils {
        let (mut asked, mut first, mut five) = (0, 0, 0);
        for (id, name) in names.iter().filter(|(_, n)| n.chars().count() >= 4) {
            {
                let typed = spoil(name, &mut dice);
                // Skip a variant that is itself another name on file.
                let hits = registry.find(&typed, "", 5);
                if hits.first().is_some_and(|h| h.hit.is_exact() && h.record.cultivar.id != *id) {
                    continue;
                }
                asked += 1;
                first += u32::from(hits.first().is_some_and(|h| h.record.cultivar.id == *id));
                five += u32::from(hits.iter().any(|h| h.record.cultivar.id == *id));
            }
        }
        println!("{kind}: {asked} asked, first {first}, among five {five}");
        kinds.push((kind, asked, first, five));
    }
    for (kind, asked, first, five) in kinds {
        let share = |n: u32| f64::from(n) / f64::from(asked);
        // Two mistakes in a short name can leave too little to match.
        let (least_first, least_five) = if kind == "both" { (0.90, 0.92) } else { (0.97, 0.98) };
        assert!(share(five) >= least_five, "{kind}: among five {:.3}", share(five));
        assert!(share(first) >= least_first, "{kind}: first {:.3}", share(first));
    }
}

#[test]
fn made_up_names_are_not_accepted() {
    let registry = registry();
    let mut dice = Dice(7);
    let mut taken = Vec::new();
    for _ in 0..300 {
        let length = 5 + dice.roll(8);
        let word: String = (0..length)
            .map(|at| {
                let set = if at % 2 == 0 { "bcdfghjklmnprstvwz" } else { "aeiou" };
                set.chars().nth(dice.roll(set.len())).unwrap()
            })
            .collect();
        if registry.look_up(&word, "").unwrap().answer.is_some() {
            taken.push(word);
        }
    }
    assert!(taken.len() <= 6, "taken for something on file: {taken:?}");
}
