//! Structured logs on standard error. Messages and fields never hold a request's contents or a secret.

use std::io::IsTerminal as _;

use tracing_subscriber::EnvFilter;

/// How logs are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LogFormat {
    /// For people.
    Text,
    /// For machines: one JSON object a line.
    Json,
}

/// Reads a filter.
///
/// # Errors
/// What is wrong with it.
pub fn check(filter: &str) -> Result<EnvFilter, String> {
    EnvFilter::try_new(filter)
        .map_err(|e| format!("a filter such as info or scionary_app=debug expected ({e})"))
}

/// Starts logging. A second start changes nothing.
///
/// # Errors
/// A filter that cannot be read.
pub fn start(format: LogFormat, filter: &str) -> Result<(), String> {
    let filter = check(filter)?;
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(std::io::stderr().is_terminal())
        .with_writer(std::io::stderr);
    let _ = match format {
        LogFormat::Text => builder.with_target(false).try_init(),
        LogFormat::Json => builder.json().flatten_event(true).try_init(),
    };
    Ok(())
}
