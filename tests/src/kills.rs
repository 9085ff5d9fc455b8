//! The timing of kills: some must strike before a commit and some after it, and a test checks that both happened.

use std::time::Duration;

/// Most kills before a test gives up striking on both sides.
const TRIES: usize = 40;

/// The kills of one test.
#[derive(Debug)]
pub struct Kills {
    wait: Duration,
    least: usize,
    struck: usize,
    before: usize,
    after: usize,
}

impl Kills {
    /// Plans at least `least` kills, the first after `first`.
    pub fn new(least: usize, first: Duration) -> Self {
        Self { wait: first, least, struck: 0, before: 0, after: 0 }
    }
    /// Returns whether another kill is needed.
    pub fn go_on(&self) -> bool {
        self.struck < self.least || (self.before == 0 || self.after == 0) && self.struck < TRIES
    }
    /// Returns the number of kills so far.
    pub fn struck(&self) -> usize {
        self.struck
    }
    /// Waits until the next kill.
    pub async fn wait(&self) {
        tokio::time::sleep(self.wait).await;
    }
    /// Records a kill: how many writes it hit before their commit, and how many after. The next kill is later if all
    /// were before, and earlier if all were after.
    pub fn hit(&mut self, before: usize, after: usize) {
        self.struck += 1;
        self.before += before;
        self.after += after;
        if after == 0 {
            self.wait = self.wait * 2 + Duration::from_millis(3);
        } else if before == 0 {
            self.wait /= 3;
        } else {
            // The time is right: vary it a little to either side.
            self.wait = if self.struck.is_multiple_of(2) { self.wait * 5 / 4 } else { self.wait * 4 / 5 };
        }
    }
    /// Checks that kills struck on both sides.
    ///
    /// # Panics
    /// Panics when all kills struck on one side.
    pub fn check(&self) {
        assert!(self.before > 0, "no kill struck before a commit: {self:?}");
        assert!(self.after > 0, "no kill struck after a commit: {self:?}");
    }
}
