//! The test harness: fresh databases of both kinds, in-process servers, the real binaries, and clients.

pub mod binaries;
pub mod client;
pub mod database;
pub mod faults;
pub mod kills;
pub mod measured;
pub mod rounds;
pub mod samples;
pub mod server;

pub use client::{Raw, reason};
pub use database::{Database, on_both, on_both_empty};
pub use server::TestServer;

/// Reports once, directly on the terminal, what is skipped: the runner swallows the output of a passing test.
///
/// # Panics
/// Panics when `CI` is set: CI skips nothing.
pub fn skipped(what: &'static str) {
    use std::{collections::BTreeSet, io::Write as _, sync::Mutex};
    static SAID: Mutex<BTreeSet<&str>> = Mutex::new(BTreeSet::new());
    assert!(std::env::var_os("CI").is_none(), "{what}: in CI nothing is skipped");
    if SAID.lock().is_ok_and(|mut said| said.insert(what)) {
        // The runner does not capture a file handle that the test opens itself.
        let terminal = std::fs::OpenOptions::new().append(true).open("/dev/stderr");
        let _ = terminal.and_then(|mut out| out.write_all(format!("\nSKIPPED: {what}\n").as_bytes()));
    }
}
