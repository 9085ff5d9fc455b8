//! A server in process, on a port of its own.

use scionary_server::{
    config::{self, Config, Sources},
    serve::{self, Running},
};
use tonic::transport::Channel;

use crate::client::Raw;

/// A running server.
pub struct TestServer {
    /// The server.
    pub running: Running,
    /// A connection to it.
    pub channel: Channel,
}

/// Settings for a test: open sign-up, roomy budgets.
pub fn settings(url: &str, set: &[&str]) -> Config {
    let base = [
        "accounts.sign_up=open",
        "limits.reads_per_minute=1000000",
        "limits.writes_per_minute=1000000",
        "limits.passwords_per_minute=1000000",
        "limits.sign_ins_per_minute=1000000",
        "server.stop_grace_seconds=3",
        "listen.address=127.0.0.1:0",
    ];
    let set =
        base.iter().chain(set).map(|s| (*s).to_string()).chain([format!("storage.database={url}")]).collect();
    config::load(&Sources { file: None, environment: Vec::new(), set }).expect("test settings are fine")
}

impl TestServer {
    /// Starts one on a database.
    pub async fn start(url: &str) -> Self {
        Self::with(url, &[]).await
    }
    /// Starts one with some settings changed.
    pub async fn with(url: &str, set: &[&str]) -> Self {
        let running = serve::start(&settings(url, set)).await.expect("the server starts");
        let channel = tonic::transport::Endpoint::from_shared(format!("http://{}", running.address()))
            .expect("an address")
            .connect()
            .await
            .expect("it answers");
        Self { running, channel }
    }
    /// Calls by path and bytes.
    pub fn raw(&self) -> Raw {
        Raw::new(self.channel.clone())
    }
    /// Stops it.
    pub async fn stop(self) {
        drop(self.channel);
        self.running.stop().await.expect("it stops");
    }
}
