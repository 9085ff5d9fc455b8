//! Settings: one table of them, read from a file, the environment and the command line, in this order. Every
//! mistake is notified at once, with the file's line.

mod read;
mod table;

use std::{net::SocketAddr, path::PathBuf, time::Duration};

use scionary_app::Policy;
use scionary_domain::account::SignUpMode;

use crate::{logging::LogFormat, throttle::Rates};

pub use read::{ConfigError, Sources, load};
pub use table::{SETTINGS, Setting, sample};

/// All settings, checked.
#[derive(Clone, Debug)]
pub struct Config {
    /// The name that the server gives itself.
    pub name: String,
    /// What exports say of the data's licence.
    pub data_licence: String,
    /// Where it listens.
    pub address: SocketAddr,
    /// Certificate and key, if it speaks TLS itself.
    pub tls: Option<(PathBuf, PathBuf)>,
    /// Connections at once.
    pub connections_max: usize,
    /// Connections at once of one address.
    pub connections_each_max: usize,
    /// The largest request.
    pub request_bytes_max: usize,
    /// The longest call.
    pub deadline: Duration,
    /// How long a stop waits for calls under way.
    pub stop_grace: Duration,
    /// The database's URL.
    pub database: String,
    /// Database connections.
    pub database_connections: u32,
    /// Migrate at start.
    pub migrate_on_start: bool,
    /// Further catalogues.
    pub catalogue_folders: Vec<PathBuf>,
    /// Load the reference catalogue.
    pub reference_catalogue: bool,
    /// What the operator decided about use.
    pub policy: Policy,
    /// Password hashes at once.
    pub password_slots: usize,
    /// Call budgets.
    pub rates: Rates,
    /// The mail server and whom mail comes from; none where no mail is sent.
    pub mail: Option<(String, String)>,
    /// How logs are written.
    pub log_format: LogFormat,
    /// Which logs are written.
    pub log_filter: String,
}

impl Config {
    fn build(values: &mut read::Values) -> Option<Self> {
        let address = values.parsed::<SocketAddr>("listen.address", "an address such as 127.0.0.1:50740");
        let certificate = values.text("listen.tls_certificate");
        let key = values.text("listen.tls_key");
        let tls = match (certificate.is_empty(), key.is_empty()) {
            (true, true) => None,
            (false, false) => Some((PathBuf::from(certificate), PathBuf::from(key))),
            (true, false) => {
                values.wrong("listen.tls_certificate", "a file expected, as listen.tls_key is set");
                None
            }
            (false, true) => {
                values.wrong("listen.tls_key", "a file expected, as listen.tls_certificate is set");
                None
            }
        };
        let plain_ok = values.flag("listen.plaintext_beyond_loopback");
        if let Some(address) = address
            && tls.is_none()
            && !address.ip().is_loopback()
            && !plain_ok
        {
            values.wrong(
                "listen.address",
                "a loopback address expected, as no certificate is set: passwords would travel in the clear. Set listen.tls_certificate and listen.tls_key, or listen.plaintext_beyond_loopback = true if something in front speaks TLS",
            );
        }
        let sign_up = match values.text("accounts.sign_up").as_str() {
            "open" => SignUpMode::Open,
            "closed" => SignUpMode::Closed,
            _ => SignUpMode::Invitation,
        };
        let database = values.text("storage.database");
        if !["sqlite:", "postgres://", "postgresql://"].iter().any(|p| database.starts_with(p)) {
            values.wrong(
                "storage.database",
                "a URL such as sqlite:scionary.db or postgres://user@host/name expected",
            );
        }
        if let Err(expected) = crate::logging::check(&values.text("log.filter")) {
            values.wrong("log.filter", &expected);
        }
        let (smtp, from) = (values.text("mail.smtp"), values.text("mail.from"));
        let mail = (!smtp.is_empty()).then_some((smtp, from));
        if let Some((smtp, from)) = &mail
            && let Err(expected) = crate::mail::check(smtp, from)
        {
            values.wrong("mail.smtp", &expected);
        }
        Some(Self {
            name: values.text("server.name"),
            data_licence: values.text("server.data_licence"),
            address: address?,
            tls,
            connections_max: values.number("listen.connections_max")?,
            connections_each_max: values.number("listen.connections_per_address_max")?,
            request_bytes_max: values.number::<usize>("limits.request_kib_max")? * 1024,
            deadline: Duration::from_secs(values.number("limits.deadline_seconds")?),
            stop_grace: Duration::from_secs(values.number("server.stop_grace_seconds")?),
            database,
            database_connections: values.number("storage.connections")?,
            migrate_on_start: values.flag("storage.migrate_on_start"),
            catalogue_folders: values
                .text("data.catalogue_folders")
                .split(',')
                .map(str::trim)
                .filter(|p| !p.is_empty())
                .map(PathBuf::from)
                .collect(),
            reference_catalogue: values.flag("data.reference_catalogue"),
            policy: Policy {
                sign_up,
                members_may_invite: values.flag("accounts.members_may_invite"),
                session_days: values.number("accounts.session_days")?,
                invitation_days: values.number("accounts.invitation_days")?,
            },
            password_slots: values.number("accounts.password_slots")?,
            rates: Rates {
                reads: values.number("limits.reads_per_minute")?,
                dear: values.number("limits.dear_reads_per_minute")?,
                writes: values.number("limits.writes_per_minute")?,
                passwords: values.number("limits.passwords_per_minute")?,
                sign_ins: values.number("limits.sign_ins_per_minute")?,
            },
            mail,
            log_format: if values.text("log.format") == "json" { LogFormat::Json } else { LogFormat::Text },
            log_filter: values.text("log.filter"),
        })
    }
}
