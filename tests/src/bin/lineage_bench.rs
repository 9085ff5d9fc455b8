//! Traces a million lots of twelve generations with an alert that reaches a hundred thousand of them. Measures how long
//! the recall takes, and how long one lot of the last generation takes to see whether it is reached. Checks that the
//! databases agree.
//!
//! `cargo run --release -p scionary-tests --bin lineage_bench -- [DATABASE-URL]…`; it always starts with SQLite in a
//! temporary folder.
#![expect(clippy::disallowed_methods, reason = "a measure reads the clock")]

use std::{sync::Arc, time::Instant};

use scionary_app::{App, Call, Policy, passwords::Passwords, ports::SystemEntropy};
use scionary_domain::{
    account::{Account, Actor, Role},
    ids::{AccountId, AlertId, LotId, RequestId, SessionId},
    time::Timestamp,
};
use scionary_server::clock::SystemClock;
use scionary_store::{Backend, Options, Store};
use scionary_tests::measured::{literal, uuid};
use sea_orm::ConnectionTrait as _;

/// Mother plants, each with `LOTS_EACH` lots.
const FAMILIES: usize = 10;
const LOTS_EACH: usize = 100_000;
const GENERATIONS: usize = 12;
/// Rows in one insert statement.
const ROWS: usize = 1_000;

/// Returns a code of six characters, unique for each lot.
fn code(mut n: usize) -> String {
    let letters = b"34679ACDEFHJKMNPQRTVWXY";
    (0..6)
        .map(|_| {
            let letter = char::from(letters[n % letters.len()]);
            n /= letters.len();
            letter
        })
        .collect()
}

/// Returns the lots of each generation: twice as many as in the one before, and the rest in the last.
fn generations() -> Vec<usize> {
    let mut all: Vec<usize> = (0..GENERATIONS - 1).map(|g| 1 << (g + 1)).collect();
    all[0] = 1;
    all.push(LOTS_EACH - all.iter().sum::<usize>());
    all
}

async fn fill(app: &App) {
    let postgres = app.store().backend() == Backend::Postgres;
    let db = app.store().admin();
    let holder = literal(uuid(3, 1), postgres);
    db.execute_unprepared(&format!(
        "INSERT INTO account (id, handle, handle_key, display_name, password_hash, created_at, version) VALUES ({holder}, 'm', 'm', 'M', '', 0, 1)"
    ))
    .await
    .unwrap();
    let mut lots = Vec::new();
    let mut links = Vec::new();
    let mut state = 7_u64;
    let mut roll = |sides: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).unwrap() % sides
    };
    for family in 0..FAMILIES {
        let mut before = (0, 0);
        let mut next = family * LOTS_EACH;
        for (generation, count) in generations().into_iter().enumerate() {
            let first = next;
            for n in first..first + count {
                let (id, day) = (literal(uuid(6, n), postgres), 1_000 + 30 * generation);
                lots.push(format!(
                    "({id}, '{}', {holder}, 'mango', NULL, false, 'mother_plant', 0, {day}, '', '', NULL, NULL, '', NULL, 1, 0)",
                    code(n)
                ));
                if generation > 0 {
                    let parent = literal(uuid(6, before.0 + roll(before.1)), postgres);
                    links.push(format!("({parent}, {id}, 'cut_from', {day}, 0)"));
                }
            }
            before = (first, count);
            next += count;
        }
    }
    for (table, columns, rows) in [
        (
            "lot",
            "id, code, holder_id, crop, cultivar_id, unknown_seedling, kind, quantity, made_day, source, note, claim_id, ended_day, ended_why, entered_by, version, created_at",
            &lots,
        ),
        ("lot_link", "parent_id, child_id, descent, day, created_at", &links),
    ] {
        for some in rows.chunks(ROWS) {
            let sql = format!("INSERT INTO {table} ({columns}) VALUES {}", some.join(", "));
            db.execute_unprepared(&sql).await.unwrap();
        }
    }
    // The plant has been sick since before anything was cut from it.
    let (alert, lot) = (literal(uuid(7, 1), postgres), literal(uuid(6, 0), postgres));
    db.execute_unprepared(&format!(
        "INSERT INTO alert (id, lot_id, crop, kind, part, raised_by, words, pest, carriers, since_day, seen_day, trace_back, state, ruling, lifted_why, version, created_at) VALUES ({alert}, {lot}, 'mango', 'health', 'whole', {holder}, 'sick', '', 'cutting', 0, 2000, false, 'confirmed', '', '', 1, 0)"
    ))
    .await
    .unwrap();
    db.execute_unprepared(&format!(
        "INSERT INTO alert_start (alert_id, lot_id, part, since_day) VALUES ({alert}, {lot}, 'whole', 0)"
    ))
    .await
    .unwrap();
    db.execute_unprepared(if postgres { "ANALYZE" } else { "PRAGMA optimize" }).await.unwrap();
}

fn steward(app: &App) -> Call {
    let mut call = app.system_call().unwrap();
    let account = Account {
        id: AccountId::from_uuid(uuid(3, 1)),
        handle: "m".into(),
        display_name: "M".into(),
        roles: vec![Role::Steward],
        created_at: Timestamp::from_micros(0),
        suspended_at: None,
    };
    call.actor = Actor::Member {
        account,
        session: SessionId::from_uuid(uuid(4, 1)),
        session_expires_at: Timestamp::from_micros(i64::MAX),
    };
    call.request = RequestId::from_uuid(uuid(5, 1));
    call
}

async fn measure(url: &str) -> (usize, u64) {
    let store = Store::open(&Options::new(url)).await.unwrap();
    scionary_migrations::up(store.admin()).await.unwrap();
    let entropy = Arc::new(SystemEntropy);
    let passwords = Passwords::new(1, entropy.clone()).unwrap();
    let app = App::new(store, Policy::default(), Arc::new(SystemClock), entropy, passwords).await.unwrap();
    let began = Instant::now();
    fill(&app).await;
    println!("  filled in {:.1} s", began.elapsed().as_secs_f64());
    let call = steward(&app);
    let began = Instant::now();
    let reach = app.recall(&call, AlertId::from_uuid(uuid(7, 1))).await.unwrap();
    println!("  recall of {} lots: {:.2} s", reach.count(), began.elapsed().as_secs_f64());
    let began = Instant::now();
    // The sum over ids and days does not depend on the order of the rows.
    let mut sum = 0_u64;
    let mut skip = 0;
    while skip < reach.count() {
        for row in app.recall_rows(&reach, skip, 500).await.unwrap() {
            let day = row.since.map_or(0, |d| d.days());
            let n = u64::try_from(row.lot.id.uuid().as_u128() & 0xffff_ffff).unwrap();
            sum = sum.wrapping_add(n.wrapping_mul(31).wrapping_add(u64::try_from(day).unwrap_or(0)));
        }
        skip += 500;
    }
    println!("  its rows with holders and chains: {:.2} s", began.elapsed().as_secs_f64());
    for (n, reached) in [(LOTS_EACH - 1, true), (2 * LOTS_EACH - 1, false)] {
        let lot = LotId::from_uuid(uuid(6, n)).to_string();
        let began = Instant::now();
        let shown = app.my_lot(&call, &lot).await.unwrap();
        assert_eq!(!shown.card.warnings.is_empty(), reached);
        println!(
            "  a lot of the last generation, {}: {:.1} ms",
            if reached { "reached" } else { "not reached" },
            began.elapsed().as_secs_f64() * 1e3
        );
    }
    app.store().clone().close().await;
    (reach.count(), sum)
}

#[tokio::main]
async fn main() {
    let folder = tempfile::tempdir().unwrap();
    let mut urls = vec![format!("sqlite:{}", folder.path().join("lots.db").display())];
    urls.extend(std::env::args().skip(1));
    let mut answers = Vec::new();
    for url in &urls {
        println!("{}", url.split(':').next().unwrap_or_default());
        answers.push(measure(url).await);
    }
    assert!(answers.iter().all(|a| *a == answers[0]), "the databases disagree: {answers:?}");
    println!("all agree: {} lots reached", answers[0].0);
}
