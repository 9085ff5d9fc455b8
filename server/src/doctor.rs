//! `scionaryd doctor`: looks at everything a start needs and says what to do about what is wrong.

use scionary_app::{catalogue, ports::Clock as _};
use scionary_store::{Ailment, Backend, ConnectError, Store, StoreError};

use crate::{
    clock::SystemClock,
    config::Config,
    data,
    serve::{self, OpenFor},
};

/// One thing looked at.
#[derive(Clone, Debug)]
pub struct Look {
    /// What.
    pub what: &'static str,
    /// What was found; or what is wrong and what to do.
    pub result: Result<String, String>,
}

/// Looks at everything. A line of no meaning is written to the database; nothing else is changed.
pub async fn examine(config: &Config) -> Vec<Look> {
    let mut looks = Vec::new();
    let mut look = |what, result| looks.push(Look { what, result });
    look(
        "address",
        match tokio::net::TcpListener::bind(config.address).await {
            Ok(_) => Ok(format!("{} is free", config.address)),
            Err(error) => Err(format!(
                "{} cannot be listened on ({error}); stop what uses it, or set listen.address",
                config.address
            )),
        },
    );
    look(
        "tls",
        match &config.tls {
            None => Ok("not used".to_string()),
            Some((certificate, key)) => [certificate, key]
                .into_iter()
                .map(|path| {
                    std::fs::read(path).map_err(|e| format!("{} cannot be read: {e}", path.display()))
                })
                .collect::<Result<Vec<_>, _>>()
                .and_then(|_| private(key))
                .map(|()| "certificate and key can be read".to_string()),
        },
    );
    for files in std::iter::once(Ok(data::reference()))
        .chain(config.catalogue_folders.iter().map(|folder| data::folder(folder)))
    {
        look(
            "catalogue",
            files.map_err(|e| e.to_string()).and_then(|files| {
                let known = catalogue::parse(&data::reference(), &[]).map(|c| c.crops).unwrap_or_default();
                catalogue::parse(&files, &known)
                    .map(|c| {
                        format!(
                            "{}: {} records, {} pieces of evidence",
                            c.name,
                            c.records.len(),
                            c.evidence.len()
                        )
                    })
                    .map_err(|e| e.to_string())
            }),
        );
    }
    if let Some((smtp, from)) = &config.mail {
        let answers = async { crate::mail::Smtp::new(smtp, from)?.answers().await };
        look(
            "mail",
            match answers.await {
                Ok(()) => Ok("the mail server lets us in".to_string()),
                Err(why) => Err(format!(
                    "the mail server does not let us in ({why}); look at mail.smtp, and whether it runs"
                )),
            },
        );
    }
    looks.extend(database(config).await);
    looks
}

/// Whether a key is its owner's alone.
#[cfg(unix)]
fn private(key: &std::path::Path) -> Result<(), String> {
    use std::os::unix::fs::MetadataExt as _;
    match std::fs::metadata(key) {
        Ok(file) if file.mode() & 0o077 != 0 => Err(format!(
            "others on this machine can read the key; run: chmod 600 {}, as the server's user owns it",
            key.display()
        )),
        Ok(_) | Err(_) => Ok(()),
    }
}
#[cfg(not(unix))]
fn private(_key: &std::path::Path) -> Result<(), String> {
    Ok(())
}

/// The database: whether it opens, answers, is sound, takes a write, and has the schema that this server knows.
async fn database(config: &Config) -> Vec<Look> {
    let mut looks = Vec::new();
    let mut look = |what, result| looks.push(Look { what, result });
    let store = match Store::open(&serve::options(config, OpenFor::Use)).await {
        Ok(store) => store,
        Err(ConnectError::NoFile(file)) => {
            let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty());
            look(
                "database",
                match folder.filter(|folder| !folder.is_dir()) {
                    None => Ok(format!("{} will be made at the first start", file.display())),
                    Some(folder) => Err(format!(
                        "the folder {} does not exist; make it, and let the server's user write there",
                        folder.display()
                    )),
                },
            );
            return looks;
        }
        Err(error) => {
            look("database", Err(error.to_string()));
            return looks;
        }
    };
    let told = |error: &StoreError| {
        let StoreError::Sick(ailment, why) = error else { return error.to_string() };
        format!("{}: {} ({why}); {}", store.shown(), ailment.what(), ailment.remedy())
    };
    look(
        "damage",
        match store.damage().await {
            Ok(found) if found.is_empty() => Ok(match store.backend() {
                Backend::Sqlite => "none found by quick_check and foreign_key_check".to_string(),
                Backend::Postgres => "looked for by PostgreSQL itself, with pg_amcheck".to_string(),
            }),
            Ok(found) => {
                Err(format!("{}: {}; {}", store.shown(), found.join("; "), Ailment::Damaged.remedy()))
            }
            Err(error) => Err(told(&error)),
        },
    );
    let missing = match scionary_migrations::unknown(store.admin()).await {
        Ok(newer) if newer.is_empty() => scionary_migrations::pending(store.admin()).await.map(Ok),
        Ok(newer) => Ok(Err(serve::newer_schema(&newer))),
        Err(error) => Err(error),
    };
    let has_schema = matches!(&missing, Ok(Ok(missing)) if missing.is_empty());
    look(
        "schema",
        match missing {
            Ok(Ok(missing)) if missing.is_empty() => Ok("up to date".to_string()),
            Ok(Ok(missing)) if config.migrate_on_start => {
                Ok(format!("{} steps will be made at start", missing.len()))
            }
            Ok(Ok(missing)) => Err(format!("lacks {}; run: scionaryd migrate", missing.join(", "))),
            Ok(Err(newer)) => Err(newer),
            Err(error) => Err(error.to_string()),
        },
    );
    if has_schema {
        let tried = store.try_a_write(SystemClock.now()).await;
        look(
            "database",
            tried
                .map(|()| format!("{:?} answers, and keeps what is written", store.backend()))
                .map_err(|error| told(&error)),
        );
    }
    store.close().await;
    looks
}
