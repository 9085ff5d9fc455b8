//! Session tokens and codes: random, shown once, stored as hashes.

use sha2::{Digest as _, Sha256};

use crate::{error::Error, ports::Entropy};

const LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// A new session token: 256 random bits.
pub(crate) fn new_token(entropy: &dyn Entropy) -> Result<String, Error> {
    let bits: String = entropy.bytes()?.iter().map(|b| format!("{b:02x}")).collect();
    Ok(format!("sst_{bits}"))
}

/// A new code to hand over on paper: 80 random bits, no look-alike letters.
pub(crate) fn new_code(entropy: &dyn Entropy) -> Result<String, Error> {
    let bytes = entropy.bytes()?;
    let letters: Vec<char> = bytes
        .iter()
        .take(16)
        .filter_map(|b| LETTERS.get(usize::from(b & 31)).map(|l| char::from(*l)))
        .collect();
    Ok(letters.chunks(4).map(|c| c.iter().collect::<String>()).collect::<Vec<_>>().join("-"))
}

/// The hash that a token is stored as.
pub(crate) fn hash_token(token: &str) -> [u8; 32] {
    Sha256::digest(token.trim().as_bytes()).into()
}

/// The hash that a code is stored as: case, spaces and dashes do not matter, look-alikes are taken as meant.
pub(crate) fn hash_code(code: &str) -> [u8; 32] {
    let plain: String = code
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|c| match c.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            other => other,
        })
        .collect();
    Sha256::digest(plain.as_bytes()).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_forgive_how_they_are_typed() {
        assert_eq!(hash_code("0AB1-CDEF-2345-6789"), hash_code(" oabl cdef23456789 "));
    }
}
