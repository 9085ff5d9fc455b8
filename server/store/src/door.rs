//! The door for writes. On SQLite one task takes jobs from a bounded queue and commits them in groups, a
//! savepoint each, so that durability costs one flush a group. On PostgreSQL each job is its own short
//! transaction. The job's code is the same for both.

use std::{future::Future, panic::AssertUnwindSafe, pin::Pin, sync::Arc};

use futures_util::FutureExt as _;
use sea_orm::{
    DatabaseConnection, DatabaseTransaction, SqliteTransactionMode, TransactionOptions, TransactionTrait,
};
use tokio::sync::{mpsc, oneshot};

use crate::{connect::Store, error::StoreError};

/// How often a job is tried when writers meet.
const TRIES: u32 = 8;

/// A transaction: the only thing that write functions take.
#[derive(Debug)]
pub struct Tx(pub(crate) DatabaseTransaction);

/// Something to write. It may run more than once, when writers meet; only one run counts.
pub trait Job: Send + Sync + 'static {
    /// What it gives back.
    type Out: Send + 'static;
    /// How it fails.
    type Error: From<StoreError> + Send + 'static;
    /// Reads, decides, writes.
    fn run(&self, tx: &Tx) -> impl Future<Output = Result<Self::Out, Self::Error>> + Send;
    /// Whether a failure is worth another try.
    fn is_collision(error: &Self::Error) -> bool;
}

#[derive(Clone, Debug)]
pub(crate) enum Writer {
    Grouped(mpsc::Sender<Message>),
    Direct(DatabaseConnection),
}

pub(crate) enum Message {
    Job(Box<dyn Queued>),
    Finish(oneshot::Sender<()>),
}

impl std::fmt::Debug for Message {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Message")
    }
}

type Boxed<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// A job in the queue, its types hidden.
pub(crate) trait Queued: Send {
    /// Whether the caller has gone.
    fn is_abandoned(&self) -> bool;
    /// Runs it; true if its savepoint shall be kept.
    fn run<'a>(&'a mut self, tx: &'a Tx) -> Boxed<'a, bool>;
    /// It was not kept after all.
    fn undo(&mut self);
    /// Tells the caller how it ended. `committed` is false when the group's commit failed.
    fn finish(self: Box<Self>, committed: bool);
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
            // a panic in one job must not take the others down
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
    fn undo(&mut self) {
        self.result = None;
    }
    fn finish(self: Box<Self>, committed: bool) {
        let Self { job: _, reply, result } = *self;
        let answer = match result {
            Some(Ok(_)) if !committed => {
                Err(StoreError::Unavailable("the write could not be committed".into()).into())
            }
            Some(answer) => answer,
            None => Err(StoreError::Unavailable("the write did not run".into()).into()),
        };
        let _ = reply.send(answer);
    }
}

impl Writer {
    pub(crate) fn grouped(db: DatabaseConnection, queue: usize, group: usize) -> Self {
        let (sender, receiver) = mpsc::channel(queue.max(1));
        tokio::spawn(write_in_groups(db, receiver, group.max(1)));
        Self::Grouped(sender)
    }
    pub(crate) fn direct(db: DatabaseConnection) -> Self {
        Self::Direct(db)
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
    /// Runs a job in a transaction and waits until it is committed.
    ///
    /// # Errors
    /// The job's own, or the store's: busy, unavailable.
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
                // detached, so that a caller who gives up does not stop a commit half way
                let db = db.clone();
                let run = tokio::spawn(async move { in_own_transaction(&db, &*job).await });
                run.await.unwrap_or_else(|_| {
                    tracing::error!("a write panicked; it was rolled back");
                    Err(StoreError::Refused("the write panicked".into()).into())
                })
            }
        }
    }
}

async fn in_own_transaction<J: Job>(db: &DatabaseConnection, job: &J) -> Result<J::Out, J::Error> {
    let mut tries = 0;
    loop {
        tries += 1;
        let attempt = async {
            let tx = Tx(db.begin().await.map_err(StoreError::from)?);
            let out = job.run(&tx).await?;
            tx.0.commit().await.map_err(StoreError::from)?;
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

async fn write_in_groups(db: DatabaseConnection, mut queue: mpsc::Receiver<Message>, group: usize) {
    while let Some(first) = queue.recv().await {
        let mut jobs = Vec::new();
        let mut finished = None;
        match first {
            Message::Job(job) => jobs.push(job),
            Message::Finish(done) => finished = Some(done),
        }
        while jobs.len() < group && finished.is_none() {
            match queue.try_recv() {
                Ok(Message::Job(job)) => jobs.push(job),
                Ok(Message::Finish(done)) => finished = Some(done),
                Err(_) => break,
            }
        }
        write_group(&db, jobs).await;
        if let Some(done) = finished {
            queue.close();
            let _ = done.send(());
        }
    }
}

async fn write_group(db: &DatabaseConnection, jobs: Vec<Box<dyn Queued>>) {
    let mut jobs: Vec<Box<dyn Queued>> = jobs.into_iter().filter(|job| !job.is_abandoned()).collect();
    if jobs.is_empty() {
        return;
    }
    let immediate = TransactionOptions {
        sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
        ..Default::default()
    };
    let committed = match db.begin_with_options(immediate).await {
        Ok(outer) => {
            for job in &mut jobs {
                match outer.begin().await {
                    Ok(savepoint) => {
                        let tx = Tx(savepoint);
                        let keep = job.run(&tx).await;
                        let ended = if keep { tx.0.commit().await } else { tx.0.rollback().await };
                        if let Err(error) = ended {
                            tracing::error!(%error, "a savepoint could not be ended");
                            job.undo();
                        }
                    }
                    Err(error) => tracing::error!(%error, "a savepoint could not be made"),
                }
            }
            match outer.commit().await {
                Ok(()) => true,
                Err(error) => {
                    tracing::error!(%error, "a group of writes could not be committed");
                    false
                }
            }
        }
        Err(error) => {
            tracing::error!(%error, "a transaction could not be begun");
            false
        }
    };
    for job in jobs {
        job.finish(committed);
    }
}
