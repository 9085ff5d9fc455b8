//! Fresh databases, copied from one that is migrated and filled with the reference catalogue once for all tests.
//! PostgreSQL's address comes from `SCIONARY_TEST_POSTGRES`, which `tests/run` sets; without it a test skips PostgreSQL,
//! says so, and fails where `CI` is set.

use std::sync::{
    OnceLock,
    atomic::{AtomicU32, Ordering},
};

use scionary_server::serve;
use sea_orm::{ConnectionTrait as _, Database as SeaDatabase, DatabaseConnection};

use crate::{server::settings, skipped};

static NEXT: AtomicU32 = AtomicU32::new(0);

/// A database of a test's own.
pub struct Database {
    /// Its URL.
    pub url: String,
    folder: Option<tempfile::TempDir>,
    dropped_by: Option<(String, String)>,
}

/// Migrates a database and loads the reference catalogue into it.
async fn fill(url: &str) {
    let config = settings(url, &[]);
    let store =
        serve::open_store(&config, serve::OpenFor::Migrating).await.expect("the template is migrated");
    let app = serve::open_app(&config, store).await.expect("the catalogue is loaded");
    app.store().clone().close().await;
}

/// The same on a thread of its own: the caller may be inside of a runtime, or not.
fn fill_now(url: String) {
    let fill = move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        runtime.block_on(fill(&url));
    };
    std::thread::spawn(fill).join().expect("the template is filled");
}

/// The SQLite file that others are copied from, in memory.
fn template() -> &'static [u8] {
    static TEMPLATE: OnceLock<Vec<u8>> = OnceLock::new();
    TEMPLATE.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let made = folder.path().join("made.db");
        fill_now(format!("sqlite:{}", made.display()));
        assert!(!folder.path().join("made.db-wal").exists(), "the template is in one file");
        std::fs::read(&made).expect("the template can be read")
    })
}

impl Database {
    /// An SQLite file in a temporary folder, with schema and reference catalogue.
    pub fn sqlite() -> Self {
        let database = Self::empty_sqlite();
        let (_, path) = database.url.split_once(':').expect("a URL");
        std::fs::write(path, template()).expect("the template can be copied");
        database
    }
    /// An SQLite file that is not there yet, in a temporary folder.
    pub fn empty_sqlite() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let url = format!("sqlite:{}", folder.path().join("test.db").display());
        Self { url, folder: Some(folder), dropped_by: None }
    }

    /// A new PostgreSQL database with schema and reference catalogue; none where there is no server to make it on.
    pub async fn postgres() -> Option<Self> {
        static TEMPLATE: tokio::sync::OnceCell<String> = tokio::sync::OnceCell::const_new();
        let template = TEMPLATE
            .get_or_try_init(|| async {
                let made = Self::created("").await.ok_or(())?;
                fill_now(made.url.clone());
                made.dropped_by.map(|(_, name)| name).ok_or(())
            })
            .await
            .ok()?;
        Self::created(&format!(" TEMPLATE {template}")).await
    }
    /// A new PostgreSQL database without anything in it; none where there is no server to make it on.
    pub async fn empty_postgres() -> Option<Self> {
        Self::created("").await
    }

    async fn created(how: &str) -> Option<Self> {
        let Ok(admin_url) = std::env::var("SCIONARY_TEST_POSTGRES") else {
            skipped("tests on PostgreSQL: SCIONARY_TEST_POSTGRES is not set (tests/run sets it)");
            return None;
        };
        let admin = SeaDatabase::connect(&admin_url).await.expect("the test PostgreSQL answers");
        let name = format!("t_{}_{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        // one at a time: PostgreSQL copies a template only while no connection to it is open
        static ONE: tokio::sync::Mutex<()> = tokio::sync::Mutex::const_new(());
        let one = ONE.lock().await;
        admin
            .execute_unprepared(&format!("CREATE DATABASE {name}{how}"))
            .await
            .expect("a database can be made");
        drop(one);
        let (base, _) = admin_url.rsplit_once('/').expect("a URL that ends in a database");
        let query = admin_url.split_once('?').map(|(_, q)| format!("?{q}")).unwrap_or_default();
        let base = base.split('?').next().unwrap_or(base);
        Some(Self { url: format!("{base}/{name}{query}"), folder: None, dropped_by: Some((admin_url, name)) })
    }

    /// A raw connection.
    pub async fn connect(&self) -> DatabaseConnection {
        SeaDatabase::connect(&self.url).await.expect("the test database opens")
    }

    /// Whether it is PostgreSQL.
    pub fn is_postgres(&self) -> bool {
        self.folder.is_none()
    }

    /// Drops a PostgreSQL database; an SQLite file goes with its folder.
    pub async fn done(self) {
        if let Some((admin_url, name)) = &self.dropped_by {
            let admin = SeaDatabase::connect(admin_url).await.expect("the test PostgreSQL answers");
            let _ = admin.execute_unprepared(&format!("DROP DATABASE {name} WITH (FORCE)")).await;
        }
    }
}

/// Runs a test on both databases, with nothing in them.
pub async fn on_both_empty<F: Future<Output = ()>>(test: impl Fn(String) -> F) {
    let sqlite = Database::empty_sqlite();
    test(sqlite.url.clone()).await;
    sqlite.done().await;
    if let Some(postgres) = Database::empty_postgres().await {
        test(postgres.url.clone()).await;
        postgres.done().await;
    }
}

/// Runs a test on both databases.
pub async fn on_both<F: Future<Output = ()>>(test: impl Fn(String) -> F) {
    let sqlite = Database::sqlite();
    test(sqlite.url.clone()).await;
    sqlite.done().await;
    if let Some(postgres) = Database::postgres().await {
        test(postgres.url.clone()).await;
        postgres.done().await;
    }
}
