//! Fresh databases. PostgreSQL's address comes from `SCIONARY_TEST_POSTGRES`, which `tests/run` sets; without
//! it a test says aloud that it skips PostgreSQL, and fails where `CI` is set.

use std::sync::atomic::{AtomicU32, Ordering};

use sea_orm::{ConnectionTrait as _, Database as SeaDatabase, DatabaseConnection};

static NEXT: AtomicU32 = AtomicU32::new(0);

/// An empty database of a test's own.
pub struct Database {
    /// Its URL.
    pub url: String,
    folder: Option<tempfile::TempDir>,
    dropped_by: Option<(String, String)>,
}

impl Database {
    /// An SQLite file in a temporary folder.
    pub fn sqlite() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let url = format!("sqlite:{}", folder.path().join("test.db").display());
        Self { url, folder: Some(folder), dropped_by: None }
    }

    /// A new PostgreSQL database; none where there is no server to make it on.
    pub async fn postgres() -> Option<Self> {
        let Ok(admin_url) = std::env::var("SCIONARY_TEST_POSTGRES") else {
            assert!(
                std::env::var_os("CI").is_none(),
                "SCIONARY_TEST_POSTGRES is not set: in CI nothing is skipped"
            );
            eprintln!("SKIPPED on PostgreSQL: SCIONARY_TEST_POSTGRES is not set (tests/run sets it)");
            return None;
        };
        let admin = SeaDatabase::connect(&admin_url).await.expect("the test PostgreSQL answers");
        let name = format!("t_{}_{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        admin.execute_unprepared(&format!("CREATE DATABASE {name}")).await.expect("a database can be made");
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
