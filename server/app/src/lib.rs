//! What Scionary does. A use case loads, asks the domain, writes, and says what it changed; the door makes
//! that one transaction with its idempotency key, audit rows and outbox rows. Nothing here knows the wire.

pub mod accounts;
pub mod alerts;
pub mod call;
pub mod catalogue;
pub mod claims;
pub mod clubs;
pub mod curation;
pub mod day;
pub mod door;
pub mod error;
pub mod evidence;
pub mod export;
pub mod follow;
pub mod grafts;
pub mod housekeeping;
pub mod lots;
pub mod mail;
pub mod missing;
pub mod movement;
pub mod notices;
pub mod offers;
pub mod passwords;
pub mod plans;
pub mod ports;
pub mod profile;
pub mod protection;
pub mod registry;
pub mod rounds;
mod secrets;
pub mod turns;
pub mod wants;

use std::sync::Arc;

use arc_swap::ArcSwap;
use scionary_domain::{account::SignUpMode, limits};
use scionary_store::Store;
use tokio::sync::Semaphore;

pub use call::{Call, WriteKey};
pub use door::{Done, KeepReply, UseCase, Write};
pub(crate) use error::as_seen;
pub use error::{Error, Overlay, RoundStep, Rule};

/// What an operator decides about use.
#[derive(Clone, Debug)]
pub struct Policy {
    /// How accounts are made.
    pub sign_up: SignUpMode,
    /// Whether every member may invite, or stewards only.
    pub members_may_invite: bool,
    /// How long a session lasts.
    pub session_days: i64,
    /// How long an invitation lasts.
    pub invitation_days: i64,
}

impl Default for Policy {
    fn default() -> Self {
        Self {
            sign_up: SignUpMode::Invitation,
            members_may_invite: true,
            session_days: 30,
            invitation_days: 14,
        }
    }
}

/// The application: everything a call needs. Cheap to clone.
#[derive(Clone)]
pub struct App(Arc<Inner>);

struct Inner {
    store: Store,
    policy: Policy,
    clock: Arc<dyn ports::Clock>,
    entropy: Arc<dyn ports::Entropy>,
    passwords: passwords::Passwords,
    registry: ArcSwap<registry::Registry>,
    movement: ArcSwap<scionary_domain::movement::Rules>,
    movement_sources: ArcSwap<Vec<movement::MovementFiles>>,
    /// One refresh at a time: a later one starts from what the earlier one made.
    refreshing: tokio::sync::Mutex<()>,
    /// Places for exports, and for imports.
    exports: Arc<Semaphore>,
    imports: Arc<Semaphore>,
    /// A turn to settle a round.
    settlements: Arc<Semaphore>,
    /// Who imports just now.
    importing: std::sync::Mutex<std::collections::BTreeSet<scionary_domain::ids::AccountId>>,
    /// How often grafts take on each crop, worked out lately.
    graft_rates: tokio::sync::Mutex<grafts::KnownRates>,
    /// Wakes those who watch their inbox: whose has something new.
    woken: tokio::sync::broadcast::Sender<scionary_domain::ids::AccountId>,
    /// Inboxes that are watched just now.
    watches: std::sync::Mutex<std::collections::BTreeMap<scionary_domain::ids::AccountId, usize>>,
    mailer: std::sync::OnceLock<Arc<dyn ports::Mailer>>,
    journal: std::sync::OnceLock<Arc<dyn day::Journal>>,
    /// Look-ups that are not in the database yet.
    looks: missing::Looks,
    /// Agreement on each crop, for the registry that it was computed of.
    agreements: tokio::sync::Mutex<evidence::Agreements>,
}

impl App {
    /// Puts the application together and reads the registry.
    ///
    /// # Errors
    /// When the registry cannot be read.
    pub async fn new(
        store: Store,
        policy: Policy,
        clock: Arc<dyn ports::Clock>,
        entropy: Arc<dyn ports::Entropy>,
        passwords: passwords::Passwords,
    ) -> Result<Self, Error> {
        let registry = registry::Registry::load(store.reader(), clock.now()).await?;
        Ok(Self(Arc::new(Inner {
            store,
            policy,
            clock,
            entropy,
            passwords,
            registry: ArcSwap::from_pointee(registry),
            movement: ArcSwap::default(),
            movement_sources: ArcSwap::default(),
            refreshing: tokio::sync::Mutex::new(()),
            exports: Arc::new(Semaphore::new(limits::EXPORTS_AT_ONCE)),
            imports: Arc::new(Semaphore::new(limits::IMPORTS_AT_ONCE)),
            settlements: Arc::new(Semaphore::new(limits::ROUNDS_SETTLED_AT_ONCE)),
            importing: std::sync::Mutex::default(),
            graft_rates: tokio::sync::Mutex::default(),
            woken: tokio::sync::broadcast::channel(limits::WOKEN_HELD).0,
            watches: std::sync::Mutex::default(),
            mailer: std::sync::OnceLock::new(),
            journal: std::sync::OnceLock::new(),
            looks: missing::Looks::default(),
            agreements: tokio::sync::Mutex::default(),
        })))
    }

    /// The database.
    pub fn store(&self) -> &Store {
        &self.0.store
    }
    /// What the operator decided.
    pub fn policy(&self) -> &Policy {
        &self.0.policy
    }
    /// The clock.
    pub fn clock(&self) -> &dyn ports::Clock {
        self.0.clock.as_ref()
    }
    /// The source of ids and secrets.
    pub fn entropy(&self) -> &dyn ports::Entropy {
        self.0.entropy.as_ref()
    }
    pub(crate) fn passwords(&self) -> &passwords::Passwords {
        &self.0.passwords
    }
    /// The registry as it is now. It does not change under the caller.
    pub fn registry(&self) -> Arc<registry::Registry> {
        self.0.registry.load_full()
    }
    /// Keeps the steps of a swap day from here on: this application runs one, away from its server.
    pub fn set_journal(&self, journal: Arc<dyn day::Journal>) {
        // it is set once, before anyone calls
        let _ = self.0.journal.set(journal);
    }
    pub(crate) fn journal(&self) -> Option<&dyn day::Journal> {
        self.0.journal.get().map(AsRef::as_ref)
    }
    pub(crate) fn settlements(&self) -> Arc<Semaphore> {
        self.0.settlements.clone()
    }
    pub(crate) fn watches(
        &self,
    ) -> std::sync::MutexGuard<'_, std::collections::BTreeMap<scionary_domain::ids::AccountId, usize>> {
        self.0.watches.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
    pub(crate) fn wake(&self, account: scionary_domain::ids::AccountId) {
        // no one may be watching
        let _ = self.0.woken.send(account);
    }
    pub(crate) fn woken(&self) -> tokio::sync::broadcast::Receiver<scionary_domain::ids::AccountId> {
        self.0.woken.subscribe()
    }
    pub(crate) fn graft_rates_known(&self) -> &tokio::sync::Mutex<grafts::KnownRates> {
        &self.0.graft_rates
    }
    /// The rules on moving plants that are on file. They do not change under the caller.
    pub fn movement(&self) -> Arc<scionary_domain::movement::Rules> {
        self.0.movement.load_full()
    }
    /// The files of rules that ship, and those of catalogue folders.
    pub(crate) fn movement_sources(&self) -> Arc<Vec<movement::MovementFiles>> {
        self.0.movement_sources.load_full()
    }
    /// Names the files of rules that ship, and takes up what is in force.
    ///
    /// # Errors
    /// Mistakes in them; the store's.
    pub async fn set_movement_sources(&self, sources: Vec<movement::MovementFiles>) -> Result<(), Error> {
        self.0.movement_sources.store(Arc::new(sources));
        self.take_up_rules().await
    }
    /// Puts rules on moving plants in the place of those before.
    pub fn set_movement(&self, rules: scionary_domain::movement::Rules) {
        self.0.movement.store(Arc::new(rules));
    }
    /// Takes in what has changed in the registry. Whether anything had.
    ///
    /// # Errors
    /// When it cannot be read; the old one stays in use.
    pub async fn refresh_registry(&self) -> Result<bool, Error> {
        let _one = self.0.refreshing.lock().await;
        let now = self.clock().now();
        match self.registry().follow(self.store().reader(), now).await? {
            None => Ok(false),
            Some(fresh) => {
                self.0.registry.store(Arc::new(fresh));
                Ok(true)
            }
        }
    }
}
