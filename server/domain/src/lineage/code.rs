//! Codes short enough to write on a tag: six characters and a check character, all easy to tell apart.

use std::{fmt, str::FromStr};

/// 23 characters, a prime number. Left out are 0 O, 1 I L, 2 Z, 5 S, 8 B, G and U, which handwriting makes
/// look alike.
const ALPHABET: &[u8; 23] = b"34679ACDEFHJKMNPQRTVWXY";
/// Number of characters before the check character.
const LENGTH: usize = 6;
/// Weight of each position: powers of 5, a generator modulo 23. They differ from each other and from the
/// check character's weight 1, so the check finds every single wrong character and every exchange of two.
const WEIGHTS: [u32; LENGTH] = [5, 2, 10, 4, 20, 8];

/// Code of a lot or a mother plant, such as `H7K M4Q C`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LotCode([u8; LENGTH]);

/// Why a text is not a code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CodeError {
    /// The text has the wrong length or an unknown character.
    #[error("a code such as H7K M4Q C expected: seven of 3 4 6 7 9 A C D E F H J K M N P Q R T V W X Y")]
    Malformed,
    /// The check character does not fit the others.
    #[error("this code has a slip in it: its last character does not fit the others; read the tag again")]
    Slip,
}

fn value(character: u8) -> Option<u32> {
    (0..).zip(ALPHABET).find(|(_, known)| **known == character).map(|(at, _)| at)
}

impl LotCode {
    /// Makes a code from random bytes, two for each character. The bias is that of 16 bits modulo 23.
    pub fn from_random(bytes: [u8; 2 * LENGTH]) -> Self {
        let mut code = [0; LENGTH];
        for (slot, pair) in code.iter_mut().zip(bytes.chunks_exact(2)) {
            let number = pair.iter().fold(0_usize, |sum, byte| sum * 256 + usize::from(*byte));
            *slot = ALPHABET.get(number % ALPHABET.len()).copied().unwrap_or(b'3');
        }
        Self(code)
    }

    /// Returns the stored form: the characters without spaces and check character.
    pub fn stored(&self) -> String {
        self.0.iter().map(|c| char::from(*c)).collect()
    }
    /// Reads the stored form; `None` for a text that is not one.
    pub fn from_stored(text: &str) -> Option<Self> {
        let code: [u8; LENGTH] = text.as_bytes().try_into().ok()?;
        code.iter().all(|c| value(*c).is_some()).then_some(Self(code))
    }

    fn check(self) -> u8 {
        let sum: u32 = self.0.iter().zip(WEIGHTS).map(|(c, weight)| value(*c).unwrap_or(0) * weight).sum();
        let missing = (23 - sum % 23) % 23;
        usize::try_from(missing).ok().and_then(|at| ALPHABET.get(at)).copied().unwrap_or(b'3')
    }
}

impl fmt::Display for LotCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, character) in self.0.iter().enumerate() {
            if at == LENGTH / 2 {
                f.write_str(" ")?;
            }
            write!(f, "{}", char::from(*character))?;
        }
        write!(f, " {}", char::from(self.check()))
    }
}

impl fmt::Debug for LotCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for LotCode {
    type Err = CodeError;
    /// Reads a code as a person types it; case, spaces and hyphens do not matter.
    fn from_str(text: &str) -> Result<Self, CodeError> {
        let plain: Vec<u8> = text
            .chars()
            .filter(|c| !c.is_whitespace() && *c != '-')
            .map(|c| u8::try_from(c.to_ascii_uppercase()).unwrap_or(0))
            .collect();
        let [code @ .., check] = plain.as_slice() else { return Err(CodeError::Malformed) };
        let code: [u8; LENGTH] = code.try_into().map_err(|_| CodeError::Malformed)?;
        if plain.iter().any(|c| value(*c).is_none()) {
            return Err(CodeError::Malformed);
        }
        let code = Self(code);
        if code.check() == *check { Ok(code) } else { Err(CodeError::Slip) }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// A written code reads back; one wrong character, or an exchange of two, is found.
        #[test]
        fn slips_are_noticed(bytes: [u8; 12], at in 0_usize..7, with in 0_usize..22, other in 0_usize..7) {
            let code = LotCode::from_random(bytes);
            let text = code.to_string();
            prop_assert_eq!(text.parse::<LotCode>(), Ok(code));
            prop_assert_eq!(LotCode::from_stored(&code.stored()), Some(code));
            prop_assert_eq!(text.to_lowercase().replace(' ', "-").parse::<LotCode>(), Ok(code));
            let mut plain: Vec<u8> = text.bytes().filter(|b| *b != b' ').collect();
            let right = plain[at];
            plain[at] = ALPHABET.iter().copied().filter(|c| *c != right).nth(with).unwrap();
            let slip = String::from_utf8(plain.clone()).unwrap();
            prop_assert_eq!(slip.parse::<LotCode>(), Err(CodeError::Slip));
            plain[at] = right;
            plain.swap(at, other);
            let exchanged = String::from_utf8(plain.clone()).unwrap().parse::<LotCode>();
            if plain[at] == plain[other] {
                prop_assert_eq!(exchanged, Ok(code));
            } else {
                prop_assert_eq!(exchanged, Err(CodeError::Slip));
            }
        }
        #[test]
        fn never_panics(text in ".{0,20}") {
            let _ = text.parse::<LotCode>();
        }
    }

    #[test]
    fn what_looks_alike_is_no_code() {
        for text in ["", "H7KM4Q", "0OI1L2Z", "H7K M4Q CC", "ääääääa"] {
            assert_eq!(text.parse::<LotCode>(), Err(CodeError::Malformed), "{text}");
        }
    }
}
