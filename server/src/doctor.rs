//! `scionaryd doctor`: looks at everything a start needs and says what to do about what is wrong.

use scionary_app::catalogue;
use scionary_store::{Options, Store};

use crate::{config::Config, data};

/// One thing looked at.
#[derive(Clone, Debug)]
pub struct Look {
    /// What.
    pub what: &'static str,
    /// What was found; or what is wrong and what to do.
    pub result: Result<String, String>,
}

/// Looks at everything. Nothing is changed, but for an empty SQLite file that a first look may make.
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
                .map(|_| "certificate and key can be read".to_string()),
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
    let mut options = Options::new(&config.database);
    options.connections = config.database_connections;
    match Store::open(&options).await {
        Err(error) => look("database", Err(format!("{error}; check storage.database and that it runs"))),
        Ok(store) => {
            look(
                "database",
                store
                    .ping()
                    .await
                    .map(|()| format!("{:?} answers", store.backend()))
                    .map_err(|e| e.to_string()),
            );
            look(
                "schema",
                match scionary_migrations::pending(store.admin()).await {
                    Ok(missing) if missing.is_empty() => Ok("up to date".to_string()),
                    Ok(missing) if config.migrate_on_start => {
                        Ok(format!("{} steps will be made at start", missing.len()))
                    }
                    Ok(missing) => Err(format!("lacks {}; run: scionaryd migrate", missing.join(", "))),
                    Err(error) => Err(error.to_string()),
                },
            );
            store.close().await;
        }
    }
    looks
}
