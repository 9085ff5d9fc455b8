//! The draw: numbers that no one could choose break every remaining tie.
//!
//! The server publishes the hash of a secret before the round is sealed, the hash of the input at sealing,
//! and the secret afterwards. The seed combines both, so neither the holder of the secret nor the last member
//! to enter wishes can steer the draw.

use sha2::{Digest as _, Sha256};

use super::input::sha256;

/// Returns the hash of a secret, published before the round is sealed.
pub fn commitment(secret: &str) -> String {
    sha256(secret.as_bytes())
}

/// Returns the seed of a round: SHA-256 of `secret|hash of the input|round`, in hexadecimal.
pub fn seed(secret: &str, input_hash: &str, round: &str) -> String {
    sha256(format!("{secret}|{input_hash}|{round}").as_bytes())
}

/// Bits of a draw. With m numbers drawn, the chance of a tie is at most m in 2^32 (Mulmuley, Vazirani, Vazirani 1987).
pub const DRAW_BITS: u32 = 32;

/// The draws of one seed. Each redraw extends the seed by `#` and its number.
#[derive(Clone, Debug)]
pub struct Draw {
    seed: String,
    bits: u32,
}

impl Draw {
    /// Starts the draws of a seed. `redraw` is 0 unless an earlier draw left a tie.
    pub fn new(seed: &str, redraw: u32) -> Self {
        Self::of_bits(seed, redraw, DRAW_BITS)
    }

    /// Starts draws of fewer bits, which tie often: for tests of what follows a tie.
    pub(super) fn of_bits(seed: &str, redraw: u32, bits: u32) -> Self {
        let seed = if redraw == 0 { seed.to_string() } else { format!("{seed}#{redraw}") };
        Self { seed, bits: bits.clamp(1, DRAW_BITS) }
    }

    /// Returns the first 32 bits of SHA-256 plus 1, from 1 to 2^32.
    fn number(&self, text: &str) -> i64 {
        let hash = Sha256::digest(format!("{}|{text}", self.seed).as_bytes());
        let first = hash.iter().take(4).fold(0, |n, byte| n << 8 | i64::from(*byte));
        (first >> (DRAW_BITS - self.bits)) + 1
    }

    /// Returns the number of a member.
    pub fn member(&self, member: &str) -> i64 {
        self.number(&format!("member|{member}"))
    }

    /// Returns the number of a lot for a wish.
    pub fn pair(&self, lot: &str, want: &str) -> i64 {
        self.number(&format!("arc|{lot}|{want}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_are_the_first_bits_of_sha_256() {
        // printf 'abc' | sha256sum (FIPS 180-4, example of one block)
        assert_eq!(commitment("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        // printf 's|member|m' | sha256sum begins with 6fc6cb21
        let draw = Draw::new("s", 0);
        assert_eq!(
            draw.member("m"),
            i64::from(u32::from_str_radix(&sha256(b"s|member|m")[..8], 16).unwrap()) + 1
        );
        assert_ne!(draw.member("m"), Draw::new("s", 1).member("m"));
        assert_ne!(draw.pair("a", "b"), draw.pair("b", "a"));
    }
}
