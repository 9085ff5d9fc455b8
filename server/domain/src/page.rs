//! Pages by key: a token names the last row seen and the search it belongs to.

use std::str::FromStr;

use crate::{field::FieldError, limits};

/// A page of rows and where the next one begins.
#[derive(Clone, Debug, PartialEq)]
pub struct Page<T> {
    /// The rows, in order.
    pub rows: Vec<T>,
    /// The token of the next page; none on the last.
    pub next: Option<String>,
}

impl<T> Page<T> {
    /// The same page with its rows changed.
    pub fn map<U>(self, change: impl FnMut(T) -> U) -> Page<U> {
        Page { rows: self.rows.into_iter().map(change).collect(), next: self.next }
    }
}

/// The wanted number of rows within the limits.
///
/// # Errors
/// A negative number, or more than a page may hold.
pub fn page_size(wanted: i32) -> Result<usize, FieldError> {
    match usize::try_from(wanted) {
        Ok(0) => Ok(limits::PAGE_SIZE_USUAL),
        Ok(size) if size <= limits::PAGE_SIZE_MAX => Ok(size),
        Ok(_) | Err(_) => Err(FieldError::new(
            "page_size",
            format!("0 to {} expected, {wanted} found", limits::PAGE_SIZE_MAX),
        )),
    }
}

/// A page that is asked for: after which row, and how many rows. `K` is what names a row in the token.
#[derive(Clone, Debug)]
pub struct Asked<K> {
    /// The last row of the page before; none for the first page.
    pub after: Option<K>,
    /// Rows of a page.
    pub size: usize,
    search: String,
}

impl<K: FromStr> Asked<K> {
    /// Reads what a caller asks for; `search` says what is listed and with which filters, so that a token of another
    /// search is refused.
    ///
    /// # Errors
    /// The size is out of its limits; the token is not one of this search.
    pub fn read(size: i32, token: &str, search: String) -> Result<Self, Wrong> {
        let size = page_size(size)?;
        let after = match key(&search, token)? {
            None => None,
            Some(key) => Some(key.parse().map_err(|_| PageTokenError::Unreadable)?),
        };
        Ok(Self { after, size, search })
    }
}

impl<K: ToString> Asked<K> {
    /// How many rows to fetch: one more than a page holds shows that there are more.
    pub fn limit(&self) -> u64 {
        u64::try_from(self.size + 1).unwrap_or(u64::MAX)
    }
    /// The page, from the rows that were fetched; `key` names a row for the next page's token.
    pub fn cut<T>(&self, mut rows: Vec<T>, key: impl Fn(&T) -> K) -> Page<T> {
        let more = rows.len() > self.size;
        rows.truncate(self.size);
        let next = rows.last().filter(|_| more).map(|last| self.next(&key(last)));
        Page { rows, next }
    }
    /// The token of the page after a row.
    pub fn next(&self, last: &K) -> String {
        token(&self.search, &last.to_string())
    }
}

/// Why a page that is asked for is refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// Its size.
    Size(FieldError),
    /// Its token.
    Token(PageTokenError),
}
impl From<FieldError> for Wrong {
    fn from(error: FieldError) -> Self {
        Self::Size(error)
    }
}
impl From<PageTokenError> for Wrong {
    fn from(error: PageTokenError) -> Self {
        Self::Token(error)
    }
}

const VERSION: &str = "1";

/// Writes a token: the format's version, the search's fingerprint, the key of the last row.
/// It is opaque to callers; the fingerprint keeps it from being used with another search.
pub fn token(search: &str, last: &str) -> String {
    let plain = format!("{VERSION}.{:016x}.{last}", fingerprint(search));
    plain.bytes().map(|b| format!("{b:02x}")).collect()
}

/// Reads a token back for the same search; nothing for an empty one.
///
/// # Errors
/// [`PageTokenError`] when it is not ours or belongs to another search.
pub fn key(search: &str, token: &str) -> Result<Option<String>, PageTokenError> {
    if token.is_empty() {
        return Ok(None);
    }
    let bytes: Option<Vec<u8>> = (0..token.len())
        .step_by(2)
        .map(|at| token.get(at..at + 2).and_then(|pair| u8::from_str_radix(pair, 16).ok()))
        .collect();
    let plain = bytes.and_then(|b| String::from_utf8(b).ok()).ok_or(PageTokenError::Unreadable)?;
    let mut parts = plain.splitn(3, '.');
    match (parts.next(), parts.next(), parts.next()) {
        (Some(VERSION), Some(print), Some(last)) => {
            if print == format!("{:016x}", fingerprint(search)) {
                Ok(Some(last.to_string()))
            } else {
                Err(PageTokenError::OtherSearch)
            }
        }
        _ => Err(PageTokenError::Unreadable),
    }
}

/// Why a page token was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PageTokenError {
    /// Not a token of this server.
    #[error("a page token as the server gave it expected; leave it empty for the first page")]
    Unreadable,
    /// A token of another search.
    #[error("this page token belongs to another search; leave it empty, or ask the first search again")]
    OtherSearch,
}

/// FNV-1a, 64 bits: tells searches apart; no one gains by forging it.
fn fingerprint(text: &str) -> u64 {
    text.bytes()
        .fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn tokens_come_back(search in ".{0,60}", last in ".{0,60}") {
            prop_assert_eq!(key(&search, &token(&search, &last)), Ok(Some(last)));
        }
        #[test]
        fn other_searches_are_refused(a in "[a-z]{1,20}", b in "[a-z]{1,20}") {
            prop_assume!(a != b);
            prop_assert_eq!(key(&b, &token(&a, "x")), Err(PageTokenError::OtherSearch));
        }
        #[test]
        fn never_panics(text in ".{0,60}") {
            let _ = key("s", &text);
        }
    }

    #[test]
    fn fnv_1a_check_value() {
        // Fowler, Noll, Vo: published test vector of FNV-1a 64 for "a" (from memory).
        assert_eq!(fingerprint("a"), 0xaf63_dc4c_8601_ec8c);
    }
}
