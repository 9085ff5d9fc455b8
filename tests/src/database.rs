//! Fresh databases, copied from a template with schema and reference catalogue that is made once for all tests.
//! `SCIONARY_TEST_POSTGRES` holds PostgreSQL's address; `tests/run` sets it. Without it a test reports that it skips
//! PostgreSQL, and fails if `CI` is set.

use std::sync::{
    OnceLock,
    atomic::{AtomicU32, Ordering},
};

use scionary_server::serve;
use sea_orm::{ConnectionTrait as _, Database as SeaDatabase, DatabaseConnection};

use crate::{server::settings, skipped};

static NEXT: AtomicU32 = AtomicU32::new(0);

/// A database for one test.
pub struct Database {
    /// The URL.
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

/// Runs [`fill`] on its own thread, because the caller may already be inside a runtime.
fn fill_now(url: String) {
    let fill = move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        runtime.block_on(fill(&url));
    };
    std::thread::spawn(fill).join().expect("the template is filled");
}

/// Returns the SQLite file that others are copied from, in memory.
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
    /// Creates an SQLite file in a temporary folder, with schema and reference catalogue.
    pub fn sqlite() -> Self {
        let database = Self::empty_sqlite();
        let (_, path) = database.url.split_once(':').expect("a URL");
        std::fs::write(path, template()).expect("the template can be copied");
        database
    }
    /// Returns the URL of an SQLite file that does not exist yet, in a temporary folder.
    pub fn empty_sqlite() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let url = format!("sqlite:{}", folder.path().join("test.db").display());
        Self { url, folder: Some(folder), dropped_by: None }
    }

    /// Creates a PostgreSQL database with schema and reference catalogue; `None` without a server.
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
    /// Creates an empty PostgreSQL database; `None` without a server.
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
        // One at a time: PostgreSQL copies a template only while it has no open connection.
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

    /// Opens a raw connection.
    pub async fn connect(&self) -> DatabaseConnection {
        SeaDatabase::connect(&self.url).await.expect("the test database opens")
    }

    /// Returns whether this is PostgreSQL.
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

/// Runs a test on an empty database of each kind.
pub async fn on_both_empty<F: Future<Output = ()>>(test: impl Fn(String) -> F) {
    let sqlite = Database::empty_sqlite();
    test(sqlite.url.clone()).await;
    sqlite.done().await;
    if let Some(postgres) = Database::empty_postgres().await {
        test(postgres.url.clone()).await;
        postgres.done().await;
    }
}

/// Runs a test on a filled database of each kind.
pub async fn on_both<F: Future<Output = ()>>(test: impl Fn(String) -> F) {
    let sqlite = Database::sqlite();
    test(sqlite.url.clone()).await;
    sqlite.done().await;
    if let Some(postgres) = Database::postgres().await {
        test(postgres.url.clone()).await;
        postgres.done().await;
    }
}
