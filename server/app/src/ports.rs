//! What the outside world gives: the time, and randomness.

use scionary_domain::time::Timestamp;
use uuid::Uuid;

/// Tells the time.
pub trait Clock: Send + Sync {
    /// Now.
    fn now(&self) -> Timestamp;
}

/// Sends mail.
pub trait Mailer: Send + Sync {
    /// Sends a plain text to an address.
    ///
    /// # Errors
    /// Why it could not be handed to the mail server, without the address.
    fn send(
        &self,
        to: &str,
        subject: &str,
        text: &str,
    ) -> std::pin::Pin<Box<dyn Future<Output = Result<(), String>> + Send + '_>>;
    /// Whether a text is an address that can be sent to.
    fn is_address(&self, text: &str) -> bool;
}

/// Gives randomness.
pub trait Entropy: Send + Sync {
    /// Thirty-two random bytes.
    ///
    /// # Errors
    /// When the system has none to give.
    fn bytes(&self) -> Result<[u8; 32], EntropyError>;
}

/// The system's source of randomness failed.
#[derive(Debug, thiserror::Error)]
#[error("the system gives no randomness: {0}")]
pub struct EntropyError(pub String);

/// The system's own randomness.
#[derive(Debug, Default)]
pub struct SystemEntropy;

impl Entropy for SystemEntropy {
    fn bytes(&self) -> Result<[u8; 32], EntropyError> {
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes).map_err(|e| EntropyError(e.to_string()))?;
        Ok(bytes)
    }
}

/// A new UUID of version 7: it grows with time, so that rows stay in order.
///
/// # Errors
/// When there is no randomness.
pub fn new_uuid(entropy: &dyn Entropy, now: Timestamp) -> Result<Uuid, EntropyError> {
    let [a, b, c, d, e, f, g, h, i, j, ..] = entropy.bytes()?;
    let millis = u64::try_from(now.micros().max(0) / 1000).unwrap_or(0);
    Ok(uuid::Builder::from_unix_timestamp_millis(millis, &[a, b, c, d, e, f, g, h, i, j]).into_uuid())
}
