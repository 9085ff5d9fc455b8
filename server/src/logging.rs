//! Structured logs on standard error. Messages and fields never hold a request's contents or a secret.

use tracing_subscriber::EnvFilter;

/// How logs are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LogFormat {
    /// For people.
    Text,
    /// For machines: one JSON object a line.
    Json,
}

/// Starts logging. A second start changes nothing.
///
/// # Errors
/// A filter that cannot be read.
pub fn start(format: LogFormat, filter: &str) -> Result<(), String> {
    let filter = EnvFilter::try_new(filter).map_err(|e| format!("log.filter: {e}"))?;
    let builder = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    let _ = match format {
        LogFormat::Text => builder.with_target(false).try_init(),
        LogFormat::Json => builder.json().flatten_event(true).try_init(),
    };
    Ok(())
}
