//! A coordinated minority cannot move a settled finding: the curve over the whole of `evidence::findings`.
//!
//! The scenarios are those of the simulation that chose the vote (40 runs of 120 records there, fewer here): honest
//! growers who are right 80 times in 100, and colluders who enter the same wrong value for every record.

use std::sync::Arc;

use scionary_domain::{
    crop::Crop,
    evidence::{Evidence, Finding, Kind, Method, Observation, Observer, Standing, Value, findings},
    ids::{AccountId, EvidenceId, ReportId},
    time::Timestamp,
};
use uuid::Uuid;

/// A deterministic generator of draws.
struct Draws(u64);

impl Draws {
    fn below(&mut self, sides: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % sides
    }
    fn chance(&mut self, percent: u64) -> bool {
        self.below(100) < percent
    }
}

fn crop() -> Crop {
    let files = scionary_server::data::reference();
    let catalogue = scionary_app::catalogue::parse(&files, &[]).unwrap();
    catalogue.crops.into_iter().find(|c| c.slug == "mango").unwrap()
}

fn grower(n: u128, group: u128) -> Observer {
    let id = |n| AccountId::from_uuid(Uuid::from_u128(n));
    Observer { account: id(n), group: id(group), vouched: true, suspended: false, accuracy: None }
}

fn piece(id: u128, by: Observer, descriptor: &str, kind: Kind, value: Value) -> Arc<Evidence> {
    Arc::new(Evidence {
        id: EvidenceId::from_uuid(Uuid::from_u128(id)),
        crop: "mango".into(),
        cultivar: None,
        subject: String::new(),
        named_as: String::new(),
        descriptor: descriptor.into(),
        value,
        place: String::new(),
        source: "grower".into(),
        as_stated: "as seen".into(),
        note: String::new(),
        observed: Some(Box::new(Observation {
            by,
            kind,
            report: ReportId::from_uuid(Uuid::from_u128(id)),
            sowing: None,
            day: None,
            place: None,
            tree: String::new(),
            method: Method::NotSaid,
            citation: String::new(),
            at: Timestamp::from_micros(0),
            checks: Vec::new(),
        })),
    })
}

fn the(all: Vec<Finding>, key: &str) -> Finding {
    all.into_iter().find(|f| f.descriptor == key).unwrap()
}

const STATES: [&str; 3] = ["monoembryonic", "polyembryonic", "both"];

fn class(state: usize) -> Value {
    Value::Class { state: STATES[state].into() }
}

/// The results of one run: leading answer right; wrong and not flagged; flagged.
#[derive(Default, Clone, Copy)]
struct Counts {
    right: u32,
    wrong_unflagged: u32,
    flagged: u32,
    all: u32,
}

/// Runs records that honest growers and colluders judge on the class of the seed.
fn classes(honest: u128, colluders: u128, one_group: bool, seed: u64) -> Counts {
    let crop = crop();
    let mut draws = Draws(seed);
    let mut counts = Counts::default();
    for _ in 0..150 {
        let truth = usize::try_from(draws.below(3)).unwrap();
        let lie = (truth + 1) % 3;
        let mut evidence = Vec::new();
        for n in 0..honest {
            let says = if draws.chance(80) {
                truth
            } else {
                (truth + 1 + usize::try_from(draws.below(2)).unwrap()) % 3
            };
            evidence.push(piece(n + 1, grower(n + 1, n + 1), "embryony", Kind::Statement, class(says)));
        }
        for n in 0..colluders {
            let group = if one_group { 1001 } else { 1001 + n };
            evidence.push(piece(1001 + n, grower(1001 + n, group), "embryony", Kind::Statement, class(lie)));
        }
        let finding = the(findings(&crop, &evidence, &[]), "embryony");
        let flagged = finding.standing == Standing::Contested;
        let right = finding.sides[0].state == STATES[truth];
        counts.all += 1;
        counts.right += u32::from(right);
        counts.flagged += u32::from(flagged);
        counts.wrong_unflagged += u32::from(!right && !flagged);
    }
    counts
}

/// A class that ten growers settled stays whatever a minority enters: at most it becomes contested.
#[test]
fn a_minority_never_turns_a_settled_class() {
    println!("10 honest growers (right 80 in 100) and colluders who lie together, 150 records each:");
    println!("{:>10} {:>8} {:>20} {:>9}", "colluders", "right", "wrong and unflagged", "flagged");
    for colluders in 0..=6 {
        let c = classes(10, colluders, false, 20_261_125);
        println!(
            "{colluders:>10} {:>7}% {:>19}% {:>8}%",
            100 * c.right / c.all,
            100 * c.wrong_unflagged / c.all,
            100 * c.flagged / c.all
        );
        // The published simulation: with four colluders the vote was wrong and not flagged in 0 of 100.
        assert!(
            c.wrong_unflagged * 100 <= c.all,
            "{colluders} colluders turned {} of {}",
            c.wrong_unflagged,
            c.all
        );
    }
    // A crowd of one invitation chain, however large.
    for colluders in [4, 20, 200] {
        let c = classes(10, colluders, true, 20_261_126);
        println!(
            "{colluders:>10} of one chain: right {}%, wrong and unflagged {}%",
            100 * c.right / c.all,
            100 * c.wrong_unflagged / c.all
        );
        assert_eq!(c.wrong_unflagged, 0);
    }
}

fn count(of_these: u32) -> Value {
    Value::Tally { counted: 40, of_these }
}

fn counted(honest: u128, liars: u128, one_group: bool) -> Finding {
    let crop = crop();
    let mut evidence = Vec::new();
    for n in 0..honest {
        let value = count(37 + u32::try_from(n % 3).unwrap());
        evidence.push(piece(n + 1, grower(n + 1, n + 1), "multi_sprout_seeds", Kind::Tally, value));
    }
    for n in 0..liars {
        let group = if one_group { 1001 } else { 1001 + n };
        let value = Value::Tally { counted: 4000, of_these: 0 };
        evidence.push(piece(1001 + n, grower(1001 + n, group), "multi_sprout_seeds", Kind::Tally, value));
    }
    the(findings(&crop, &evidence, &[]), "multi_sprout_seeds")
}

/// Eight growers counted; liars claim thousands of seeds without a second sprout.
#[test]
fn a_minority_never_turns_a_settled_count() {
    let settled = counted(8, 0, false);
    assert_eq!(settled.standing, Standing::Settled);
    println!("8 honest counts of 40 and liars with counts of 4,000:");
    for liars in 0..=8 {
        let found = counted(8, liars, false);
        let share = found.share.clone().unwrap();
        println!(
            "{liars:>3} liars: {:>5.1} in 100, {}",
            share.posterior.mean() * 100.0,
            found.standing.word()
        );
        // One liar unsettles nothing; a minority can at most make it contested; no minority turns it to "few".
        if liars == 1 {
            assert_ne!(found.standing, Standing::Contested);
        }
        if liars < 8 {
            let few = share.posterior.below(0.10) > 0.5;
            assert!(!few || found.standing == Standing::Contested);
        }
        assert!(share.posterior.mean() > 0.4 || found.standing == Standing::Contested, "{liars}");
    }
    for liars in [2, 20, 200] {
        let found = counted(8, liars, true);
        assert_ne!(found.standing, Standing::Contested, "{liars} of one chain are one voice");
        assert!(found.share.unwrap().posterior.mean() > 0.5);
    }
}

/// Medians stay within the honest growers' range as long as fewer than half of the voices lie.
#[test]
fn a_minority_never_moves_a_median_beyond_what_others_say() {
    let crop = crop();
    for liars in 0..10_u128 {
        let mut evidence = Vec::new();
        for n in 0..10_u128 {
            let mean = Some(320.0 + 5.0 * f64::from(u32::try_from(n).unwrap()));
            let value = Value::Quantity { mean, low: None, high: None, unit: "g".into(), sample: Some(6) };
            evidence.push(piece(n + 1, grower(n + 1, n + 1), "fruit_mass", Kind::Measure, value));
        }
        for n in 0..liars {
            let value =
                Value::Quantity { mean: Some(9e6), low: None, high: None, unit: "g".into(), sample: Some(6) };
            evidence.push(piece(1001 + n, grower(1001 + n, 1001 + n), "fruit_mass", Kind::Measure, value));
        }
        let finding = the(findings(&crop, &evidence, &[]), "fruit_mass");
        let scionary_domain::evidence::Summary::Quantity { median, .. } = finding.summary else { panic!() };
        assert!((320.0..=365.0).contains(&median), "{liars} liars: {median}");
    }
}
