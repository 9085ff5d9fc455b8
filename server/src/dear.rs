//! Work that takes long for what it is asked: it has a budget of its own for each address, runs beside the threads that
//! serve calls, and a bounded number of it at once, so that whoever asks for much of it holds up no one else.

use std::{
    collections::HashMap,
    hash::Hash,
    sync::{Arc, Mutex, PoisonError},
};

use scionary_app::turns::Turns;

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

/// Turns for dear work: one core is left to the other calls, where there is more than one.
pub fn turns() -> Turns {
    let cores = std::thread::available_parallelism().map_or(1, |n| n.get());
    Turns::new(cores.saturating_sub(1), WAITING_MAX)
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
        self.dear.run(work).await?
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

/// Places for each address, or whatever else asks, at something that lasts.
pub struct Places<K> {
    each: usize,
    taken: Taken<K>,
}

/// How many each holds.
type Taken<K> = Arc<Mutex<HashMap<K, usize>>>;

/// One of them; given back when it is dropped.
pub struct Place<K: Eq + Hash> {
    taken: Taken<K>,
    whose: K,
}

impl<K: Eq + Hash + Clone> Places<K> {
    /// So many for each.
    pub fn new(each: usize) -> Self {
        Self { each, taken: Arc::default() }
    }
    /// A place, unless all of theirs are taken.
    pub fn take(&self, whose: K) -> Option<Place<K>> {
        // a poisoned lock holds a map as good as any
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let count = taken.entry(whose.clone()).or_default();
        if *count >= self.each {
            return None;
        }
        *count += 1;
        Some(Place { taken: self.taken.clone(), whose })
    }
}

impl<K: Eq + Hash> Drop for Place<K> {
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
