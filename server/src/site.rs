//! What handlers work with beside the call itself.

use std::sync::Arc;

use scionary_app::{App, turns::Turns};
use tokio_util::sync::CancellationToken;

use crate::{dear::Places, throttle::Throttle};

/// This server: its application, and what its operator said of it.
pub struct Site {
    /// The application.
    pub app: App,
    /// Budgets of calls, and of sign-ins for each handle.
    pub throttle: Arc<Throttle>,
    /// Turns for dear work.
    pub dear: Turns,
    /// Downloads at once for each address.
    pub downloads: Places<String>,
    /// The name that the operator gave the server.
    pub name: String,
    /// What the operator says of the data's licence.
    pub data_licence: String,
    /// A swap day is run here, away from its server, and nothing else.
    pub day: bool,
    /// Set when the server stops: watches end.
    pub stop: CancellationToken,
}
