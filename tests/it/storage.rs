//! The schema and the writer, on both databases.

use std::collections::BTreeSet;

use scionary_domain::time::Timestamp;
use scionary_store::{Job, Options, Store, StoreError, Tx, record_store};
use scionary_tests::{Database, on_both_empty};
use sea_orm::{ConnectionTrait as _, DatabaseBackend, DatabaseConnection, Statement};

async fn columns(db: &DatabaseConnection, table: &str) -> BTreeSet<String> {
    let sql = match db.get_database_backend() {
        DatabaseBackend::Postgres => {
            format!("SELECT column_name AS name FROM information_schema.columns WHERE table_name = '{table}'")
        }
        _ => format!("SELECT name FROM pragma_table_info('{table}')"),
    };
    let rows = db.query_all_raw(Statement::from_string(db.get_database_backend(), sql)).await.unwrap();
    rows.iter().map(|r| r.try_get("", "name").unwrap()).collect()
}

async fn check_schema(db: &DatabaseConnection) {
    for (table, expected) in scionary_store::tables() {
        let expected: BTreeSet<String> = expected.into_iter().map(str::to_string).collect();
        assert_eq!(columns(db, table).await, expected, "{table}");
    }
}

#[tokio::test]
async fn migrations_and_rows_agree_up_down_and_up_again() {
    on_both_empty(async |url| {
        let store = Store::open(&Options::new(&url)).await.unwrap();
        assert_eq!(scionary_migrations::pending(store.admin()).await.unwrap().len(), 20);
        scionary_migrations::up(store.admin()).await.unwrap();
        scionary_migrations::up(store.admin()).await.unwrap();
        check_schema(store.admin()).await;
        assert!(scionary_migrations::pending(store.admin()).await.unwrap().is_empty());
        scionary_migrations::down(store.admin()).await.unwrap();
        assert!(columns(store.admin(), "offer").await.is_empty());
        scionary_migrations::up(store.admin()).await.unwrap();
        check_schema(store.admin()).await;
        store.close().await;
    })
    .await;
}

#[tokio::test]
async fn servers_that_start_together_migrate_once() {
    if let Some(database) = Database::empty_postgres().await {
        let starts = (0..5).map(|_| {
            let url = database.url.clone();
            tokio::spawn(async move {
                let store = Store::open(&Options { connections: 2, ..Options::new(url) }).await.unwrap();
                let up = scionary_migrations::up(store.admin()).await;
                store.close().await;
                up
            })
        });
        for start in starts.collect::<Vec<_>>() {
            start.await.unwrap().unwrap();
        }
        database.done().await;
    }
}

/// A row gets its number before its transaction commits: a change that commits late is not missed.
#[tokio::test]
async fn a_change_that_commits_late_is_not_missed() {
    use scionary_app::registry::Registry;
    use sea_orm::TransactionTrait as _;
    let Some(database) = Database::empty_postgres().await else { return };
    let store = Store::open(&Options::new(&database.url)).await.unwrap();
    scionary_migrations::up(store.admin()).await.unwrap();
    let now = Timestamp::from_micros(1_800_000_000_000_000);
    let append = "INSERT INTO outbox (at, topic, subject) VALUES (1800000000000000, 'registry', 'x')";
    let late = store.admin().begin().await.unwrap();
    late.execute_unprepared(append).await.unwrap();
    store.admin().execute_unprepared(append).await.unwrap();
    let registry = Registry::load(store.reader(), now).await.unwrap();
    assert!(
        registry.follow(store.reader(), now).await.unwrap().is_none(),
        "all that is committed is taken in"
    );
    late.commit().await.unwrap();
    let registry = registry.follow(store.reader(), now).await.unwrap().expect("the late one is seen");
    assert!(registry.follow(store.reader(), now).await.unwrap().is_none(), "once");
    store.close().await;
    database.done().await;
}

/// Increments a row: lost updates would show.
struct CountUp {
    fails: bool,
    panics: bool,
}

impl Job for CountUp {
    type Out = i64;
    type Error = StoreError;
    async fn run(&self, tx: &Tx) -> Result<i64, StoreError> {
        let before = record_store::setting(tx, "count").await?.and_then(|t| t.parse().ok()).unwrap_or(0_i64);
        let now = Timestamp::from_micros(before);
        record_store::set_setting(tx, "count", &(before + 1).to_string(), now).await?;
        assert!(!self.panics, "on purpose");
        if self.fails { Err(StoreError::Refused("on purpose".into())) } else { Ok(before + 1) }
    }
    fn is_collision(error: &StoreError) -> bool {
        matches!(error, StoreError::Collision)
    }
}

#[tokio::test]
async fn the_door_keeps_what_is_done_and_undoes_what_fails() {
    let database = Database::empty_sqlite();
    let store = Store::open(&Options::new(&database.url)).await.unwrap();
    scionary_migrations::up(store.admin()).await.unwrap();
    let jobs = (0..120).map(|n| {
        let store = store.clone();
        tokio::spawn(
            async move { store.write(CountUp { fails: n % 3 == 1, panics: n % 40 == 2 }).await.is_ok() },
        )
    });
    let mut done = 0;
    for job in jobs.collect::<Vec<_>>() {
        done += i64::from(job.await.unwrap());
    }
    let stored = record_store::setting(store.reader(), "count").await.unwrap();
    assert_eq!(done, 78, "40 fail, 2 more panic, the rest is done although they share transactions");
    assert_eq!(stored, Some(done.to_string()));
    store.close().await;
}

#[tokio::test]
async fn a_full_queue_refuses_instead_of_growing() {
    let database = Database::empty_sqlite();
    let store = Store::open(&Options { write_queue: 4, ..Options::new(&database.url) }).await.unwrap();
    scionary_migrations::up(store.admin()).await.unwrap();
    let jobs = (0..200).map(|_| {
        let store = store.clone();
        tokio::spawn(async move { store.write(CountUp { fails: false, panics: false }).await })
    });
    let (mut done, mut refused) = (0, 0);
    for job in jobs.collect::<Vec<_>>() {
        match job.await.unwrap() {
            Ok(_) => done += 1,
            Err(StoreError::Busy) => refused += 1,
            Err(other) => panic!("{other}"),
        }
    }
    assert!(refused > 0);
    assert_eq!(record_store::setting(store.reader(), "count").await.unwrap(), Some(done.to_string()));
    store.close().await;
}

#[tokio::test]
async fn the_audit_log_cannot_be_changed() {
    on_both_empty(async |url| {
        let server = scionary_tests::TestServer::start(&url).await;
        server.raw().member("rosamund").await;
        let db = server.running.app().store().admin();
        for sql in ["UPDATE audit_log SET action = 'x'", "DELETE FROM audit_log"] {
            let error = db.execute_unprepared(sql).await.unwrap_err().to_string();
            assert!(error.contains("append-only"), "{error}");
        }
        // On SQLite readers cannot write at all.
        let rows = db
            .query_all_raw(Statement::from_string(
                db.get_database_backend(),
                "SELECT action, change FROM audit_log ORDER BY seq",
            ))
            .await
            .unwrap();
        let actions: Vec<String> = rows.iter().map(|r| r.try_get("", "action").unwrap()).collect();
        assert_eq!(actions, ["catalogue.loaded", "account.made", "session.made"]);
        server.stop().await;
    })
    .await;
}
