//! An in-process server on its own port.

use scionary_server::{
    config::{self, Config, Sources},
    serve::{self, Running},
};
use tonic::transport::Channel;

use crate::client::Raw;

/// A running server.
pub struct TestServer {
    /// The server itself.
    pub running: Running,
    /// A connection to the server.
    pub channel: Channel,
}

/// Returns the settings for a test: open sign-up and large rate limits.
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
    /// Starts a server on a database.
    pub async fn start(url: &str) -> Self {
        Self::with(url, &[]).await
    }
    /// Starts a server with some settings changed.
    pub async fn with(url: &str, set: &[&str]) -> Self {
        let running = serve::start(&settings(url, set)).await.expect("the server starts");
        let channel = tonic::transport::Endpoint::from_shared(format!("http://{}", running.address()))
            .expect("an address")
            .connect()
            .await
            .expect("it answers");
        Self { running, channel }
    }
    /// Returns a caller by path and bytes, without a session.
    pub fn raw(&self) -> Raw {
        Raw::new(self.channel.clone())
    }
    /// Stops the server.
    pub async fn stop(self) {
        drop(self.channel);
        self.running.stop().await.expect("it stops");
    }
}
