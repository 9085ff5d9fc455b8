//! One path in: a call is bytes in and bytes out. What depends on the type of a request is three steps for each
//! method (`row.rs`): decode it, run its handler, encode the reply. All the rest (reading, limits, compression, errors)
//! is compiled once, here. The gate stands before it and puts an [`Admitted`] into the request's extensions.

mod body;
mod row;

use std::{
    borrow::Cow,
    convert::Infallible,
    future::Future,
    pin::Pin,
    sync::Arc,
    task::{Context, Poll},
};

use bytes::Bytes;
use http::{HeaderMap, Request, Response};
use scionary_app::Rule;
use scionary_proto::{Rpc, codec::Raw};
use tokio_stream::StreamExt as _;
use tonic::{Code, Status, Streaming, body::Body, codec::CompressionEncoding};

pub use body::{Encoded, Reply};
pub use row::{Handler, RepliesOf, RequestsOf, Row, is_stream};

use crate::{
    call::Admitted,
    methods,
    policy::OnTheDay,
    site::Site,
    status::{self, Failure, Refusal},
};

/// Replies are compressed from this size on: below, the work costs more than the bytes.
const COMPRESSED_FROM: usize = 1024;

/// The service that answers every method of ours. It is the router's fallback, behind the gate.
#[derive(Clone)]
pub struct Dispatch(Arc<Inner>);

struct Inner {
    site: Site,
    request_bytes_max: usize,
    rows: Vec<Row>,
}

impl Dispatch {
    /// A row for each method, from [`methods::row`].
    ///
    /// # Errors
    /// The path of a method whose row holds the handler of another: the compiler does not see that.
    pub fn new(site: Site, request_bytes_max: usize) -> Result<Self, String> {
        let rows: Vec<Row> = Rpc::ALL.into_iter().map(methods::row).collect();
        match rows.iter().zip(Rpc::ALL).find(|(row, rpc)| !row.answers(*rpc)) {
            Some((_, rpc)) => Err(format!("{} has the handler of another method", rpc.path())),
            None => Ok(Self(Arc::new(Inner { site, request_bytes_max, rows }))),
        }
    }

    async fn serve(&self, request: Request<Body>) -> Response<Body> {
        let (head, body) = request.into_parts();
        let Some(call) = head.extensions.get::<Admitted>() else {
            return status::around_the_gate().into_http();
        };
        match self.answer(call, &head.headers, body).await {
            Ok(response) => response,
            Err(failure) => {
                let encoding = matches!(failure, Failure::Refused(Refusal::UnknownEncoding));
                let mut response = call.fail(failure).into_http();
                if encoding {
                    // the caller learns which it may use (gRPC over HTTP/2)
                    let known = http::HeaderValue::from_static("gzip,zstd,identity");
                    response.headers_mut().insert("grpc-accept-encoding", known);
                }
                response
            }
        }
    }

    async fn answer(
        &self,
        call: &Admitted,
        headers: &HeaderMap,
        body: Body,
    ) -> Result<Response<Body>, Failure> {
        let Inner { site, request_bytes_max, rows } = &*self.0;
        let row = rows.get(call.rpc as usize).ok_or(Refusal::UnknownMethod)?;
        let packed = match headers.get("grpc-encoding") {
            Some(name) if name != "identity" => Some(body::known(name).ok_or(Refusal::UnknownEncoding)?),
            Some(_) | None => None,
        };
        let mut requests = Streaming::new_request(Raw, body, packed, Some(*request_bytes_max));
        let wanted = headers
            .get("grpc-accept-encoding")
            .filter(|_| methods::compresses(call.rpc))
            .and_then(body::known);
        match row.job() {
            // of another service, which the router asks first
            row::Job::Standard => Err(Refusal::UnknownMethod.into()),
            row::Job::Unary(job) => {
                let request = only(&mut requests).await?;
                let call = &as_step(site, row, call, &request)?;
                Ok(whole(wanted, job(site, call, request).await?))
            }
            row::Job::Replies(job) => {
                let request = only(&mut requests).await?;
                let call = &as_step(site, row, call, &request)?;
                let replies = job(site, call, request).await?;
                Ok(flow(wanted, call, replies))
            }
            row::Job::Both(job) => Ok(flow(wanted, call, job(site, call, requests).await?)),
        }
    }
}

impl<B> tower::Service<Request<B>> for Dispatch
where
    B: http_body::Body<Data = Bytes> + Send + 'static,
    B::Error: Into<Box<dyn std::error::Error + Send + Sync>>,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, Infallible>> + Send>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }
    fn call(&mut self, request: Request<B>) -> Self::Future {
        let (dispatch, request) = (self.clone(), request.map(Body::new));
        Box::pin(async move { Ok(dispatch.serve(request).await) })
    }
}

/// The call itself; where a swap day is run, and its method is a step of one, with that step.
fn as_step<'a>(
    site: &Site,
    row: &Row,
    call: &'a Admitted,
    request: &[u8],
) -> Result<Cow<'a, Admitted>, Failure> {
    if site.day && row.rules().day == OnTheDay::Step {
        return Ok(Cow::Owned(call.as_step(&site.app, request)?));
    }
    Ok(Cow::Borrowed(call))
}

/// Runs a step of a swap day again: in the shed after a start, or at home.
///
/// # Errors
/// Those of its method; it is no step of a day.
pub async fn again(site: &Site, call: &Admitted, request: Bytes) -> Result<(), Failure> {
    let row = methods::row(call.rpc);
    if row.rules().day != OnTheDay::Step {
        return Err(Rule::NoDayStep.into());
    }
    match row.job() {
        row::Job::Unary(job) => job(site, call, request).await.map(|_| ()),
        row::Job::Replies(job) => {
            let mut replies = job(site, call, request).await?;
            while let Some(reply) = replies.next().await {
                reply?;
            }
            Ok(())
        }
        row::Job::Standard | row::Job::Both(_) => Err(Rule::NoDayStep.into()),
    }
}

/// The message of a call that has one. The second look also reads the body to its end.
async fn only(requests: &mut Streaming<Bytes>) -> Result<Bytes, Failure> {
    let first = requests.message().await.map_err(arrival)?;
    let second = requests.message().await.map_err(arrival)?;
    match (first, second) {
        (Some(message), None) => Ok(message),
        (None, _) => Err(Refusal::Malformed("a call carries one message; none came".into()).into()),
        (Some(_), Some(_)) => Err(Refusal::Malformed("a call carries one message; more came".into()).into()),
    }
}

/// tonic's own complaints about what arrives, as refusals with details: too large, cannot be unpacked, cut short.
fn arrival(status: Status) -> Failure {
    match status.code() {
        Code::OutOfRange | Code::ResourceExhausted => Refusal::TooLarge.into(),
        Code::Internal | Code::InvalidArgument => Refusal::Malformed(status.message().into()).into(),
        Code::Unimplemented => Refusal::UnknownEncoding.into(),
        // the connection broke: no one reads the answer
        Code::Ok
        | Code::Cancelled
        | Code::Unknown
        | Code::DeadlineExceeded
        | Code::NotFound
        | Code::AlreadyExists
        | Code::PermissionDenied
        | Code::FailedPrecondition
        | Code::Aborted
        | Code::Unavailable
        | Code::DataLoss
        | Code::Unauthenticated => Failure::Transport(Box::new(status)),
    }
}

fn whole(wanted: Option<CompressionEncoding>, framed: Bytes) -> Response<Body> {
    match wanted {
        Some(_) if framed.len() > COMPRESSED_FROM => {
            body::flow(wanted, tokio_stream::once(Ok(body::unframed(&framed))))
        }
        _ => body::whole(framed),
    }
}

fn flow(wanted: Option<CompressionEncoding>, call: &Admitted, replies: row::Stream<Bytes>) -> Response<Body> {
    let call = call.clone();
    body::flow(wanted, replies.map(move |reply| reply.map_err(|failure| call.fail(failure))))
}
