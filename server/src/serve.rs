//! Start and stop: open the database, migrate, load the catalogues, listen; on the signal, say so to health
//! checks, finish calls under way, close the database.

use std::{
    net::SocketAddr,
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    time::Duration,
};

use anyhow::{Context as _, Result, bail};
use scionary_app::{
    App, Error, catalogue, follow::Followed, movement::MovementFiles, passwords::Passwords,
    ports::SystemEntropy,
};
use scionary_migrations::sea_orm::DbErr;
use scionary_proto::{FILE_DESCRIPTOR_SET, Rpc};
use scionary_store::{Options, Store, StoreError};
use tokio::{net::TcpListener, task::JoinHandle};
use tokio_util::sync::CancellationToken;
use tonic::{
    service::Routes,
    transport::{Identity, Server, ServerTlsConfig},
};
use tonic_health::server::HealthReporter;

use crate::{
    clock::SystemClock,
    config::Config,
    data,
    dear::{self, Places},
    dispatch::Dispatch,
    gate::GateLayer,
    incoming::guarded,
    methods::policy,
    site::Site,
    throttle::Throttle,
};

/// How often the registry is compared with the database: another server may have changed it.
const REFRESH_EVERY: Duration = Duration::from_secs(1);
/// How often the database is looked at.
const PING_EVERY: Duration = Duration::from_secs(1);
/// How often an SQLite file is read whole, to find damage before a call does.
const DAMAGE_EVERY: Duration = Duration::from_secs(24 * 3600);
/// How often what was not mailed yet is mailed: notices of a few seconds go together.
const MAIL_EVERY: Duration = Duration::from_secs(5);
/// How often old keys and sessions are forgotten.
/// How often look-ups are counted in the database.
const LOOKS_EVERY: Duration = Duration::from_secs(60);
const TIDY_EVERY: Duration = Duration::from_secs(600);
/// How long a peer may say nothing after connecting.
const FIRST_BYTES: Duration = Duration::from_secs(10);
/// How often a silent connection is asked whether it lives, and how long it has to answer.
const KEEP_ALIVE: Duration = Duration::from_secs(30);
/// Exports at once for one address.
const DOWNLOADS_EACH: usize = 2;
/// Calls at once on one connection.
const STREAMS_MAX: u32 = 256;

/// A server that runs.
pub struct Running {
    address: SocketAddr,
    app: App,
    stop: CancellationToken,
    grace: Duration,
    serving: JoinHandle<Result<(), tonic::transport::Error>>,
    health: HealthReporter,
    background: Vec<JoinHandle<()>>,
    under_way: Arc<AtomicUsize>,
}

/// What a database is opened for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OpenFor {
    /// To serve it, alone where it is a file; a file that is not there yet is made.
    Serving,
    /// To bring it up to date; a file that is not there yet is made.
    Migrating,
    /// To do something beside a server, with a database that is there.
    Use,
}

/// How a database is opened.
pub fn options(config: &Config, purpose: OpenFor) -> Options {
    let mut options = Options::new(&config.database);
    options.connections = config.database_connections;
    options.create = purpose != OpenFor::Use;
    options.alone = purpose == OpenFor::Serving;
    options
}

/// Opens the database and brings it up to date.
///
/// # Errors
/// When it cannot be opened, or lacks steps and may not be migrated, or has steps that are not known here.
pub async fn open_store(config: &Config, purpose: OpenFor) -> Result<Store> {
    let store = Store::open(&options(config, purpose)).await?;
    match up_to_date(config, &store).await {
        Ok(()) => Ok(store),
        Err(error) => Err(told(&store, error)),
    }
}

async fn up_to_date(config: &Config, store: &Store) -> Result<()> {
    let newer = scionary_migrations::unknown(store.admin()).await?;
    if !newer.is_empty() {
        bail!("{}", newer_schema(&newer));
    }
    if config.migrate_on_start {
        scionary_migrations::up(store.admin()).await.context("the database could not be migrated")?;
    } else {
        let missing = scionary_migrations::pending(store.admin()).await?;
        if !missing.is_empty() {
            bail!("the database lacks {}; run: scionaryd migrate", missing.join(", "));
        }
    }
    Ok(())
}

/// What to do with a database of a newer server.
pub fn newer_schema(unknown: &[String]) -> String {
    format!(
        "a newer Scionary has brought this database up to date: it has {}, which version {} does not know. Install that version or a later one; or put back a copy that was made before, with deploy/restore",
        unknown.join(", "),
        env!("CARGO_PKG_VERSION")
    )
}

/// Puts the application together on an open database and loads its catalogues.
///
/// # Errors
/// When a catalogue has mistakes, or the database fails.
pub async fn open_app(config: &Config, store: Store) -> Result<App> {
    let opened = put_together(config, store.clone()).await;
    opened.map_err(|error| told(&store, error))
}

async fn put_together(config: &Config, store: Store) -> Result<App> {
    let entropy = Arc::new(SystemEntropy);
    let passwords = Passwords::new(config.password_slots, entropy.clone())?;
    let app = App::new(store, config.policy.clone(), Arc::new(SystemClock), entropy, passwords).await?;
    if let Some((smtp, from)) = &config.mail {
        let mailer = crate::mail::Smtp::new(smtp, from).map_err(|expected| anyhow::anyhow!(expected))?;
        app.set_mailer(Arc::new(mailer));
    }
    let mut files = Vec::new();
    if config.reference_catalogue {
        files.push(data::reference());
    }
    for folder in &config.catalogue_folders {
        files.push(data::folder(folder).with_context(|| format!("the catalogue {}", folder.display()))?);
    }
    for files in files {
        load_catalogue(&app, &files).await?;
    }
    // mistakes in files are told one by one before a release is put beside them
    let sources = movement_sources(config)?;
    scionary_app::movement::read(&sources).map_err(|wrong| {
        anyhow::anyhow!("the rules on moving plants have mistakes:\n{}", wrong.join("\n"))
    })?;
    app.set_movement_sources(sources).await.context("the published rules on moving plants")?;
    Ok(app)
}

/// The files of rules on moving plants: those that ship, with those of the catalogue folders.
///
/// # Errors
/// When a file cannot be read.
pub fn movement_sources(config: &Config) -> Result<Vec<MovementFiles>> {
    let mut sources = Vec::new();
    if config.reference_catalogue {
        sources.push(data::movement());
    }
    for folder in &config.catalogue_folders {
        sources.push(data::movement_folder(folder)?);
    }
    Ok(sources)
}

/// Reads and loads one catalogue.
///
/// # Errors
/// When it has mistakes, or the database fails.
pub async fn load_catalogue(app: &App, files: &catalogue::Files) -> Result<()> {
    let known: Vec<_> = app.registry().crops().cloned().collect();
    let catalogue = catalogue::parse(files, &known)?;
    let loaded = app.load_catalogue(catalogue).await?;
    if !loaded.unchanged {
        tracing::info!(
            catalogue = loaded.name,
            records = loaded.records,
            evidence = loaded.evidence,
            removed = loaded.removed,
            "catalogue loaded"
        );
    }
    Ok(())
}

/// Starts a server: when this returns, it answers.
///
/// # Errors
/// When the database, a catalogue, the certificate or the port stands in the way.
pub async fn start(config: &Config) -> Result<Running> {
    let store = open_store(config, OpenFor::Serving).await?;
    let app = open_app(config, store).await?;
    serve(config, site(config, &app, false)).await
}

/// What handlers of a server work with; of one that runs a swap day and nothing else, where `day`.
pub fn site(config: &Config, app: &App, day: bool) -> Site {
    Site {
        app: app.clone(),
        throttle: Arc::new(Throttle::new(config.rates)),
        dear: dear::turns(),
        downloads: Places::new(DOWNLOADS_EACH),
        name: config.name.clone(),
        data_licence: config.data_licence.clone(),
        day,
        stop: CancellationToken::new(),
    }
}

/// What failed, with the database's path and what to do where the database is in trouble.
fn told(store: &Store, error: anyhow::Error) -> anyhow::Error {
    let sick = error.chain().find_map(|cause| {
        let of_app = cause
            .downcast_ref::<Error>()
            .and_then(|e| if let Error::Store(inner) = e { Some(inner.clone()) } else { None });
        let of_driver = || cause.downcast_ref::<DbErr>().map(|e| StoreError::from(e.clone()));
        of_app.or_else(|| cause.downcast_ref::<StoreError>().cloned()).or_else(of_driver)
    });
    let Some(StoreError::Sick(ailment, why)) = sick else { return error };
    anyhow::anyhow!(
        "{} cannot be used: {} ({why}). What to do: {}",
        store.shown(),
        ailment.what(),
        ailment.remedy()
    )
}

async fn set_serving(health: &HealthReporter, serving: bool) {
    let status =
        if serving { tonic_health::ServingStatus::Serving } else { tonic_health::ServingStatus::NotServing };
    for name in Rpc::SERVICES.iter().copied().chain([""]) {
        health.set_service_status(name, status).await;
    }
}

/// Serves an application.
///
/// # Errors
/// When the certificate or the port stands in the way.
pub async fn serve(config: &Config, site: Site) -> Result<Running> {
    let (app, throttle, stop, day) = (site.app.clone(), site.throttle.clone(), site.stop.clone(), site.day);
    let listener = TcpListener::bind(config.address)
        .await
        .with_context(|| format!("the address {} cannot be listened on", config.address))?;
    let address = listener.local_addr()?;
    let (health, health_service) = tonic_health::server::health_reporter();
    set_serving(&health, true).await;

    let mut server = Server::builder()
        .http2_keepalive_interval(Some(KEEP_ALIVE))
        .http2_keepalive_timeout(Some(KEEP_ALIVE))
        .max_concurrent_streams(STREAMS_MAX)
        .concurrency_limit_per_connection(usize::try_from(STREAMS_MAX).unwrap_or(256));
    if let Some((certificate, key)) = &config.tls {
        let read = |path: &std::path::PathBuf| {
            std::fs::read(path).with_context(|| format!("{} cannot be read", path.display()))
        };
        let identity = Identity::from_pem(read(certificate)?, read(key)?);
        server = server
            .tls_config(ServerTlsConfig::new().identity(identity).timeout(FIRST_BYTES))
            .context("the certificate and its key cannot be used")?;
    }
    let reflection = || {
        tonic_reflection::server::Builder::configure()
            .register_encoded_file_descriptor_set(FILE_DESCRIPTOR_SET)
            .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
    };
    let dispatch = Dispatch::new(site, config.request_bytes_max).map_err(anyhow::Error::msg)?;
    let under_way = Arc::<AtomicUsize>::default();
    let rules = Rpc::ALL.into_iter().map(policy).collect();
    let gate = GateLayer {
        app: app.clone(),
        throttle: throttle.clone(),
        deadline: config.deadline,
        rules,
        day,
        under_way: under_way.clone(),
    };
    let routes = Routes::from(axum::Router::new().fallback_service(dispatch))
        .add_service(health_service)
        .add_service(reflection().build_v1()?)
        .add_service(reflection().build_v1alpha()?);
    let router = server.layer(gate).add_routes(routes);
    // before anyone can call: what they do is followed
    let followed = app.begin_to_follow().await?;
    let incoming = guarded(listener, config.connections_max, config.connections_each_max, FIRST_BYTES);
    let stopped = stop.clone().cancelled_owned();
    let serving = tokio::spawn(router.serve_with_incoming_shutdown(incoming, stopped));
    let background = background(&app, followed, &health, throttle, &stop);
    tracing::info!(%address, tls = config.tls.is_some(), "listening");
    Ok(Running { address, app, stop, grace: config.stop_grace, serving, health, background, under_way })
}

fn background(
    app: &App,
    mut followed: Followed,
    health: &HealthReporter,
    throttle: Arc<Throttle>,
    stop: &CancellationToken,
) -> Vec<JoinHandle<()>> {
    let every = |period: Duration, stop: CancellationToken| {
        move || {
            let stop = stop.clone();
            async move {
                tokio::select! { () = stop.cancelled() => false, () = tokio::time::sleep(period) => true }
            }
        }
    };
    let refresh = {
        let (app, tick) = (app.clone(), every(REFRESH_EVERY, stop.clone()));
        tokio::spawn(async move {
            while tick().await {
                if let Err(error) = app.refresh_registry().await {
                    tracing::warn!(%error, "the registry could not be refreshed");
                }
            }
        })
    };
    let ping = {
        let (app, health, tick) = (app.clone(), health.clone(), every(PING_EVERY, stop.clone()));
        tokio::spawn(async move {
            let condition = app.store().condition().clone();
            let mut was_well = true;
            loop {
                // at once, where a call found that something is wrong
                tokio::select! { go_on = tick() => if !go_on { break }, () = condition.changed() => {} }
                let well = app.store().examine(app.clock().now()).await.is_ok() && condition.now().is_none();
                if well != was_well {
                    set_serving(&health, well).await;
                    was_well = well;
                }
            }
        })
    };
    let damage = {
        let (app, tick) = (app.clone(), every(DAMAGE_EVERY, stop.clone()));
        tokio::spawn(async move {
            loop {
                // a failure is noted as the store's condition, and health follows that
                let _ = app.store().look_for_damage().await;
                if !tick().await {
                    break;
                }
            }
        })
    };
    let tidy = {
        let (app, tick) = (app.clone(), every(TIDY_EVERY, stop.clone()));
        tokio::spawn(async move {
            while tick().await {
                throttle.tidy();
                if let Err(error) = app.housekeeping().await {
                    tracing::warn!(%error, "housekeeping failed");
                }
                match app.weigh_growers(true).await {
                    Ok(true) => tracing::info!("a new weight table was made"),
                    Ok(false) => {}
                    Err(error) => tracing::warn!(%error, "the weight table could not be made"),
                }
            }
        })
    };
    let looks = {
        let (app, tick) = (app.clone(), every(LOOKS_EVERY, stop.clone()));
        tokio::spawn(async move {
            let mut go_on = true;
            while go_on {
                // once more when it stops
                go_on = tick().await;
                if let Err(error) = app.keep_looks().await {
                    tracing::warn!(%error, "look-ups could not be counted; it is tried again");
                }
            }
        })
    };
    let follow = {
        let (app, tick) = (app.clone(), every(REFRESH_EVERY, stop.clone()));
        tokio::spawn(async move {
            while tick().await {
                if let Err(error) = app.follow_changes(&mut followed).await {
                    tracing::warn!(%error, "what follows from changes could not be done; it is tried again");
                }
            }
        })
    };
    let mail = {
        let (app, tick) = (app.clone(), every(MAIL_EVERY, stop.clone()));
        tokio::spawn(async move {
            while tick().await {
                loop {
                    match app.mail_notices().await {
                        Ok(true) => {}
                        Ok(false) => break,
                        Err(error) => {
                            tracing::warn!(%error, "notices could not be mailed");
                            break;
                        }
                    }
                }
            }
        })
    };
    vec![refresh, ping, damage, tidy, looks, follow, mail]
}

impl Running {
    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }
    /// Calls whose handler runs now.
    pub fn calls_under_way(&self) -> usize {
        self.under_way.load(Ordering::Relaxed)
    }
    /// The application behind it.
    pub fn app(&self) -> &App {
        &self.app
    }
    /// Stops: health says so first, calls under way are finished within the grace, the database is closed.
    ///
    /// # Errors
    /// When the transport failed.
    pub async fn stop(self) -> Result<()> {
        let Self { address: _, app, stop, grace, serving, health, background, under_way: _ } = self;
        set_serving(&health, false).await;
        stop.cancel();
        let abort = serving.abort_handle();
        match tokio::time::timeout(grace, serving).await {
            Ok(ended) => ended??,
            Err(_) => {
                tracing::warn!(grace_s = grace.as_secs(), "calls were still under way; they are cut");
                abort.abort();
            }
        }
        for task in background {
            let _ = task.await;
        }
        app.store().clone().close().await;
        tracing::info!("stopped");
        Ok(())
    }
}

/// Waits for Ctrl-C or a request to end.
pub async fn asked_to_stop() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        match signal(SignalKind::terminate()) {
            Ok(mut terminate) => {
                tokio::select! { _ = tokio::signal::ctrl_c() => {}, _ = terminate.recv() => {} }
            }
            Err(_) => {
                let _ = tokio::signal::ctrl_c().await;
            }
        }
    }
    #[cfg(not(unix))]
    {
        let _ = tokio::signal::ctrl_c().await;
    }
}
