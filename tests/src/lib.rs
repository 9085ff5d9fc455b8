//! The harness: fresh databases of both kinds, servers in process, the real binaries, and clients.

pub mod binaries;
pub mod client;
pub mod database;
pub mod rounds;
pub mod samples;
pub mod server;

pub use client::{Raw, reason};
pub use database::{Database, on_both};
pub use server::TestServer;
