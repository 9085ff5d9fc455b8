//! Runs writes. On SQLite one task takes jobs from a bounded queue and commits them in groups, each in its own
//! savepoint, so that a group costs one flush to disk. On PostgreSQL each job is its own short transaction. The
//! code of a job is the same for both.

use std::{future::Future, panic::AssertUnwindSafe, pin::Pin, sync::Arc};

use futures_util::FutureExt as _;
use scionary_domain::time::Timestamp;
use sea_orm::{
    ConnectionTrait as _, DatabaseConnection, DatabaseTransaction, SqliteTransactionMode, TransactionOptions,
    TransactionTrait,
};
use tokio::sync::{mpsc, oneshot};

use crate::{
    condition::Condition,
    connect::{Store, probe},
    error::StoreError,
    sqlite::{Place, is_out_of_transactions},
};

/// Maximum number of attempts of a job that collides with other writers.
const TRIES: u32 = 8;

/// A transaction. All write functions take one, so nothing can be written outside a job.
#[derive(Debug)]
pub struct Tx(pub(crate) DatabaseTransaction);

/// A unit of writing. A collision can make it run several times; only one run is committed.
pub trait Job: Send + Sync + 'static {
    /// Result of the job.
    type Out: Send + 'static;
    /// Error of the job.
    type Error: From<StoreError> + Send + 'static;
    /// Reads, decides and writes within the transaction.
    fn run(&self, tx: &Tx) -> impl Future<Output = Result<Self::Out, Self::Error>> + Send;
    /// Returns true if an error is a collision with other writers, so that a retry may succeed.
    fn is_collision(error: &Self::Error) -> bool;
}

#[derive(Clone, Debug)]
pub(crate) enum Writer {
    Grouped(mpsc::Sender<Message>),
    Direct(DatabaseConnection),
}

pub(crate) enum Message {
    Job(Box<dyn Queued>),
    /// Checks that a transaction can begin; with a time also that a write commits.
    Probe(Option<Timestamp>, oneshot::Sender<Result<(), StoreError>>),
    Finish(oneshot::Sender<()>),
}

impl std::fmt::Debug for Message {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Message")
    }
}

type Boxed<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// A queued job with its types erased.
pub(crate) trait Queued: Send {
    /// Returns true if the caller has stopped waiting.
    fn is_abandoned(&self) -> bool;
    /// Runs the job; returns true to keep its savepoint.
    fn run<'a>(&'a mut self, tx: &'a Tx) -> Boxed<'a, bool>;
    /// Sends the result to the caller. `group` is the result of the group commit. If that failed, the job's own
    /// result is void too, because the job may have read what others of the group wrote.
    fn finish(self: Box<Self>, group: Result<(), StoreError>);
}

struct InQueue<J: Job> {
    job: Arc<J>,
    reply: oneshot::Sender<Result<J::Out, J::Error>>,
    result: Option<Result<J::Out, J::Error>>,
}

impl<J: Job> Queued for InQueue<J> {
    fn is_abandoned(&self) -> bool {
        self.reply.is_closed()
    }
    fn run<'a>(&'a mut self, tx: &'a Tx) -> Boxed<'a, bool> {
        Box::pin(async move {
            // A panic in one job must not stop the others.
            let outcome = AssertUnwindSafe(self.job.run(tx)).catch_unwind().await;
            let result = outcome.unwrap_or_else(|_| {
                tracing::error!("a write panicked; it was rolled back");
                Err(StoreError::Refused("the write panicked".into()).into())
            });
            let keep = result.is_ok();
            self.result = Some(result);
            keep
        })
    }
    fn finish(self: Box<Self>, group: Result<(), StoreError>) {
        let Self { job: _, reply, result } = *self;
        let answer = match (group, result) {
            (Err(error), _) => Err(error.into()),
            (Ok(()), Some(answer)) => answer,
            (Ok(()), None) => Err(StoreError::Unavailable("the write did not run".into()).into()),
        };
        let _ = reply.send(answer);
    }
}

impl Writer {
    pub(crate) fn grouped(
        place: Place,
        first: DatabaseConnection,
        condition: Condition,
        queue: usize,
        group: usize,
    ) -> Self {
        let (sender, receiver) = mpsc::channel(queue.max(1));
        condition.expects(place.files());
        let writer = GroupWriter { place, connection: Some(first), condition };
        tokio::spawn(writer.run(receiver, group.max(1)));
        Self::Grouped(sender)
    }
    pub(crate) fn direct(db: DatabaseConnection) -> Self {
        Self::Direct(db)
    }
    pub(crate) async fn probe(&self, write: Option<Timestamp>) -> Result<(), StoreError> {
        match self {
            Self::Grouped(queue) => {
                let (done, answer) = oneshot::channel();
                let stopped = |_| StoreError::Unavailable("the writer stopped".into());
                queue.send(Message::Probe(write, done)).await.map_err(|_| stopped(()))?;
                answer.await.map_err(|_| stopped(()))?
            }
            // Each write has its own transaction, so no writer can be stuck.
            Self::Direct(_) => Ok(()),
        }
    }
    pub(crate) async fn finish(&self) {
        if let Self::Grouped(sender) = self {
            let (done, wait) = oneshot::channel();
            if sender.send(Message::Finish(done)).await.is_ok() {
                let _ = wait.await;
            }
        }
    }
}

impl Store {
    /// Runs a job in a transaction and waits for the commit.
    ///
    /// # Errors
    /// Returns the job's own error, or [`StoreError`] when the store is busy or unavailable.
    pub async fn write<J: Job>(&self, job: J) -> Result<J::Out, J::Error> {
        let job = Arc::new(job);
        match self.writer() {
            Writer::Grouped(queue) => {
                let (reply, answer) = oneshot::channel();
                let queued = InQueue { job, reply, result: None };
                queue.try_send(Message::Job(Box::new(queued))).map_err(|_| StoreError::Busy)?;
                answer
                    .await
                    .unwrap_or_else(|_| Err(StoreError::Unavailable("the writer stopped".into()).into()))
            }
            Writer::Direct(db) => {
                // Detached, so that a caller who stops waiting does not interrupt a commit.
                let (db, condition) = (db.clone(), self.condition().clone());
                let run = tokio::spawn(async move { in_own_transaction(&db, &condition, &*job).await });
                run.await.unwrap_or_else(|_| {
                    tracing::error!("a write panicked; it was rolled back");
                    Err(StoreError::Refused("the write panicked".into()).into())
                })
            }
        }
    }
}

async fn in_own_transaction<J: Job>(
    db: &DatabaseConnection,
    condition: &Condition,
    job: &J,
) -> Result<J::Out, J::Error> {
    let noted = |error| condition.note(StoreError::from(error));
    let mut tries = 0;
    loop {
        tries += 1;
        let attempt = async {
            let tx = Tx(db.begin().await.map_err(noted)?);
            let out = job.run(&tx).await?;
            tx.0.commit().await.map_err(noted)?;
            Ok(out)
        };
        match attempt.await {
            Err(error) if tries < TRIES && J::is_collision(&error) => {
                tokio::time::sleep(std::time::Duration::from_millis(2 << tries)).await;
            }
            outcome => return outcome,
        }
    }
}

/// Time limit for closing a failed connection. A connection that still holds the lock would block the next one.
const TO_CLOSE: std::time::Duration = std::time::Duration::from_secs(5);

/// The one task that writes to an SQLite file.
struct GroupWriter {
    place: Place,
    /// `None` after a failure that leaves the state of the connection uncertain: SQLite rolls back some
    /// failures itself, and the library then still counts a transaction.
    connection: Option<DatabaseConnection>,
    condition: Condition,
}

impl GroupWriter {
    async fn run(mut self, mut queue: mpsc::Receiver<Message>, group: usize) {
        while let Some(first) = queue.recv().await {
            let (mut jobs, mut probes, mut finished) = (Vec::new(), Vec::new(), None);
            let mut next = Some(first);
            while let Some(message) = next {
                match message {
                    Message::Job(job) => jobs.push(job),
                    Message::Probe(write, done) => probes.push((write, done)),
                    Message::Finish(done) => finished = Some(done),
                }
                let full = jobs.len() >= group || finished.is_some();
                next = if full { None } else { queue.try_recv().ok() };
            }
            self.write_group(jobs).await;
            for (write, done) in probes {
                let looked = self.look(write).await;
                let _ = done.send(self.settle(looked).await);
            }
            if let Some(done) = finished {
                queue.close();
                if let Some(db) = self.connection.take() {
                    let _ = db.close().await;
                }
                let _ = done.send(());
            }
        }
    }

    async fn write_group(&mut self, mut jobs: Vec<Box<dyn Queued>>) {
        jobs.retain(|job| !job.is_abandoned());
        if jobs.is_empty() {
            return;
        }
        let done = self.transact(&mut jobs).await;
        let done = self.settle(done).await;
        for job in jobs {
            job.finish(done.clone());
        }
    }

    /// Runs jobs in one transaction, each in a savepoint. Succeeds only after SQLite has committed.
    async fn transact(&mut self, jobs: &mut [Box<dyn Queued>]) -> Result<(), StoreError> {
        let db = self.connected().await?;
        let outer = db.begin_with_options(immediate()).await?;
        for job in jobs {
            let tx = Tx(outer.begin().await?);
            let keep = job.run(&tx).await;
            if keep { tx.0.commit().await? } else { tx.0.rollback().await? }
        }
        outer.commit().await?;
        is_out_of_transactions(&db).await?;
        if !self.condition.files().are_all() {
            self.condition.expects(self.place.files());
        }
        self.condition.files().look()
    }

    async fn look(&mut self, write: Option<Timestamp>) -> Result<(), StoreError> {
        let db = self.connected().await?;
        match write {
            Some(now) => probe(&db, now).await?,
            None => db.begin_with_options(immediate()).await?.rollback().await?,
        }
        is_out_of_transactions(&db).await?;
        self.condition.files().look()
    }

    /// Returns the connection, or opens one after checking that the files are still those opened first.
    async fn connected(&mut self) -> Result<DatabaseConnection, StoreError> {
        let files = self.condition.files();
        files.look()?;
        if let Some(db) = &self.connection {
            return Ok(db.clone());
        }
        let db = self.place.connect(1, false).await?;
        files.look()?;
        self.connection = Some(db.clone());
        self.condition.expects(self.place.files());
        Ok(db)
    }

    /// Records a failure and drops the connection, which may still be in a transaction. If a file is missing,
    /// the connection stays, because it may be the only access to acknowledged writes.
    async fn settle(&mut self, done: Result<(), StoreError>) -> Result<(), StoreError> {
        let Err(error) = done else { return Ok(()) };
        let error = self.condition.note(error);
        tracing::error!(%error, "a group of writes was not committed");
        if matches!(error, StoreError::Sick(crate::Ailment::Moved, _)) {
            if let Some(db) = &self.connection {
                // Moves acknowledged writes into the database file, because the missing file may be the log.
                let _ = db.execute_unprepared("ROLLBACK").await;
                let _ = db.execute_unprepared("PRAGMA wal_checkpoint(FULL)").await;
            }
        } else if let Some(db) = self.connection.take() {
            // SQLite deletes the log with the last connection and creates it with the next.
            self.condition.expects(self.condition.files().first());
            if tokio::time::timeout(TO_CLOSE, db.close()).await.is_err() {
                tracing::error!("a connection that failed does not close");
            }
        }
        Err(error)
    }
}

fn immediate() -> TransactionOptions {
    TransactionOptions {
        sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
        ..Default::default()
    }
}
