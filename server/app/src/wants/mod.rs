//! Wants: what members seek, and offers that meet it.

mod make;
mod meet;
mod read;

pub use make::{MakeWant, WithdrawWant};
pub use read::{SearchWants, ShownWant, Sought};

/// The outbox topic of wants.
pub const TOPIC: &str = "want";
