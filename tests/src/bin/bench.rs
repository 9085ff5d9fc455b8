//! Measures ratios within one run: the cost of a new piece of evidence for registries of different size, the speed of
//! an import next to the database's plain inserts, and the cost of plans for each step. `bench -- plans` measures plans
//! only; `bench -- verdicts` stops after plans and verdicts.
//!
//! `cargo run --release -p scionary-tests --bin bench -- CULTIVARS PIECES DATABASE-URL`; every argument is optional.
#![expect(clippy::disallowed_methods, reason = "a measure reads the clock")]

use std::time::Instant;

use scionary_app::{
    App, Policy,
    evidence::{ImportMode, ImportRow},
    movement::MovementFiles,
    passwords::Passwords,
    ports::SystemEntropy,
    registry::Registry,
};
use scionary_domain::{
    account::{Account, Actor},
    crop::{Climate, Crop, Way},
    evidence::entry::{Draft, Observed},
    ids::{AccountId, CultivarId, RequestId, SessionId},
    movement::{Move, Part, Parts},
    plan::{self, Setting},
    seed::Answer,
    time::{Date, Timestamp},
};
use scionary_server::clock::SystemClock;
use scionary_store::{Options, Store};
use scionary_tests::measured::literal;
use sea_orm::{ConnectionTrait as _, TransactionTrait as _};

const GROWERS: usize = 500;
const ROWS_A_STATEMENT: usize = 500;

fn uuid(kind: u8, n: usize) -> uuid::Uuid {
    // Spread over the last bytes, as real ids are.
    let mixed = (n as u128).wrapping_mul(0x9e37_79b9_7f4a_7c15) & 0xffff_ffff_ffff;
    uuid::Uuid::from_u128((u128::from(kind) << 120) | ((n as u128) << 48) | mixed)
}

/// Returns the values of a row of evidence for an insert statement.
fn evidence_row(n: usize, cultivars: usize, postgres: bool) -> String {
    let id = |kind, n| literal(uuid(kind, n), postgres);
    let (descriptor, value, kind) = match n % 4 {
        0 => {
            let counted = 10 + n % 40;
            let of = counted * (60 + n % 40) / 100;
            (
                "multi_sprout_seeds",
                format!("{{\"form\":\"tally\",\"counted\":{counted},\"of_these\":{of}}}"),
                "tally",
            )
        }
        1 => ("embryony", "{\"form\":\"class\",\"state\":\"polyembryonic\"}".to_string(), "statement"),
        2 => {
            let mean = 200 + n % 300;
            (
                "fruit_mass",
                format!(
                    "{{\"form\":\"quantity\",\"mean\":{mean}.0,\"low\":null,\"high\":null,\"unit\":\"g\",\"sample\":6}}"
                ),
                "measure",
            )
        }
        _ => (
            "fibre",
            format!("{{\"form\":\"grade\",\"state\":\"{}\"}}", ["none", "scanty", "low"][n / 4 % 3]),
            "rating",
        ),
    };
    let cultivar = id(2, n % cultivars);
    let author = id(3, n / cultivars % GROWERS);
    format!(
        "({},'mango',{cultivar},'','','{descriptor}','{value}','Larkwater','grower','as seen','',{author},{n},'{kind}',{},20000,'tree {}','not_said','','')",
        id(1, n),
        id(1, n),
        n % 7
    )
}

const COLUMNS: &str = "id,crop,cultivar_id,subject,named_as,descriptor,value,place,source_id,as_stated,note,author_id,created_at,kind,report_id,observed_day,tree,method,citation,place_label";

/// Fills a database with records and evidence by plain inserts. Returns pieces per second.
async fn fill(store: &Store, cultivars: usize, from: usize, pieces: usize) -> f64 {
    let postgres = store.backend() == scionary_store::Backend::Postgres;
    let db = store.admin();
    if from == 0 {
        let tx = db.begin().await.unwrap();
        for n in 0..GROWERS {
            let id = literal(uuid(3, n), postgres);
            let flag = if postgres { "false" } else { "0" };
            tx.execute_unprepared(&format!(
                "INSERT INTO observer (account_id, group_id, vouched_at, suspended) VALUES ({id},{id},1,{flag})"
            ))
            .await
            .unwrap();
        }
        let all: Vec<usize> = (0..cultivars).collect();
        for chunk in all.chunks(ROWS_A_STATEMENT) {
            let rows: Vec<String> = chunk
                .iter()
                .map(|n| {
                    let id = literal(uuid(2, *n), postgres);
                    format!("({id},'mango','Bench {n}','bench {n}','','','cultivar','','',1,1,1)")
                })
                .collect();
            tx.execute_unprepared(&format!(
                "INSERT INTO cultivar (id,crop,name,name_key,qualifier,botanical_name,rank,origin,notes,version,created_at,updated_at) VALUES {}",
                rows.join(",")
            ))
            .await
            .unwrap();
        }
        tx.commit().await.unwrap();
    }
    let began = Instant::now();
    let tx = db.begin().await.unwrap();
    let all: Vec<usize> = (from..from + pieces).collect();
    for chunk in all.chunks(ROWS_A_STATEMENT) {
        let rows: Vec<String> = chunk.iter().map(|n| evidence_row(*n, cultivars, postgres)).collect();
        tx.execute_unprepared(&format!("INSERT INTO evidence ({COLUMNS}) VALUES {}", rows.join(",")))
            .await
            .unwrap();
    }
    tx.commit().await.unwrap();
    pieces as f64 / began.elapsed().as_secs_f64()
}

async fn open(url: &str) -> App {
    let store = Store::open(&Options::new(url)).await.unwrap();
    scionary_migrations::up(store.admin()).await.unwrap();
    let entropy = std::sync::Arc::new(SystemEntropy);
    let passwords = Passwords::new(1, entropy.clone()).unwrap();
    App::new(store, Policy::default(), std::sync::Arc::new(SystemClock), entropy, passwords).await.unwrap()
}

fn memory_mib() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmRSS")).unwrap_or_default().to_string();
    line.split_whitespace().nth(1).and_then(|k| k.parse::<f64>().ok()).unwrap_or(0.0) / 1024.0
}

/// Returns the median time in milliseconds in which the registry follows a change of one record, of 15 changes.
async fn follow_ms(store: &Store, registry: &Registry, record: CultivarId, now: Timestamp) -> f64 {
    let mut times = Vec::new();
    let mut current = registry.clone();
    for _ in 0..15 {
        store
            .admin()
            .execute_unprepared(&format!(
                "INSERT INTO outbox (at, topic, subject) VALUES ({}, 'registry', '{record}')",
                now.micros()
            ))
            .await
            .unwrap();
        let began = Instant::now();
        current = current.follow(store.reader(), now).await.unwrap().expect("a change");
        times.push(began.elapsed().as_secs_f64() * 1e3);
    }
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

async fn follow(url: &str, cultivars: usize, pieces: usize) -> (f64, f64) {
    let app = open(url).await;
    let files = scionary_server::data::reference();
    scionary_server::serve::load_catalogue(&app, &files).await.unwrap();
    let rate = fill(app.store(), cultivars, 0, pieces).await;
    let before = memory_mib();
    let now = Timestamp::from_micros(1_800_000_000_000_000);
    let began = Instant::now();
    let registry = Registry::load(app.store().reader(), now).await.unwrap();
    let load = began.elapsed().as_secs_f64();
    let grown = memory_mib() - before;
    let usual = CultivarId::from_uuid(uuid(2, 7));
    let small = follow_ms(app.store(), &registry, usual, now).await;
    println!(
        "{cultivars:>7} records, {pieces:>8} pieces: plain inserts {rate:.0}/s, read whole in {load:.2} s (+{grown:.0} MiB), one new piece on a record of {} followed in {small:.2} ms",
        registry.record(usual).map_or(0, |r| r.evidence.len()),
    );
    app.store().clone().close().await;
    (small, load)
}

fn row(n: usize, cultivars: usize) -> ImportRow {
    let observed = vec![Observed::Measure {
        descriptor: "fruit_mass".into(),
        value: 200.0 + (n % 300) as f64,
        unit: "g".into(),
        sample: 6,
    }];
    ImportRow {
        line: u32::try_from(n).unwrap(),
        cultivar: CultivarId::from_uuid(uuid(2, n % cultivars)).to_string(),
        crop: String::new(),
        draft: Draft {
            observed,
            day: Some(Date::from_days(20_000 + i64::try_from(n / cultivars).unwrap())),
            tree: format!("tree {n}"),
            ..Draft::default()
        },
    }
}

async fn import(url: &str, cultivars: usize, rows: usize) {
    let app = open(url).await;
    let files = scionary_server::data::reference();
    scionary_server::serve::load_catalogue(&app, &files).await.unwrap();
    let warm = fill(app.store(), cultivars, 0, rows).await;
    let plain = fill(app.store(), cultivars, rows, rows).await;
    app.store()
        .admin()
        .execute_unprepared("INSERT INTO outbox (at, topic, subject) VALUES (1, 'registry', 'bench')")
        .await
        .unwrap();
    app.refresh_registry().await.unwrap();
    let id = AccountId::from_uuid(uuid(3, 1));
    let account = Account {
        id,
        handle: "bench".into(),
        display_name: "Bench".into(),
        roles: Vec::new(),
        created_at: Timestamp::from_micros(0),
        suspended_at: None,
    };
    let mut call = app.system_call().unwrap();
    call.actor = Actor::Member {
        account,
        session: SessionId::from_uuid(uuid(4, 1)),
        session_expires_at: Timestamp::from_micros(i64::MAX),
    };
    call.request = RequestId::from_uuid(uuid(5, 1));
    for mode in [ImportMode::AllOrNothing, ImportMode::KeepGood] {
        let from = if mode == ImportMode::KeepGood { rows } else { 0 };
        let all: Vec<ImportRow> = (from..from + rows).map(|n| row(n, cultivars)).collect();
        let began = Instant::now();
        let (mut checked, mut written) = (0.0, 0.0);
        let mut tell = |state| match state {
            scionary_app::evidence::ImportState::Checked(_) => checked = began.elapsed().as_secs_f64(),
            scionary_app::evidence::ImportState::Written(_) => written = began.elapsed().as_secs_f64(),
        };
        let done =
            app.import_evidence(&call, app.begin_import(&call).unwrap(), all, mode, &mut tell).await.unwrap();
        let rate = done.written as f64 / began.elapsed().as_secs_f64();
        println!(
            "import, {mode:?}: {} rows at {rate:.0}/s (checked after {checked:.2} s, written after {written:.2} s, the registry up to date after {:.2} s); plain inserts of the same table {warm:.0}/s empty, {plain:.0}/s filled: ratio {:.2}",
            done.written,
            done.written as f64 / rate,
            rate / plain
        );
    }
    app.store().clone().close().await;
}

/// Measures drafting and dating the plans of many members, per step, for few and for many plans.
fn plans() {
    let crop: Crop = toml::from_str(include_str!("../../../server/data/crops/mango.toml")).unwrap();
    let start = Date::from_days(20_500);
    let mut each_step = Vec::new();
    for count in [100_usize, 10_000] {
        let began = Instant::now();
        let mut steps = 0;
        for n in 0..count {
            let setting = Setting {
                way: Way::ALL[n % 4],
                south: n % 2 == 0,
                climate: Climate::ALL[n % 4],
                has_rootstock: n % 5 == 0,
            };
            let drafted = plan::draft(&crop, Answer::Unknown, setting);
            steps += plan::schedule(start.plus_days((n % 365) as i64), &drafted, start).len();
        }
        let micros = began.elapsed().as_secs_f64() * 1e6;
        println!(
            "{count} plans, {steps} steps, drafted and dated: {:.1} ms, {:.2} us a step",
            micros / 1e3,
            micros / steps as f64
        );
        each_step.push(micros / steps as f64);
    }
    println!("a step of 10,000 plans costs {:.2} times one of 100", each_step[1] / each_step[0]);
    // How the cost grows with the steps of one plan.
    let row = |n: usize| {
        let mut steps = Vec::new();
        let one = plan::draft(
            &crop,
            Answer::Unknown,
            Setting { way: Way::Seed, south: false, climate: Climate::Warm, has_rootstock: false },
        );
        for at in 0..n {
            let mut step = one[0].clone();
            step.key = format!("s{at}");
            step.after = if at == 0 { Vec::new() } else { vec![format!("s{}", at - 1)] };
            steps.push(step);
        }
        let began = Instant::now();
        for _ in 0..1_000 {
            std::hint::black_box(plan::schedule(start, &steps, start));
        }
        began.elapsed().as_secs_f64() / 1_000.0 / n as f64
    };
    println!("a step in a plan of 80 costs {:.2} times one in a plan of 8", row(80) / row(8));
}

/// Measures verdicts per second with 10,000 rules on file.
fn verdicts() {
    let files = scionary_server::data::movement();
    let mut rules = files.rules.clone();
    let hosts =
        ["Citrus", "Mangifera", "Persea", "Malus", "Vitis", "Prunus", "Ficus", "Annona", "Litchi", "*"];
    let countries = ["US", "AU", "ES", "FR", "BR", "IN", "TH", "PH", "NZ", "ZA"];
    for n in 0..10_000 {
        let (host, from, to) = (hosts[n % 10], countries[n / 10 % 10], countries[n / 100 % 10]);
        rules.push_str(&format!(
            "BENCH-{n},1,rule,{host},scion|seed,{from}|!SAME-SUBDIV,{to},official document required,c,BENCH {n},Authority,,,2020,,,bench,,,,,,,,,\n"
        ));
    }
    let files = MovementFiles { rules, ..files };
    let rules = scionary_app::movement::read(&[files]).unwrap();
    let taxa = ["Mangifera indica", "Citrus sinensis", "Persea americana", "Malus domestica"];
    let places = ["US-FL", "US-CA", "AU-QLD", "ES-MA", "IN", "PH-CEB"];
    let count = 20_000;
    let began = Instant::now();
    let mut found = 0;
    for n in 0..count {
        let day = Date::from_days(20_000 + (n % 900) as i64);
        let asked = Move {
            plants: vec![taxa[n % 4].into()],
            parts: Parts::of(&[Part::Scion]),
            grown_at: vec![Some(places[n % 6].into())],
            to: vec![places[(n / 6 + 1) % 6].into()],
            by_way_of: Vec::new(),
            dispatch: day,
            arrival: day.plus_days(3),
            count: None,
            documents: Vec::new(),
        };
        found += rules.ask(&asked).lead.len();
    }
    let rate = count as f64 / began.elapsed().as_secs_f64();
    println!("{rate:.0} verdicts a second on one core, {} rules on file ({found} led)", rules.len());
}

#[tokio::main]
async fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    plans();
    if arguments.first().is_some_and(|a| a == "plans") {
        return;
    }
    verdicts();
    if arguments.first().is_some_and(|a| a == "verdicts") {
        return;
    }
    let number = |at: usize, usual| arguments.get(at).and_then(|a| a.parse::<usize>().ok()).unwrap_or(usual);
    let (cultivars, pieces) = (number(0, 50_000), number(1, 1_000_000));
    let folder = tempfile::tempdir().unwrap();
    let fresh = |name: &str| format!("sqlite:{}", folder.path().join(name).display());
    let each = pieces / cultivars.max(1);
    let mut times = Vec::new();
    for share in [100, 10, 1] {
        let records = (cultivars / share).max(10);
        times.push(follow(&fresh(&format!("f{share}.db")), records, records * each).await);
    }
    if let (Some(first), Some(last)) = (times.first(), times.last()) {
        println!("a registry 100 times as large: a new piece costs {:.2} times as much", last.0 / first.0);
    }
    // A registry with few records, each with very much evidence.
    let crowded = follow(&fresh("crowded.db"), 10, 20_000).await;
    if let Some(last) = times.last() {
        println!("a record with 2,000 pieces instead of {each}: {:.1} times as much", crowded.0 / last.0);
    }
    import(&fresh("import.db"), 2_000, 50_000).await;
    if let Some(url) = arguments.get(2) {
        import(url, 2_000, 50_000).await;
    }
}
