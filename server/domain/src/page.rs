//! Keyset pagination: a page token names the last row seen and the search to which it belongs.

use std::str::FromStr;

use crate::{field::FieldError, limits};

/// One page of rows, with the token of the next page.
#[derive(Clone, Debug, PartialEq)]
pub struct Page<T> {
    /// Rows of the page, in the order of the search.
    pub rows: Vec<T>,
    /// Token of the next page; `None` on the last page.
    pub next: Option<String>,
}

impl<T> Page<T> {
    /// Returns the same page with each row converted.
    pub fn map<U>(self, change: impl FnMut(T) -> U) -> Page<U> {
        Page { rows: self.rows.into_iter().map(change).collect(), next: self.next }
    }
}

/// Returns the page size to use; 0 stands for the default size.
///
/// # Errors
/// Returns a [`FieldError`] for a negative size or one over [`limits::PAGE_SIZE_MAX`].
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

/// A request for a page. `K` is the key that names a row in the token.
#[derive(Clone, Debug)]
pub struct Asked<K> {
    /// Key of the last row of the previous page; `None` for the first page.
    pub after: Option<K>,
    /// Maximum number of rows on the page.
    pub size: usize,
    search: String,
}

impl<K: FromStr> Asked<K> {
    /// Reads a page request. `search` describes the list and its filters, so that a token of another search is
    /// refused.
    ///
    /// # Errors
    /// Returns [`Wrong`] when the size is out of range or the token does not belong to this search.
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
    /// Returns the number of rows to fetch: one more than the page holds, to see whether a next page exists.
    pub fn limit(&self) -> u64 {
        u64::try_from(self.size + 1).unwrap_or(u64::MAX)
    }
    /// Cuts the fetched rows to one page; `key` names the last row for the next page's token.
    pub fn cut<T>(&self, mut rows: Vec<T>, key: impl Fn(&T) -> K) -> Page<T> {
        let more = rows.len() > self.size;
        rows.truncate(self.size);
        let next = rows.last().filter(|_| more).map(|last| self.next(&key(last)));
        Page { rows, next }
    }
    /// Returns the token of the page after a row.
    pub fn next(&self, last: &K) -> String {
        token(&self.search, &last.to_string())
    }
}

/// Why a page request was refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// The page size is out of range.
    Size(FieldError),
    /// The token is unreadable or belongs to another search.
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

/// Encodes a token in hex: format version, fingerprint of the search, key of the last row. Callers treat it as
/// opaque; the fingerprint stops its use with another search.
pub fn token(search: &str, last: &str) -> String {
    let plain = format!("{VERSION}.{:016x}.{last}", fingerprint(search));
    plain.bytes().map(|b| format!("{b:02x}")).collect()
}

/// Returns the row key in a token of the same search; `None` for an empty token.
///
/// # Errors
/// Returns [`PageTokenError`] for a token that this server did not write or that belongs to another search.
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
    /// The text is not a token of this server.
    #[error("a page token as the server gave it expected; leave it empty for the first page")]
    Unreadable,
    /// The token belongs to another search.
    #[error("this page token belongs to another search; leave it empty, or ask the first search again")]
    OtherSearch,
}

/// 64-bit FNV-1a hash. It only tells searches apart; forging it gains nothing.
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
        // Test vector of FNV-1a 64 for "a", published by Fowler, Noll, Vo (from memory).
        assert_eq!(fingerprint("a"), 0xaf63_dc4c_8601_ec8c);
    }
}
