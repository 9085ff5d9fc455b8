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

/// The `nth` UUID made at one moment. What follows the time is `nth` in 18 bits (RFC 9562, 6.2, method 1, a
/// counter with a fixed length), so that rows written together stay in the order in which they were made;
/// 56 bits stay random.
///
/// # Errors
/// When there is no randomness.
pub fn nth_uuid(entropy: &dyn Entropy, now: Timestamp, nth: u32) -> Result<Uuid, EntropyError> {
    let [d, e, f, g, h, i, j, ..] = entropy.bytes()?;
    let millis = u64::try_from(now.micros().max(0) / 1000).unwrap_or(0);
    // the builder puts the version over the first 4 bits, and the variant over the first 2 of the third byte
    let [_, high, middle, low] =
        ((nth >> 14 & 0xf) << 16 | (nth >> 6 & 0xff) << 8 | nth & 0x3f).to_be_bytes();
    Ok(uuid::Builder::from_unix_timestamp_millis(millis, &[high, middle, low, d, e, f, g, h, i, j])
        .into_uuid())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_made_together_stay_in_order() {
        let now = Timestamp::from_micros(1_764_000_000_000_000);
        let made: Vec<Uuid> =
            (0..70_000).step_by(7).map(|nth| nth_uuid(&SystemEntropy, now, nth).unwrap()).collect();
        assert!(made.is_sorted());
        assert!(
            made.iter().all(|id| id.get_version_num() == 7 && id.get_variant() == uuid::Variant::RFC4122)
        );
        let later = Timestamp::from_micros(1_764_000_000_001_000);
        assert!(made.iter().all(|id| *id < nth_uuid(&SystemEntropy, later, 0).unwrap()));
    }
}
