//! The gate: every call passes here before a handler sees it. It names the method, counts the call, finds
//! out who calls, asks the policy, sets the deadline, catches panics, and writes one log line.

use std::{
    future::Future,
    panic::AssertUnwindSafe,
    pin::Pin,
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    task::{Context, Poll},
    time::Duration,
};

use futures_util::FutureExt as _;
use http::{Request, Response, request::Parts};
use scionary_app::{App, Call, Error, ports::new_uuid};
use scionary_domain::{
    account::{Account, Actor, Role},
    ids::RequestId,
    limits,
};
use scionary_proto::{Effect, Rpc, metadata};
use tonic::{
    Status,
    body::Body,
    transport::server::{TcpConnectInfo, TlsConnectInfo},
};
use tower::{Layer, Service};

use crate::{
    call::Admitted,
    clock::stopwatch,
    dispatch::is_stream,
    incoming::household,
    methods::is_for_the_day,
    policy::{Policy, Rate, Who},
    status::{self, Refusal},
    throttle::Throttle,
};

/// How long a call may go on while the database does not answer.
const LOST: Duration = Duration::from_secs(1);

/// What the gate needs.
#[derive(Clone)]
pub struct GateLayer {
    /// The application.
    pub app: App,
    /// The budgets.
    pub throttle: Arc<Throttle>,
    /// The longest that a call may take.
    pub deadline: Duration,
    /// The rules of each method, in the order of [`Rpc::ALL`].
    pub rules: Arc<[Policy]>,
    /// A swap day is run here, away from its server, and nothing else.
    pub day: bool,
    /// Calls whose handler runs now.
    pub under_way: Arc<AtomicUsize>,
}

/// Counts a call while it lives, also where it is dropped before its end.
struct UnderWay(Arc<AtomicUsize>);

impl UnderWay {
    fn new(count: &Arc<AtomicUsize>) -> Self {
        count.fetch_add(1, Ordering::Relaxed);
        Self(count.clone())
    }
}
impl Drop for UnderWay {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

impl<S> Layer<S> for GateLayer {
    type Service = Gate<S>;
    fn layer(&self, inner: S) -> Gate<S> {
        Gate { inner, layer: self.clone() }
    }
}

/// The gate around all services.
#[derive(Clone)]
pub struct Gate<S> {
    inner: S,
    layer: GateLayer,
}

impl<S> Service<Request<Body>> for Gate<S>
where
    S: Service<Request<Body>, Response = Response<Body>> + Clone + Send + 'static,
    S::Future: Send,
    S::Error: Send,
{
    type Response = Response<Body>;
    type Error = S::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, S::Error>> + Send>>;

    fn poll_ready(&mut self, cx: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(cx)
    }

    fn call(&mut self, request: Request<Body>) -> Self::Future {
        let fresh = self.inner.clone();
        let inner = std::mem::replace(&mut self.inner, fresh); // call the one that was polled ready
        let layer = self.layer.clone();
        Box::pin(async move { layer.pass(inner, request).await })
    }
}

impl GateLayer {
    async fn pass<S>(&self, mut inner: S, request: Request<Body>) -> Result<Response<Body>, S::Error>
    where
        S: Service<Request<Body>, Response = Response<Body>>,
    {
        let started = stopwatch();
        let now = self.app.clock().now();
        let id = RequestId::from_uuid(new_uuid(self.app.entropy(), now).unwrap_or_default());
        let (mut head, body) = request.into_parts();
        let rpc = Rpc::from_path(head.uri.path());
        // what is logged: one byte on the wire may stand for all of a long path that was sent before
        let shown = rpc.map_or("unknown", Rpc::path);
        let address = address_of(&head);
        let refuse = |refusal: Refusal| status::refusal(&refusal, id).into_http();

        let admission = self.unless_lost(self.admit(&head, rpc, &address, id, now)).await;
        let admission = admission.unwrap_or_else(|| Err(status::lost(id)));
        let mut response = match admission {
            Err(refused) => refused.into_http(),
            Ok(admitted) => {
                let _under_way = UnderWay::new(&self.under_way);
                let stream = is_stream(admitted.rpc);
                head.extensions.insert(admitted);
                let limit = (!stream).then(|| deadline_of(&head, self.deadline));
                let work = AssertUnwindSafe(inner.call(Request::from_parts(head, body))).catch_unwind();
                let outcome = match limit {
                    Some(limit) => tokio::time::timeout(limit, self.unless_lost(work)).await,
                    None => Ok(Some(work.await)),
                };
                match outcome {
                    Ok(None) => status::lost(id).into_http(),
                    Ok(Some(Ok(answer))) => answer?,
                    Ok(Some(Err(_))) => {
                        tracing::error!(request = %id, rpc = shown, "a handler panicked");
                        refuse(Refusal::Panicked)
                    }
                    Err(_) => refuse(Refusal::Deadline),
                }
            }
        };
        if let Ok(value) = id.to_string().parse() {
            response.headers_mut().insert(metadata::REQUEST_ID, value);
        }
        let code = response.headers().get("grpc-status").and_then(|v| v.to_str().ok()).unwrap_or("0");
        tracing::info!(request = %id, rpc = shown, code, duration_us = started.elapsed().as_micros(), "call");
        Ok(response)
    }

    /// Work, unless the database does not answer: what needs it would wait in vain, while what needs it not takes less
    /// than this.
    async fn unless_lost<T>(&self, work: impl Future<Output = T>) -> Option<T> {
        let lost = async {
            self.app.store().condition().lost().await;
            tokio::time::sleep(LOST).await;
        };
        tokio::select! { biased; done = work => Some(done), () = lost => None }
    }

    async fn admit(
        &self,
        head: &Parts,
        rpc: Option<Rpc>,
        address: &str,
        id: RequestId,
        now: scionary_domain::time::Timestamp,
    ) -> Result<Admitted, Status> {
        let refuse = |refusal: Refusal| status::refusal(&refusal, id);
        let known = rpc.and_then(|rpc| Some((rpc, self.rules.get(rpc as usize)?)));
        let Some((rpc, rules)) = known else {
            // counted, as whoever tries many makes work too
            self.throttle.call(Rate::Read, address).map_err(|wait| refuse(Refusal::TooMany(wait)))?;
            return Err(refuse(Refusal::UnknownMethod));
        };
        self.throttle.call(rules.rate, address).map_err(|wait| refuse(Refusal::TooMany(wait)))?;
        if self.day && !is_for_the_day(rpc, *rules) {
            return Err(refuse(Refusal::NotOnTheDay));
        }
        // what everyone may call does not ask who calls: an old session, or a database that is away, does not
        // stand between a grower and a look-up
        let token = bearer(head).filter(|_| rules.who != Who::Anyone || rules.knows);
        let actor = match token {
            None => Actor::Visitor,
            Some(token) => match self.app.actor_of(token, now).await {
                Ok(Some(actor)) => actor,
                Ok(None) | Err(_) if rules.who == Who::Anyone => Actor::Visitor,
                Ok(None) => return Err(refuse(Refusal::SessionOver)),
                Err(Error::Suspended) => return Err(refuse(Refusal::Suspended)),
                Err(error) => return Err(status::of_app(error, id, self.app.store().condition())),
            },
        };
        match (rules.who, actor.account()) {
            (Who::Anyone, _) | (Who::Member, Some(_)) => {}
            (Who::Steward, Some(account)) if is_steward(account) => {}
            (Who::Steward, Some(_)) => return Err(refuse(Refusal::StewardNeeded)),
            (Who::Member | Who::Steward, None) => return Err(refuse(Refusal::SignInNeeded)),
        }
        let (actor, entered_by, helped_in) = match behalf(head) {
            None => (actor, None, Vec::new()),
            Some(_) if !rules.behalf => return Err(refuse(Refusal::NotOnBehalf)),
            Some(member) => {
                let found = async { self.app.on_behalf(&actor, App::id(member)?).await };
                let helped =
                    found.await.map_err(|error| status::of_app(error, id, self.app.store().condition()))?;
                (helped.0, actor.id(), helped.1)
            }
        };
        let key = match rpc.effect() {
            Effect::Reads | Effect::Writes => None,
            Effect::WritesOnce => Some(key_of(head).ok_or_else(|| refuse(Refusal::KeyNeeded))?),
        };
        Ok(Admitted::new(
            rpc,
            Call { actor, entered_by, helped_in, now, request: id, key: None, day: None },
            key,
            address,
            self.app.store().condition(),
        ))
    }
}

fn is_steward(account: &Account) -> bool {
    account.is(&Role::Steward)
}

fn bearer(head: &Parts) -> Option<&str> {
    let value = head.headers.get(metadata::AUTHORIZATION)?.to_str().unwrap_or_default();
    Some(value.strip_prefix("Bearer ").unwrap_or(value).trim())
}

fn behalf(head: &Parts) -> Option<&str> {
    Some(head.headers.get(metadata::ON_BEHALF_OF)?.to_str().unwrap_or_default().trim())
}

fn key_of(head: &Parts) -> Option<String> {
    let key = head.headers.get(metadata::IDEMPOTENCY_KEY)?.to_str().ok()?;
    let fits = (limits::IDEMPOTENCY_KEY_CHARS_MIN..=limits::IDEMPOTENCY_KEY_CHARS_MAX).contains(&key.len())
        && key.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_');
    fits.then(|| key.to_string())
}

/// The caller's deadline, if it is earlier than ours. A little is taken off, so that our own answer is
/// there before the transport gives up.
fn deadline_of(head: &Parts, ours: Duration) -> Duration {
    let theirs = head.headers.get("grpc-timeout").and_then(|v| v.to_str().ok()).and_then(grpc_timeout);
    match theirs {
        Some(theirs) if theirs < ours => {
            theirs.saturating_sub((theirs / 10).clamp(Duration::from_millis(6), Duration::from_millis(10)))
        }
        Some(_) | None => ours,
    }
}

/// Reads `grpc-timeout`: at most eight digits and a unit (gRPC over HTTP/2).
fn grpc_timeout(text: &str) -> Option<Duration> {
    let (digits, unit) = text.split_at_checked(text.len().checked_sub(1)?)?;
    if digits.is_empty() || digits.len() > 8 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let amount: u64 = digits.parse().ok()?;
    Some(match unit {
        "H" => Duration::from_secs(amount * 3600),
        "M" => Duration::from_secs(amount * 60),
        "S" => Duration::from_secs(amount),
        "m" => Duration::from_millis(amount),
        "u" => Duration::from_micros(amount),
        "n" => Duration::from_nanos(amount),
        _ => return None,
    })
}

fn address_of(head: &Parts) -> String {
    let extensions = &head.extensions;
    let peer = extensions.get::<TcpConnectInfo>().and_then(TcpConnectInfo::remote_addr).or_else(|| {
        extensions.get::<TlsConnectInfo<TcpConnectInfo>>().and_then(|i| i.get_ref().remote_addr())
    });
    peer.map_or_else(|| "unknown".into(), |peer| household(peer.ip()).to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn timeouts() {
        assert_eq!(grpc_timeout("250m"), Some(Duration::from_millis(250)));
        assert_eq!(grpc_timeout("2S"), Some(Duration::from_secs(2)));
        for bad in ["", "S", "123456789S", "5x", "-5S", "5é"] {
            assert_eq!(grpc_timeout(bad), None, "{bad}");
        }
    }

    /// The standard methods listed in the proto crate are those that the libraries answer.
    #[test]
    fn standard_methods_are_all_listed() {
        use prost::Message as _;
        for set in [
            tonic_health::pb::FILE_DESCRIPTOR_SET,
            tonic_reflection::pb::v1::FILE_DESCRIPTOR_SET,
            tonic_reflection::pb::v1alpha::FILE_DESCRIPTOR_SET,
        ] {
            let set = prost_types::FileDescriptorSet::decode(set).unwrap();
            for file in &set.file {
                for service in &file.service {
                    for method in &service.method {
                        let path = format!("/{}.{}/{}", file.package(), service.name(), method.name());
                        assert!(Rpc::from_path(&path).is_some(), "{path} has no row");
                    }
                }
            }
        }
    }
}
