//! Work that takes long for what it is asked: it has a budget of its own for each address, runs beside the threads that
//! serve calls, and a bounded number of it at once, so that whoever asks for much of it holds up nobody else.

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, PoisonError},
};

use scionary_app::Error;
use tokio::sync::Semaphore;

use crate::{
    call::Admitted,
    policy::Rate,
    site::Site,
    status::{Failure, Refusal},
};

/// Calls that may wait for their turn.
const WAITING_MAX: usize = 32;
/// Names of so many letters, once folded, are compared at once; longer ones are dear. (No cultivar on file has so many.)
pub const SHORT_NAME: usize = 60;

/// Turns for dear work.
pub struct Dear {
    turns: Arc<Semaphore>,
    waiting: Semaphore,
}

impl Default for Dear {
    fn default() -> Self {
        // one core is left to the other calls, where there is more than one
        let cores = std::thread::available_parallelism().map_or(1, |n| n.get());
        Self {
            turns: Arc::new(Semaphore::new(cores.saturating_sub(1).max(1))),
            waiting: Semaphore::new(WAITING_MAX),
        }
    }
}

impl Site {
    /// Does dear work for a call, in its turn.
    ///
    /// # Errors
    /// The address asked for too much of it; too many wait.
    pub async fn dearly<T: Send + 'static>(
        &self,
        call: &Admitted,
        work: impl FnOnce() -> Result<T, Failure> + Send + 'static,
    ) -> Result<T, Failure> {
        self.throttle.call(Rate::Dear, call.address()).map_err(Refusal::TooMany)?;
        let busy = Error::Limited { retry_after_seconds: 2 };
        let Ok(waiting) = self.dear.waiting.try_acquire() else { return Err(busy.into()) };
        let turn = self.dear.turns.clone().acquire_owned().await;
        let turn = turn.map_err(|e| Error::Internal(e.to_string()))?;
        drop(waiting);
        let work = move || {
            let _turn = turn; // goes with the work: a caller who has gone does not stop the thread
            work()
        };
        let done = tokio::task::spawn_blocking(work).await;
        done.map_err(|e| Error::Internal(format!("dear work broke off: {e}")))?
    }

    /// The same for work on a name that was typed: short ones are compared at once.
    ///
    /// # Errors
    /// Those of [`Site::dearly`].
    pub async fn by_name<T: Send + 'static>(
        &self,
        call: &Admitted,
        typed: &str,
        work: impl FnOnce() -> Result<T, Failure> + Send + 'static,
    ) -> Result<T, Failure> {
        // what folds to many letters has at least so many bytes, or such letters
        if typed.len() <= SHORT_NAME && scionary_domain::names::Folded::new(typed).joined.len() <= SHORT_NAME
        {
            work()
        } else {
            self.dearly(call, work).await
        }
    }
}

/// Places for each address at something that lasts.
pub struct Places {
    each: usize,
    taken: Arc<Mutex<HashMap<String, usize>>>,
}

/// One of them; given back when it is dropped.
pub struct Place {
    taken: Arc<Mutex<HashMap<String, usize>>>,
    whose: String,
}

impl Places {
    /// So many for each.
    pub fn new(each: usize) -> Self {
        Self { each, taken: Arc::default() }
    }
    /// A place, unless all of theirs are taken.
    pub fn take(&self, whose: &str) -> Option<Place> {
        // a poisoned lock holds a map as good as any
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let count = taken.entry(whose.to_string()).or_default();
        if *count >= self.each {
            return None;
        }
        *count += 1;
        Some(Place { taken: self.taken.clone(), whose: whose.to_string() })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = taken.get_mut(&self.whose) {
            *count -= 1;
            if *count == 0 {
                taken.remove(&self.whose);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_given_back() {
        let places = Places::new(2);
        let (one, two) = (places.take("a"), places.take("a"));
        assert!(one.is_some() && two.is_some() && places.take("a").is_none() && places.take("b").is_some());
        drop(one);
        assert!(places.take("a").is_some());
        drop(two);
        assert_eq!(places.taken.lock().unwrap().len(), 0);
    }
}
