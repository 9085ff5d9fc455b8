//! A method's row: its rules and its handler, the handler's types forgotten.

use std::{future::Future, marker::PhantomData, pin::Pin};

use bytes::Bytes;
use prost::Message;
use scionary_proto::{Both, Effect, Kind, Method, Replies, Rpc, Unary};
use tokio_stream::StreamExt as _;
use tonic::Streaming;

use super::{arrival, body::Reply};
use crate::{
    call::Admitted,
    policy::Policy,
    site::Site,
    status::{Failure, Refusal},
};

/// Work under way. In a box, so that its type is the same for all methods.
type Running<'a, T> = Pin<Box<dyn Future<Output = Result<T, Failure>> + Send + 'a>>;
/// Messages one by one. In a box, for the same reason.
pub(super) type Stream<T> = Pin<Box<dyn tokio_stream::Stream<Item = Result<T, Failure>> + Send>>;
/// What the handler of a method with many replies returns.
pub type RepliesOf<M> = Stream<<M as Method>::Reply>;

/// An `async fn(&Site, &Admitted, Input) -> Result<Output, Failure>`. The trait says what a plain bound cannot: the
/// future borrows from the call, and is `Send`. It takes functions, not closures (their lifetimes are not inferred).
pub trait Handler<'a, I, O>: Copy + Send + Sync + 'static {
    /// The work.
    type Run: Future<Output = Result<O, Failure>> + Send + 'a;
    /// Begins it.
    fn run(self, site: &'a Site, call: &'a Admitted, input: I) -> Self::Run;
}

impl<'a, I, O, F, R> Handler<'a, I, O> for F
where
    F: Fn(&'a Site, &'a Admitted, I) -> R + Copy + Send + Sync + 'static,
    R: Future<Output = Result<O, Failure>> + Send + 'a,
{
    type Run = R;
    fn run(self, site: &'a Site, call: &'a Admitted, input: I) -> R {
        self(site, call, input)
    }
}

/// Requests that come one by one.
pub struct RequestsOf<M> {
    bytes: Streaming<Bytes>,
    kind: PhantomData<fn() -> M>,
}

impl<M: Method> RequestsOf<M> {
    /// The next one; none at the end.
    ///
    /// # Errors
    /// It is too large, cannot be read, or the connection broke.
    pub async fn next(&mut self) -> Result<Option<M>, Failure> {
        self.bytes.message().await.map_err(arrival)?.map(decode).transpose()
    }
}

type Erased<I, O> = Box<dyn for<'a> Fn(&'a Site, &'a Admitted, I) -> Running<'a, O> + Send + Sync>;

pub(super) enum Job {
    /// Answered by a service of a library.
    Standard,
    Unary(Erased<Bytes, Bytes>),
    Replies(Erased<Bytes, Stream<Bytes>>),
    Both(Erased<Streaming<Bytes>, Stream<Bytes>>),
}

/// A method's rules and its handler.
pub struct Row {
    rules: Policy,
    /// The method that the handler answers, by the type of its request.
    rpc: Option<Rpc>,
    job: Job,
}

impl Row {
    /// One request, one reply.
    pub fn unary<M: Unary, R: Reply<M::Reply>>(
        rules: Policy,
        handler: impl for<'a> Handler<'a, M, R>,
    ) -> Self {
        let job: Erased<Bytes, Bytes> = Box::new(move |site, call, bytes| {
            Box::pin(async move {
                let message: M = decode(bytes)?;
                let bound;
                let call = if M::RPC.effect() == Effect::WritesOnce {
                    bound = call.bound_to(&message.without_secrets().encode_to_vec());
                    &bound
                } else {
                    call
                };
                Ok(handler.run(site, call, message).await?.framed())
            })
        });
        Self { rules, rpc: Some(M::RPC), job: Job::Unary(job) }
    }
    /// One request, replies one by one.
    pub fn replies<M: Replies>(rules: Policy, handler: impl for<'a> Handler<'a, M, RepliesOf<M>>) -> Self {
        let job: Erased<Bytes, Stream<Bytes>> = Box::new(move |site, call, bytes| {
            Box::pin(async move { Ok(encoded(handler.run(site, call, decode(bytes)?).await?)) })
        });
        Self { rules, rpc: Some(M::RPC), job: Job::Replies(job) }
    }
    /// Requests one by one, replies one by one.
    pub fn both<M: Both>(
        rules: Policy,
        handler: impl for<'a> Handler<'a, RequestsOf<M>, RepliesOf<M>>,
    ) -> Self {
        let job: Erased<Streaming<Bytes>, Stream<Bytes>> = Box::new(move |site, call, bytes| {
            let requests = RequestsOf { bytes, kind: PhantomData };
            Box::pin(async move { Ok(encoded(handler.run(site, call, requests).await?)) })
        });
        Self { rules, rpc: Some(M::RPC), job: Job::Both(job) }
    }
    /// A method of a library's service, which the router knows by itself.
    pub fn standard(rules: Policy) -> Self {
        Self { rules, rpc: None, job: Job::Standard }
    }

    /// Who may call the method, and how it is counted.
    pub fn rules(&self) -> Policy {
        self.rules
    }
    pub(super) fn job(&self) -> &Job {
        &self.job
    }
    /// Whether it is the row of this method.
    pub fn answers(&self, rpc: Rpc) -> bool {
        match self.rpc {
            Some(own) => own == rpc,
            None => !Rpc::SERVICES.contains(&rpc.service()),
        }
    }
}

/// Whether a call of the method has no deadline of its own: it may wait for what comes.
pub fn is_stream(rpc: Rpc) -> bool {
    rpc.kind() != Kind::Unary
}

fn decode<M: Message + Default>(bytes: Bytes) -> Result<M, Failure> {
    M::decode(bytes).map_err(|error| Refusal::Malformed(error.to_string()).into())
}

fn encoded<M: Message + 'static>(replies: Stream<M>) -> Stream<Bytes> {
    Box::pin(replies.map(|reply| reply.map(|message| message.encode_to_vec().into())))
}
