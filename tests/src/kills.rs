//! When a server is killed: such that kills strike before a commit and after one, and a test knows that both happened.

use std::time::Duration;

/// Tries in all, before a test gives up on striking on both sides.
const TRIES: usize = 40;

/// Kills of one test.
#[derive(Debug)]
pub struct Kills {
    wait: Duration,
    least: usize,
    struck: usize,
    before: usize,
    after: usize,
}

impl Kills {
    /// At least so many; the first after so long.
    pub fn new(least: usize, first: Duration) -> Self {
        Self { wait: first, least, struck: 0, before: 0, after: 0 }
    }
    /// Whether another one is needed.
    pub fn go_on(&self) -> bool {
        self.struck < self.least || (self.before == 0 || self.after == 0) && self.struck < TRIES
    }
    /// How many there were.
    pub fn struck(&self) -> usize {
        self.struck
    }
    /// Waits until the next one.
    pub async fn wait(&self) {
        tokio::time::sleep(self.wait).await;
    }
    /// Notes what a kill hit: so many writes before their commit, so many after it. The next one comes later where all was
    /// before, and sooner where all was after.
    pub fn hit(&mut self, before: usize, after: usize) {
        self.struck += 1;
        self.before += before;
        self.after += after;
        if after == 0 {
            self.wait = self.wait * 2 + Duration::from_millis(3);
        } else if before == 0 {
            self.wait /= 3;
        } else {
            // about here, a little to either side
            self.wait = if self.struck.is_multiple_of(2) { self.wait * 5 / 4 } else { self.wait * 4 / 5 };
        }
    }
    /// Fails where kills did not strike on both sides.
    ///
    /// # Panics
    /// Then.
    pub fn check(&self) {
        assert!(self.before > 0, "no kill struck before a commit: {self:?}");
        assert!(self.after > 0, "no kill struck after a commit: {self:?}");
    }
}
