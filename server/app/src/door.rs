//! The one door for writes. In one transaction it looks up the idempotency key, runs the use case, appends
//! audit and outbox rows, and keeps the reply under the key.

use std::{
    future::Future,
    pin::Pin,
    sync::atomic::{AtomicU32, Ordering},
};

use scionary_domain::{
    ids::{AccountId, RequestId},
    notice::{self, NewNotice},
};
use scionary_store::{AuditRow, Job, Kept, OutboxRow, Source, StoreError, Tx, notice_store, record_store};
use uuid::Uuid;

use crate::{App, call::Call, day::Seeded, error::Error, ports};

/// The outbox topic of notices: whose inbox has something new.
pub const NOTICE_TOPIC: &str = "notice";

/// What a use case did.
#[derive(Debug)]
pub struct Done<T> {
    /// What the caller gets.
    pub out: T,
    /// What changed, for the audit log. Empty only where nothing changed, or only old rows were forgotten.
    pub audit: Vec<AuditRow>,
    /// What others may want to follow.
    pub events: Vec<OutboxRow>,
    /// Who is notified of it.
    pub notices: Vec<NewNotice>,
}

impl<T> Done<T> {
    /// One thing changed. `change` is JSON without secrets.
    pub fn new(out: T, action: &'static str, subject: impl ToString, change: serde_json::Value) -> Self {
        let row = AuditRow { action, subject: subject.to_string(), change: change.to_string() };
        Self { audit: vec![row], ..Self::quiet(out) }
    }
    /// The same with something for the caller.
    pub fn with<U>(self, out: U) -> Done<U> {
        Done { out, audit: self.audit, events: self.events, notices: self.notices }
    }
    /// Nothing changed that others could want to know of.
    pub fn quiet(out: T) -> Self {
        Self { out, audit: Vec::new(), events: Vec::new(), notices: Vec::new() }
    }
    /// And someone is notified of it; the same kind of thing about the same subject once for each `once`.
    pub fn and_tell(
        mut self,
        to: AccountId,
        kind: notice::Kind,
        subject: impl ToString,
        once: impl ToString,
        words: String,
    ) -> Self {
        let (subject, once) = (subject.to_string(), once.to_string());
        self.notices.push(NewNotice { to, kind, subject, once, words });
        self
    }
    /// And others may want to follow it.
    pub fn and_publish(mut self, topic: &'static str, subject: impl ToString) -> Self {
        self.events.push(OutboxRow { topic, subject: subject.to_string() });
        self
    }
}

/// What a use case works with.
pub struct Write<'a> {
    /// The transaction.
    pub tx: &'a Tx,
    /// The call.
    pub call: &'a Call,
    /// The application.
    pub app: &'a App,
    /// How many UUIDs this run has made.
    made: AtomicU32,
    /// Where ids and codes come from, if they follow from a seed.
    seeded: Option<Seeded>,
}

impl Write<'_> {
    /// A new UUID, above all that this run has made.
    ///
    /// # Errors
    /// When there is no randomness.
    pub fn new_uuid(&self) -> Result<Uuid, Error> {
        let at = self.call.day.as_ref().map_or(self.call.now, |day| day.step.at);
        Ok(ports::nth_uuid(self.entropy(), at, self.made.fetch_add(1, Ordering::Relaxed))?)
    }
    /// Where its ids and codes come from: of a step of a swap day, they follow from its seed.
    pub fn entropy(&self) -> &dyn ports::Entropy {
        match &self.seeded {
            Some(seeded) => seeded,
            None => self.app.entropy(),
        }
    }
}

impl Write<'_> {
    /// Writes notices, and wakes those who watch for them.
    ///
    /// # Errors
    /// The store's.
    pub async fn tell(&self, notices: &[NewNotice]) -> Result<(), Error> {
        let told = notice_store::insert(self.tx, notices, self.call.now).await?;
        let events =
            told.iter().map(|to| OutboxRow { topic: NOTICE_TOPIC, subject: to.to_string() }).collect();
        Ok(record_store::publish(self.tx, events, self.call.now).await?)
    }
}

/// Something that changes the database. It may run more than once when writers meet; only one run counts.
pub trait UseCase: Send + Sync + 'static {
    /// What it gives back.
    type Out: Send + 'static;
    /// Loads, decides, writes.
    fn run(&self, write: &Write<'_>) -> impl Future<Output = Result<Done<Self::Out>, Error>> + Send;
}

/// Whether the reply may be kept for a repeat of the call.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KeepReply {
    /// Yes.
    Yes,
    /// No: it holds a secret that is shown once.
    Secret,
}

/// A use case and how its reply is written, their types forgotten: the door is compiled once, and not once for each of
/// them.
trait Erased: Send + Sync {
    /// Runs it; what came out is the encoded reply.
    fn run<'a>(&'a self, write: &'a Write<'a>) -> Running<'a>;
}

type Running<'a> = Pin<Box<dyn Future<Output = Result<Done<Vec<u8>>, Error>> + Send + 'a>>;

struct Encoding<U, E> {
    use_case: U,
    encode: E,
}

impl<U, E> Erased for Encoding<U, E>
where
    U: UseCase,
    E: Fn(&U::Out) -> Vec<u8> + Send + Sync,
{
    fn run<'a>(&'a self, write: &'a Write<'a>) -> Running<'a> {
        Box::pin(async move {
            let done = self.use_case.run(write).await?;
            let reply = (self.encode)(&done.out);
            Ok(done.with(reply))
        })
    }
}

struct AtTheDoor {
    app: App,
    call: Call,
    work: Box<dyn Erased>,
    keep: KeepReply,
}

impl Job for AtTheDoor {
    type Out = Vec<u8>;
    type Error = Error;

    async fn run(&self, tx: &Tx) -> Result<Vec<u8>, Error> {
        let scope = self.call.key_scope();
        if let Some(reply) = first_reply(tx, &self.call).await? {
            return Ok(reply);
        }
        let seeded = Seeded::of(self.call.day.as_ref());
        let write = Write { tx, call: &self.call, app: &self.app, made: AtomicU32::new(0), seeded };
        let Done { out: reply, audit, events, notices } = self.work.run(&write).await?;
        let now = self.call.now;
        write.tell(&notices).await?;
        // who did it stands in the log: an organiser who acts for a member, and for whom
        let actor = self.call.entered_by.or(self.call.actor.id());
        let audit = match (self.call.entered_by, self.call.actor.id()) {
            (Some(_), Some(member)) => audit.into_iter().map(|row| on_behalf(row, member)).collect(),
            (_, _) => audit,
        };
        record_store::audit(tx, actor, self.call.request, audit, now).await?;
        record_store::publish(tx, events, now).await?;
        if let Some(key) = &self.call.key {
            let kept = Kept {
                rpc: key.rpc.into(),
                fingerprint: key.fingerprint.to_vec(),
                reply: (self.keep == KeepReply::Yes).then(|| reply.clone()),
            };
            // a twin of this call was faster: run again and find its reply
            record_store::keep(tx, &scope, &key.key, kept, now)
                .await
                .map_err(|e| e.if_exists(StoreError::Collision))?;
        }
        // last: in the shed it is written to a file, which no transaction takes back
        if let Some(day) = &self.call.day {
            day.keep(&write).await?;
        }
        Ok(reply)
    }

    fn is_collision(error: &Error) -> bool {
        matches!(error, Error::Store(StoreError::Collision))
    }
}

/// A row of the audit log that says for whom it was done.
fn on_behalf(row: AuditRow, member: AccountId) -> AuditRow {
    let change = serde_json::from_str::<serde_json::Value>(&row.change).unwrap_or_default();
    let change = serde_json::json!({ "for": member.to_string(), "change": change }).to_string();
    AuditRow { change, ..row }
}

/// The reply that was kept under a call's key.
async fn first_reply(db: &dyn Source, call: &Call) -> Result<Option<Vec<u8>>, Error> {
    let Some(key) = &call.key else { return Ok(None) };
    let Some(kept) = record_store::kept(db, &call.key_scope(), &key.key).await? else { return Ok(None) };
    if kept.rpc != key.rpc || kept.fingerprint != key.fingerprint {
        return Err(Error::KeyReused);
    }
    kept.reply.ok_or(Error::ReplyNotKept).map(Some)
}

impl App {
    /// The reply of an earlier run under the call's key, before work that a repeat must not do again (such as
    /// checking a password that the first run has changed). The door looks again inside its transaction.
    ///
    /// # Errors
    /// The key was used with another request, or its reply was not kept.
    pub async fn first_reply(&self, call: &Call) -> Result<Option<Vec<u8>>, Error> {
        first_reply(self.store().reader(), call).await
    }

    /// Runs a use case through the door. The encoded reply: of this run, or of the first one under the key.
    ///
    /// # Errors
    /// The use case's own, and the door's: key used for something else, database away.
    pub async fn write<U: UseCase>(
        &self,
        call: &Call,
        use_case: U,
        keep: KeepReply,
        encode: impl Fn(&U::Out) -> Vec<u8> + Send + Sync + 'static,
    ) -> Result<Vec<u8>, Error> {
        self.through(call, Box::new(Encoding { use_case, encode }), keep).await
    }

    fn through<'a>(
        &'a self,
        call: &'a Call,
        work: Box<dyn Erased>,
        keep: KeepReply,
    ) -> Pin<Box<dyn Future<Output = Result<Vec<u8>, Error>> + Send + 'a>> {
        let door = AtTheDoor { app: self.clone(), call: call.clone(), work, keep };
        Box::pin(async move {
            match self.store().write(door).await {
                // a twin of this call may have been faster and be the very reason for the refusal: then its reply is
                // this call's too
                Err(refused) if call.key.is_some() => match self.first_reply(call).await {
                    Ok(Some(reply)) => Ok(reply),
                    Ok(None) | Err(_) => Err(refused),
                },
                outcome => outcome,
            }
        })
    }

    /// A call of the server itself.
    ///
    /// # Errors
    /// When there is no randomness.
    pub fn system_call(&self) -> Result<Call, Error> {
        let now = self.clock().now();
        Ok(Call::system(now, RequestId::from_uuid(ports::new_uuid(self.entropy(), now)?)))
    }
}
