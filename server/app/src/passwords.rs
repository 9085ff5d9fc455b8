//! Hashing passwords: argon2id off the async threads, a bounded number at once, in buffers that are used
//! again. Each hash takes 19 MiB and a core for some 15 ms.

use std::sync::{Arc, Mutex, PoisonError};

use argon2::{
    Algorithm, Argon2, Block, Params, Version,
    password_hash::phc::{Output, PasswordHash, Salt},
};
use scionary_domain::account::Password;

use crate::{error::Error, ports::Entropy, turns::Turns};

/// OWASP's lowest setting for argon2id: 19 MiB, two passes, one lane.
const MEMORY_KIB: u32 = 19 * 1024;
const PASSES: u32 = 2;
const LANES: u32 = 1;
/// Callers that may wait for a slot.
const WAITING_MAX: usize = 64;

/// The hasher.
#[derive(Clone)]
pub struct Passwords {
    turns: Turns,
    buffers: Arc<Mutex<Vec<Vec<Block>>>>,
    entropy: Arc<dyn Entropy>,
    /// Checked against when an account does not exist, so that both answers take as long.
    dummy: Arc<str>,
}

fn params() -> Result<Params, String> {
    Params::new(MEMORY_KIB, PASSES, LANES, None).map_err(|e| e.to_string())
}

fn hash_with(memory: &mut Vec<Block>, password: &[u8], salt: &[u8]) -> Result<String, String> {
    let params = params()?;
    let mut out = [0; Params::DEFAULT_OUTPUT_LEN];
    memory.resize(params.block_count(), Block::new());
    let argon = Argon2::new(Algorithm::Argon2id, Version::V0x13, params.clone());
    argon
        .hash_password_into_with_memory(password, salt, &mut out, &mut memory[..])
        .map_err(|e| e.to_string())?;
    let hash = PasswordHash {
        algorithm: Algorithm::Argon2id.ident(),
        version: Some(Version::V0x13.into()),
        params: (&params).try_into().map_err(|e| format!("{e}"))?,
        salt: Some(Salt::new(salt).map_err(|e| e.to_string())?),
        hash: Some(Output::new(&out).map_err(|e| e.to_string())?),
    };
    Ok(hash.to_string())
}

fn verify_with(memory: &mut Vec<Block>, password: &[u8], stored: &str) -> Result<bool, String> {
    let parsed = PasswordHash::new(stored).map_err(|e| e.to_string())?;
    let (Some(salt), Some(wanted)) = (&parsed.salt, &parsed.hash) else {
        return Err("a stored hash is not whole".into());
    };
    let params = Params::try_from(&parsed).map_err(|e| e.to_string())?; // the stored ones, not today's
    let mut out = vec![0; wanted.len()];
    memory.resize(params.block_count().max(memory.len()), Block::new());
    let argon = Argon2::new(
        Algorithm::try_from(parsed.algorithm.as_str()).map_err(|e| e.to_string())?,
        Version::try_from(parsed.version.unwrap_or(0x13)).map_err(|e| e.to_string())?,
        params,
    );
    argon
        .hash_password_into_with_memory(password, salt.as_ref(), &mut out, &mut memory[..])
        .map_err(|e| e.to_string())?;
    Ok(Output::new(&out).map_err(|e| e.to_string())? == *wanted) // Output's == takes constant time
}

fn needs_rehash(stored: &str) -> bool {
    let today = params().ok();
    let then = PasswordHash::new(stored).ok().and_then(|h| Params::try_from(&h).ok());
    match (then, today) {
        (Some(then), Some(today)) => then.m_cost() < today.m_cost() || then.t_cost() < today.t_cost(),
        (None, _) | (_, None) => false,
    }
}

impl Passwords {
    /// A hasher with so many slots.
    ///
    /// # Errors
    /// When the first hash fails.
    pub fn new(slots: usize, entropy: Arc<dyn Entropy>) -> Result<Self, Error> {
        let mut memory = Vec::new();
        let salt = entropy.bytes()?;
        let dummy = hash_with(&mut memory, b"no one", &salt[..16]).map_err(Error::Internal)?;
        Ok(Self {
            turns: Turns::new(slots, WAITING_MAX),
            buffers: Arc::new(Mutex::new(vec![memory])),
            entropy,
            dummy: dummy.into(),
        })
    }

    async fn with_buffer<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Vec<Block>) -> Result<T, String> + Send + 'static,
    ) -> Result<T, Error> {
        let buffers = self.buffers.clone();
        let work = move || {
            let mut memory = buffers.lock().unwrap_or_else(PoisonError::into_inner).pop().unwrap_or_default();
            let result = work(&mut memory);
            buffers.lock().unwrap_or_else(PoisonError::into_inner).push(memory);
            result
        };
        self.turns.run(work).await?.map_err(Error::Internal)
    }

    /// Judges a new password, off the async threads and within the slots: the estimate of how easily it is
    /// guessed takes long for some. What was expected is the inner error.
    ///
    /// # Errors
    /// [`Error::Limited`] when too many wait.
    pub async fn judge(&self, text: String, own: Vec<String>) -> Result<Result<Password, String>, Error> {
        self.with_buffer(move |_| {
            let own: Vec<&str> = own.iter().map(String::as_str).collect();
            Ok(Password::new(&text, &own))
        })
        .await
    }

    /// The hash to store for a password.
    ///
    /// # Errors
    /// [`Error::Limited`] when too many wait.
    pub async fn hash(&self, password: Password) -> Result<String, Error> {
        let salt = self.entropy.bytes()?;
        self.with_buffer(move |memory| hash_with(memory, password.expose().as_bytes(), &salt[..16])).await
    }

    /// Whether a password belongs to a stored hash. Without one it takes as long and says no.
    ///
    /// # Errors
    /// [`Error::Limited`] when too many wait.
    pub async fn verify(&self, password: Password, stored: Option<String>) -> Result<Verdict, Error> {
        let dummy = self.dummy.clone();
        self.with_buffer(move |memory| {
            let known = stored.is_some();
            let hash = stored.as_deref().unwrap_or(&dummy);
            let right = verify_with(memory, password.expose().as_bytes(), hash)? && known;
            Ok(Verdict { right, outdated: right && needs_rehash(hash), password })
        })
        .await
    }
}

/// What checking a password gave.
pub struct Verdict {
    /// It is the right one.
    pub right: bool,
    /// Its hash was made with weaker settings than today's.
    pub outdated: bool,
    /// The password again, to hash it again.
    pub password: Password,
}

#[cfg(test)]
mod tests {
    use super::*;
    use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};

    #[test]
    fn agrees_with_the_library() {
        let mut memory = Vec::new();
        let library = Argon2::new(Algorithm::Argon2id, Version::V0x13, params().unwrap());
        let ours = hash_with(&mut memory, b"one two three", b"0123456789abcdef").unwrap();
        assert!(ours.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"));
        assert!(library.verify_password(b"one two three", &PasswordHash::new(&ours).unwrap()).is_ok());
        let theirs = library.hash_password(b"one two three").unwrap().to_string();
        assert!(verify_with(&mut memory, b"one two three", &theirs).unwrap());
        assert!(!verify_with(&mut memory, b"one two thre", &theirs).unwrap());
        assert!(!needs_rehash(&ours));
        let weak = Argon2::new(Algorithm::Argon2id, Version::V0x13, Params::new(1024, 1, 1, None).unwrap())
            .hash_password(b"x")
            .unwrap()
            .to_string();
        assert!(needs_rehash(&weak));
        assert!(verify_with(&mut memory, b"x", &weak).unwrap());
    }
}
