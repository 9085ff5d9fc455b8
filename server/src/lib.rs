//! The Scionary server: settings, the gate, the handlers, start and stop. It opens no transaction and
//! decides no rule: `scionary-app` does the one, `scionary-domain` the other.

pub mod call;
pub mod clock;
pub mod command;
pub mod config;
pub mod convert;
pub mod crop_check;
pub mod data;
pub mod day;
pub mod dear;
pub mod demo;
pub mod dispatch;
pub mod doctor;
pub mod gate;
pub mod incoming;
pub mod logging;
pub mod mail;
pub mod mask;
pub mod methods;
pub mod policy;
pub mod reasons;
mod rpc;
mod say;
pub mod serve;
pub mod site;
pub mod status;
pub mod throttle;

/// The version of this software.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");
