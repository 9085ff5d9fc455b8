//! The inbox: notices listed, read, watched.

use std::time::Duration;

use scionary_domain::{
    account::Actor,
    field::FieldError,
    ids::{AccountId, SessionId},
    limits,
    notice::Notice,
    page::{self, Page},
};
use scionary_store::{account_store, notice_store};
use tokio::sync::broadcast::error::RecvError;

use crate::{App, Call, Done, Error, Rule, UseCase, Write};

/// Notices sent at once while catching up.
const BATCH: u64 = 100;
/// Numbers are handed out before a transaction commits: so many before the last one are looked at again.
const LOOK_BACK: i64 = 200;

/// Marks notices up to a number as read.
pub struct MarkRead {
    /// The number.
    pub up_to: i64,
}

impl UseCase for MarkRead {
    /// How many are left unread.
    type Out = u64;
    async fn run(&self, write: &Write<'_>) -> Result<Done<u64>, Error> {
        let account = write.call.account()?;
        if self.up_to < 1 {
            return Err(FieldError::new("up_to", "the number of a notice expected").into());
        }
        notice_store::mark_read(write.tx, account.id, self.up_to, write.call.now).await?;
        Ok(Done::quiet(notice_store::count_unread(write.tx, account.id).await?))
    }
}

/// A watcher looks so often even where nothing woke it.
const LOOK_ANYWAY: Duration = Duration::from_secs(15);

/// A watch on an inbox.
pub struct Watch {
    app: App,
    account: AccountId,
    session: SessionId,
    /// All up to here were sent, or were there before the watch began.
    last: i64,
    sent: std::collections::BTreeSet<i64>,
    woken: tokio::sync::broadcast::Receiver<AccountId>,
}

impl Drop for Watch {
    fn drop(&mut self) {
        let mut watches = self.app.watches();
        if let Some(count) = watches.get_mut(&self.account) {
            *count = count.saturating_sub(1);
            if *count == 0 {
                watches.remove(&self.account);
            }
        }
    }
}

impl Watch {
    /// Notices that came since; waits until there are some.
    ///
    /// # Errors
    /// The session is over; the store's.
    pub async fn next(&mut self) -> Result<Vec<Notice>, Error> {
        loop {
            let from = (self.last - LOOK_BACK).max(0);
            let reader = self.app.store().reader();
            if !account_store::session_is_good(reader, self.session, self.app.clock().now()).await? {
                return Err(Error::SignInNeeded);
            }
            let mut fresh =
                notice_store::after(reader, self.account, from, BATCH + LOOK_BACK.unsigned_abs()).await?;
            fresh.retain(|n| !self.sent.contains(&n.seq));
            if !fresh.is_empty() {
                self.sent.extend(fresh.iter().map(|n| n.seq));
                self.last = fresh.iter().map(|n| n.seq).fold(self.last, i64::max);
                let keep = self.last - LOOK_BACK;
                self.sent = self.sent.split_off(&keep);
                return Ok(fresh);
            }
            loop {
                match tokio::time::timeout(LOOK_ANYWAY, self.woken.recv()).await {
                    Ok(Ok(id)) if id != self.account => {}
                    Err(_) | Ok(Ok(_) | Err(RecvError::Lagged(_))) => break,
                    Ok(Err(RecvError::Closed)) => {
                        return Err(Error::Internal("the server stops".into()));
                    }
                }
            }
        }
    }
}

impl App {
    /// A page of the caller's notices, newest first, and how many are unread.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn notices(
        &self,
        call: &Call,
        unread_only: bool,
        page_size: i32,
        token: &str,
    ) -> Result<(Page<Notice>, u64), Error> {
        let account = call.account()?;
        let asked =
            page::Asked::<i64>::read(page_size, token, format!("notices {} {unread_only}", account.id))?;
        let reader = self.store().reader();
        let rows = notice_store::list(reader, account.id, unread_only, asked.after, asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |last| last.seq);
        let unread = notice_store::count_unread(reader, account.id).await?;
        Ok((Page { rows, next }, unread))
    }

    /// Watches the caller's inbox from after a number; from now on where that is 0.
    ///
    /// # Errors
    /// Too many watches; the store's.
    pub async fn watch_notices(&self, call: &Call, after: i64) -> Result<Watch, Error> {
        let Actor::Member { account, session, .. } = &call.actor else {
            return Err(Error::SignInNeeded);
        };
        let session = *session;
        if after < 0 {
            return Err(FieldError::new("after", "0 or the number of a notice expected").into());
        }
        let woken = self.woken();
        let reader = self.store().reader();
        let known = match after {
            0 => notice_store::list(reader, account.id, false, None, LOOK_BACK.unsigned_abs()).await?,
            _ => {
                let mut some =
                    notice_store::after(reader, account.id, after - LOOK_BACK, LOOK_BACK.unsigned_abs())
                        .await?;
                some.retain(|n| n.seq <= after);
                some
            }
        };
        let last = known.iter().map(|n| n.seq).fold(after, i64::max);
        // what was there when the watch begins, or stopped, is not sent
        let sent = known.into_iter().map(|n| n.seq).collect();
        let mut watches = self.watches();
        let count = watches.entry(account.id).or_default();
        if *count >= limits::WATCHES_EACH_MAX {
            return Err(Rule::TooManyWatches(limits::WATCHES_EACH_MAX).into());
        }
        *count += 1;
        drop(watches);
        Ok(Watch { app: self.clone(), account: account.id, session, last, sent, woken })
    }
}

/// Forgets what was read long ago.
pub(crate) async fn forget(write: &Write<'_>) -> Result<u64, Error> {
    let before = write.call.now.plus_days(-limits::NOTICES_KEPT_DAYS);
    Ok(notice_store::forget_read(write.tx, before).await?)
}
