//! The connection: the server, the session, and calls. A call is retried after a network failure if a retry is
//! idempotent.

use std::{
    cell::{Cell, RefCell},
    collections::BTreeSet,
    future::Future,
    pin::Pin,
    time::Duration,
};

use prost::bytes::Bytes;
use scionary_proto::{
    Both, Effect, Replies, Rpc, Unary,
    client::{Messages, Outgoing, Wire, understood},
    metadata::{AUTHORIZATION, IDEMPOTENCY_KEY, ON_BEHALF_OF},
    v1,
};
use tokio::sync::OnceCell;
use tonic::{
    Code, Request, Status,
    codegen::http::uri::PathAndQuery,
    transport::{Certificate, ClientTlsConfig, Endpoint},
};
use tonic_types::StatusExt as _;

use crate::{
    args::Connection,
    error::Failure,
    harmless, names,
    output::Output,
    settings::{Folder, Session},
};

/// The server if none is set.
pub(crate) const USUAL_SERVER: &str = "http://127.0.0.1:50740";
/// The largest reply in bytes that the client accepts.
const REPLY_BYTES_MAX: usize = 16 * 1024 * 1024;
/// The service of what members keep for themselves.
const PROFILES: &str = "scionary.v1.ProfileService";
/// How often and how long a call waits when the server has too many calls.
const WAITS: u32 = 5;
const WAIT_MAX: Duration = Duration::from_secs(5);
/// Cultivars of one request whose names are looked up again.
const NAMES_MAX: u32 = 50;
/// Attempts of a call, with the first one.
const TRIES: u32 = 4;

/// A lazy connection to one server, with the session for it.
pub(crate) struct Client {
    pub(crate) folder: Folder,
    pub(crate) server: String,
    token: Option<String>,
    on_behalf_of: Option<String>,
    wire: Wire,
    timeout: Duration,
    account: String,
    quiet: bool,
    /// The number of the page that is shown.
    page: Cell<u32>,
    profile: OnceCell<v1::Profile>,
    /// What was said already.
    said: RefCell<BTreeSet<String>>,
}

/// Checks a server's address; a missing scheme means `http`.
pub(crate) fn check_server(text: &str) -> Result<url::Url, Failure> {
    let with_scheme = if text.contains("://") { text.to_string() } else { format!("http://{text}") };
    let url = url::Url::parse(&with_scheme).map_err(|e| {
        Failure::usage(format!("{text:?} is no address ({e}); such as https://swap.example:50740"))
    })?;
    if !matches!(url.scheme(), "http" | "https") || url.host().is_none() {
        return Err(Failure::usage(format!(
            "{text:?} is no address; it looks like https://swap.example:50740"
        )));
    }
    Ok(url)
}

fn is_this_machine(url: &url::Url) -> bool {
    match url.host() {
        Some(url::Host::Domain(name)) => name == "localhost",
        Some(url::Host::Ipv4(ip)) => ip.is_loopback(),
        Some(url::Host::Ipv6(ip)) => ip.is_loopback(),
        None => false,
    }
}

impl Client {
    /// Reads settings and session; connects at the first call.
    pub(crate) fn open(connection: &Connection, output: &Output) -> Result<Self, Failure> {
        let folder = Folder::open()?;
        let settings = folder.settings()?;
        let chosen = connection.server.clone().or_else(|| settings.server.clone());
        let url = check_server(chosen.as_deref().unwrap_or(USUAL_SERVER))?;
        let server = url.as_str().trim_end_matches('/').to_string();
        if url.scheme() == "http" && !is_this_machine(&url) && !settings.plaintext && !connection.plaintext {
            return Err(Failure::usage(format!(
                "{server} is beyond this machine and does not speak TLS: your password would travel in the clear"
            ))
            .then("use https://…, or say --plaintext if the network itself is trusted"));
        }
        let mut endpoint = Endpoint::from_shared(server.clone())
            .map_err(|e| Failure::usage(format!("{server}: {e}")))?
            .connect_timeout(Duration::from_secs(10))
            .user_agent(concat!("scionary/", env!("CARGO_PKG_VERSION")))
            .map_err(|e| Failure::bug(e.to_string()))?;
        if url.scheme() == "https" {
            let mut tls = ClientTlsConfig::new();
            tls = match connection.ca.as_ref().or(settings.ca.as_ref()) {
                None => tls.with_native_roots(),
                Some(file) => {
                    let pem = std::fs::read(file)
                        .map_err(|e| Failure::usage(format!("{}: {e}", file.display())))?;
                    tls.ca_certificate(Certificate::from_pem(pem))
                }
            };
            endpoint = endpoint.tls_config(tls).map_err(|e| Failure::usage(format!("{server}: {e}")))?;
        }
        let (token, account) = match std::env::var("SCIONARY_TOKEN") {
            Ok(token) if !token.is_empty() => (Some(token), String::new()),
            Ok(_) | Err(_) => folder
                .session()?
                .filter(|s| s.server == server)
                .map_or((None, String::new()), |s| (Some(s.token), s.account)),
        };
        Ok(Self {
            folder,
            server,
            token,
            on_behalf_of: None,
            wire: Wire::new(endpoint.connect_lazy(), REPLY_BYTES_MAX),
            timeout: Duration::from_secs(connection.timeout),
            account,
            quiet: output.is_json(),
            page: Cell::new(1),
            profile: OnceCell::new(),
            said: RefCell::default(),
        })
    }

    /// Notes which page is shown.
    pub(crate) fn on_page(&self, number: u32) {
        self.page.set(number);
    }
    /// Returns the number of the page after the one that is shown.
    pub(crate) fn page_after(&self) -> u32 {
        self.page.get() + 1
    }
    /// Acts for a member of the caller's club from now on: their handle, name or account id.
    ///
    /// # Errors
    /// Returns a [`Failure`] when the member is not found.
    pub(crate) async fn act_for(&mut self, member: Option<&str>) -> Result<(), Failure> {
        if let Some(member) = member {
            self.on_behalf_of = Some(names::account(self, member).await?);
        }
        Ok(())
    }
    /// Returns a client that acts for a member: their account id.
    pub(crate) fn for_member(&self, account_id: &str) -> Self {
        Self {
            folder: self.folder.clone(),
            server: self.server.clone(),
            token: self.token.clone(),
            on_behalf_of: Some(account_id.to_string()),
            wire: self.wire.clone(),
            timeout: self.timeout,
            account: self.account.clone(),
            quiet: self.quiet,
            page: Cell::new(1),
            profile: OnceCell::new(),
            said: RefCell::default(),
        }
    }
    /// Returns whether an account is the caller's own.
    pub(crate) fn is_own(&self, account_id: &str) -> bool {
        !self.account.is_empty() && self.account == account_id
    }
    /// Returns whether a program reads what is printed: then nothing is asked and nothing is said beside it.
    pub(crate) fn is_quiet(&self) -> bool {
        self.quiet
    }
    /// Prints to standard error how something that was typed was understood, for a person only, and once only.
    pub(crate) fn say(&self, text: &str) {
        if !self.quiet && self.said.borrow_mut().insert(text.to_string()) {
            eprintln!("{}", harmless::text(text));
        }
    }
    /// Returns the member's profile; an empty one for a visitor. It is asked for once.
    ///
    /// # Errors
    /// Returns the server's failure.
    pub(crate) async fn profile(&self) -> Result<v1::Profile, Failure> {
        self.profile.get_or_try_init(|| self.profile_now()).await.cloned()
    }
    /// Returns the member's profile as it is on the server now.
    ///
    /// # Errors
    /// Returns the server's failure.
    pub(crate) async fn profile_now(&self) -> Result<v1::Profile, Failure> {
        if !self.is_signed_in() || self.on_behalf_of.is_some() {
            return Ok(v1::Profile::default());
        }
        let reply: v1::GetProfileResponse = self.call(v1::GetProfileRequest {}).await?;
        Ok(reply.profile.unwrap_or_default())
    }
    /// Returns the country where the member grows, as a code; empty if it is not known.
    pub(crate) async fn home_country(&self) -> String {
        // A place can be found without it.
        let profile = self.profile().await.unwrap_or_default();
        let area = profile.home.map(|h| h.area_code).unwrap_or_default();
        area.split('-').next().unwrap_or_default().to_string()
    }

    /// Returns whether the client has a session for this server.
    pub(crate) fn is_signed_in(&self) -> bool {
        self.token.is_some()
    }
    /// Fails before any call if there is no session.
    pub(crate) fn need_session(&self) -> Result<(), Failure> {
        if self.is_signed_in() { Ok(()) } else { Err(Failure::signed_out()) }
    }
    /// Saves a new session and uses it from now on.
    pub(crate) fn remember(&mut self, account: &v1::Account, token: String) -> Result<(), Failure> {
        self.folder.save_session(&Session {
            server: self.server.clone(),
            handle: account.handle.clone(),
            account: account.account_id.clone(),
            token: token.clone(),
        })?;
        self.token = Some(token);
        self.account = account.account_id.clone();
        Ok(())
    }

    fn request<T>(&self, rpc: Rpc, body: T, key: Option<&str>) -> Result<Request<T>, Failure> {
        let mut request = Request::new(body);
        let bad = |what: &str| Failure::usage(format!("the {what} cannot be sent: it holds odd characters"));
        if let Some(token) = &self.token {
            let value = format!("Bearer {token}").parse().map_err(|_| bad("session"))?;
            request.metadata_mut().insert(AUTHORIZATION, value);
        }
        // A profile and its numbers are the caller's own, whomever the caller acts for.
        if let Some(member) = self.on_behalf_of.as_ref().filter(|_| rpc.service() != PROFILES) {
            let value = member.parse().map_err(|_| bad("account"))?;
            request.metadata_mut().insert(ON_BEHALF_OF, value);
        }
        if let Some(key) = key {
            request.metadata_mut().insert(IDEMPOTENCY_KEY, key.parse().map_err(|_| bad("key"))?);
        }
        Ok(request)
    }

    /// Sends one request and returns its reply; the request's type names the method. Reads, and writes with an
    /// idempotency key, are retried after a network failure.
    pub(crate) async fn call<M: Unary>(&self, message: M) -> Result<M::Reply, Failure> {
        let reply = self.bytes(M::RPC, message.encode_to_vec().into()).await?;
        understood(reply).map_err(|s| self.failed(&s))
    }
    /// Sends one request and returns a stream of replies. It has no retry, and no timeout because the work can be long.
    pub(crate) async fn replies<M: Replies>(&self, message: M) -> Result<Messages<M::Reply>, Failure> {
        let message = names::resolved(self, M::RPC, message.encode_to_vec().into()).await?;
        let request = self.request(M::RPC, message, None)?;
        let replies = self.wire.replies(path(M::RPC), request).await.map_err(|s| self.failed(&s))?;
        Ok(Messages::new(replies.into_inner()))
    }
    /// Sends a stream of requests and returns a stream of replies, without a retry.
    pub(crate) async fn both<M: Both>(&self, messages: Vec<M>) -> Result<Messages<M::Reply>, Failure> {
        let messages = messages.into_iter().map(|message| Bytes::from(message.encode_to_vec()));
        let outgoing: Outgoing = Box::pin(tokio_stream::iter(messages));
        let replies = self.wire.both(path(M::RPC), self.request(M::RPC, outgoing, None)?).await;
        Ok(Messages::new(replies.map_err(|s| self.failed(&s))?.into_inner()))
    }
    /// Returns the next message of a stream, or `None` at its end.
    pub(crate) async fn next<R: prost::Message + Default>(
        &self,
        stream: &mut Messages<R>,
    ) -> Result<Option<R>, Failure> {
        stream.message().await.map_err(|s| self.failed(&s))
    }

    /// Returns the bytes of a reply. Not generic and boxed: it compiles once, and its callers' futures stay small.
    fn bytes(&self, rpc: Rpc, message: Bytes) -> Pin<Box<dyn Future<Output = Result<Bytes, Failure>> + '_>> {
        self.bytes_for(rpc, message, rpc.effect() != Effect::Reads)
    }

    /// The same. `asks`: a near name of a cultivar is not taken without a question.
    pub(crate) fn bytes_for(
        &self,
        rpc: Rpc,
        message: Bytes,
        asks: bool,
    ) -> Pin<Box<dyn Future<Output = Result<Bytes, Failure>> + '_>> {
        Box::pin(async move {
            let mut message = names::resolved(self, rpc, message).await?;
            let mut amended = 0;
            let key = if rpc.effect() == Effect::WritesOnce { Some(new_key()?) } else { None };
            let (mut tries, mut waits) = (0, 0);
            loop {
                tries += 1;
                let mut request = self.request(rpc, message.clone(), key.as_deref())?;
                request.set_timeout(self.timeout);
                match self.wire.unary(path(rpc), request).await {
                    Ok(reply) => return Ok(reply.into_inner()),
                    Err(status) if may_repeat(rpc) && tries < TRIES && is_worth_repeating(&status) => {
                        tokio::time::sleep(Duration::from_millis(100 << tries)).await;
                    }
                    // The server did nothing, and says when it will: long lists go on at its pace.
                    Err(status) if waits < WAITS && wait_of(&status).is_some_and(|w| w <= WAIT_MAX) => {
                        waits += 1;
                        tokio::time::sleep(wait_of(&status).unwrap_or_default()).await;
                    }
                    Err(status) if amended < NAMES_MAX => {
                        match names::amended(self, (rpc, asks), &message, &status).await? {
                            Some(again) => (message, amended) = (again, amended + 1),
                            None => return Err(self.failed(&status)),
                        }
                    }
                    Err(status) => return Err(self.failed(&status)),
                }
            }
        })
    }

    fn failed(&self, status: &Status) -> Failure {
        if status.code() == Code::Unavailable && !has_details(status) || is_transport(status) {
            return Failure::unreachable(format!(
                "no server can be reached at {}{}",
                self.server,
                cause(status)
            ))
            .then("start one with: scionaryd serve; or give another address with: scionary connect ADDRESS");
        }
        Failure::from_status(status, &self.server)
    }
}

fn path(rpc: Rpc) -> PathAndQuery {
    PathAndQuery::from_static(rpc.path())
}

/// Returns whether a retry is idempotent: a second write without a key would act twice.
fn may_repeat(rpc: Rpc) -> bool {
    rpc.effect() != Effect::Writes
}

fn new_key() -> Result<String, Failure> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).map_err(|e| Failure::bug(format!("no randomness: {e}")))?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

/// Returns how long the server asks a caller to wait who calls too often.
fn wait_of(status: &Status) -> Option<Duration> {
    if status.code() != Code::ResourceExhausted {
        return None;
    }
    status.get_error_details().retry_info().and_then(|info| info.retry_delay)
}

fn has_details(status: &Status) -> bool {
    !status.details().is_empty()
}

/// Returns whether the call did not get through or its connection broke. tonic reports this in three ways.
fn is_transport(status: &Status) -> bool {
    let broken = matches!(status.code(), Code::Unknown | Code::Cancelled) && !has_details(status);
    broken
        && (std::error::Error::source(status).is_some() || status.message().contains("transport error"))
        && !status.message().contains("Timeout expired")
}

fn is_worth_repeating(status: &Status) -> bool {
    status.code() == Code::Unavailable || is_transport(status)
}

/// Returns the innermost cause in brackets, for a person; empty if there is none.
fn cause(status: &Status) -> String {
    let mut last = String::new();
    let mut at: Option<&dyn std::error::Error> = std::error::Error::source(status);
    while let Some(error) = at {
        last = format!(" ({error})");
        at = error.source();
    }
    last
}
