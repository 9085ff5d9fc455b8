//! Work that takes long, off the threads that serve calls: so many at once, and so many that may wait.

use std::sync::Arc;

use tokio::sync::Semaphore;

use crate::error::Error;

/// Turns at such work.
#[derive(Clone, Debug)]
pub struct Turns {
    at_once: Arc<Semaphore>,
    waiting: Arc<Semaphore>,
}

impl Turns {
    /// So many at once, at least one, and so many that may wait.
    pub fn new(at_once: usize, waiting: usize) -> Self {
        Self { at_once: Arc::new(Semaphore::new(at_once.max(1))), waiting: Arc::new(Semaphore::new(waiting)) }
    }

    /// Does work in its turn. A caller who goes away while it waits gives the place back; work that has begun goes on.
    ///
    /// # Errors
    /// [`Error::Limited`]: too many wait. [`Error::Internal`]: the work panicked.
    pub async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Error> {
        let waiting = self.waiting.try_acquire().map_err(|_| Error::Limited { retry_after_seconds: 2 })?;
        let turn = self.at_once.clone().acquire_owned().await.map_err(|e| Error::Internal(e.to_string()))?;
        drop(waiting);
        let work = move || {
            let _turn = turn; // goes with the work: a dropped call does not stop the thread
            work()
        };
        tokio::task::spawn_blocking(work)
            .await
            .map_err(|e| Error::Internal(format!("the work broke off: {e}")))
    }
}
