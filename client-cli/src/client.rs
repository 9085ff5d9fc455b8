//! The connection: which server, whose session, and calls that are repeated when the network fails and the
//! repeat cannot do harm.

use std::{future::Future, time::Duration};

use scionary_proto::{
    metadata::{AUTHORIZATION, IDEMPOTENCY_KEY, ON_BEHALF_OF},
    v1::{
        account_service_client::AccountServiceClient, alert_service_client::AlertServiceClient,
        claim_service_client::ClaimServiceClient, club_service_client::ClubServiceClient,
        crop_service_client::CropServiceClient, cultivar_service_client::CultivarServiceClient,
        curation_service_client::CurationServiceClient, evidence_service_client::EvidenceServiceClient,
        export_service_client::ExportServiceClient, graft_service_client::GraftServiceClient,
        lot_service_client::LotServiceClient, movement_service_client::MovementServiceClient,
        notice_service_client::NoticeServiceClient, offer_service_client::OfferServiceClient,
        plan_service_client::PlanServiceClient, round_service_client::RoundServiceClient,
        server_service_client::ServerServiceClient, want_service_client::WantServiceClient,
    },
};
use tonic::{
    Code, Request, Response, Status,
    codec::CompressionEncoding,
    transport::{Certificate, Channel, ClientTlsConfig, Endpoint},
};

use crate::{
    args::Connection,
    error::Failure,
    settings::{Folder, Session},
};

/// The server when nothing was said.
pub(crate) const USUAL_SERVER: &str = "http://127.0.0.1:50740";
/// The largest reply taken.
const REPLY_BYTES_MAX: usize = 16 * 1024 * 1024;
/// Tries of a call in all.
const TRIES: u32 = 4;

/// A connection to be made, with the session for its server.
pub(crate) struct Client {
    pub(crate) folder: Folder,
    pub(crate) server: String,
    token: Option<String>,
    on_behalf_of: Option<String>,
    channel: Channel,
    timeout: Duration,
}

/// Checks a server's address and takes defaults for what is left out.
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
    pub(crate) fn open(connection: &Connection) -> Result<Self, Failure> {
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
        let token = match std::env::var("SCIONARY_TOKEN") {
            Ok(token) if !token.is_empty() => Some(token),
            Ok(_) | Err(_) => folder.session()?.filter(|s| s.server == server).map(|s| s.token),
        };
        Ok(Self {
            folder,
            server,
            token,
            on_behalf_of: connection.on_behalf_of.clone(),
            channel: endpoint.connect_lazy(),
            timeout: Duration::from_secs(connection.timeout),
        })
    }

    /// Whether a session is at hand.
    pub(crate) fn is_signed_in(&self) -> bool {
        self.token.is_some()
    }
    /// Fails early where a session is needed.
    pub(crate) fn need_session(&self) -> Result<(), Failure> {
        if self.is_signed_in() { Ok(()) } else { Err(Failure::signed_out()) }
    }
    /// Keeps a new session.
    pub(crate) fn remember(&mut self, handle: &str, token: String) -> Result<(), Failure> {
        self.folder.save_session(&Session {
            server: self.server.clone(),
            handle: handle.to_string(),
            token: token.clone(),
        })?;
        self.token = Some(token);
        Ok(())
    }

    fn request<M>(&self, message: M, key: Option<&str>) -> Result<Request<M>, Failure> {
        let mut request = Request::new(message);
        let bad = |what: &str| Failure::usage(format!("the {what} cannot be sent: it holds odd characters"));
        if let Some(token) = &self.token {
            let value = format!("Bearer {token}").parse().map_err(|_| bad("session"))?;
            request.metadata_mut().insert(AUTHORIZATION, value);
        }
        if let Some(member) = &self.on_behalf_of {
            let value = member.parse().map_err(|_| bad("account"))?;
            request.metadata_mut().insert(ON_BEHALF_OF, value);
        }
        if let Some(key) = key {
            request.metadata_mut().insert(IDEMPOTENCY_KEY, key.parse().map_err(|_| bad("key"))?);
        }
        request.set_timeout(self.timeout);
        Ok(request)
    }

    async fn call<M: Clone, R, F>(
        &self,
        message: M,
        key: Option<String>,
        repeat: bool,
        send: impl Fn(Channel, Request<M>) -> F,
    ) -> Result<R, Failure>
    where
        F: Future<Output = Result<Response<R>, Status>>,
    {
        let mut tries = 0;
        loop {
            tries += 1;
            let request = self.request(message.clone(), key.as_deref())?;
            match send(self.channel.clone(), request).await {
                Ok(reply) => return Ok(reply.into_inner()),
                Err(status) if repeat && tries < TRIES && is_worth_repeating(&status) => {
                    tokio::time::sleep(Duration::from_millis(100 << tries)).await;
                }
                Err(status) => return Err(self.failed(&status)),
            }
        }
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

    /// A call that reads: repeated when the network fails.
    pub(crate) async fn read<M: Clone, R, F>(
        &self,
        message: M,
        send: impl Fn(Channel, Request<M>) -> F,
    ) -> Result<R, Failure>
    where
        F: Future<Output = Result<Response<R>, Status>>,
    {
        self.call(message, None, true, send).await
    }
    /// A call that writes: repeated under one key when the network fails, so that it is done once.
    pub(crate) async fn write<M: Clone, R, F>(
        &self,
        message: M,
        send: impl Fn(Channel, Request<M>) -> F,
    ) -> Result<R, Failure>
    where
        F: Future<Output = Result<Response<R>, Status>>,
    {
        self.call(message, Some(new_key()?), true, send).await
    }
    /// A call whose reply is a stream: made once, and without an end of its own, as long work takes its time.
    pub(crate) async fn stream<M, R, F>(
        &self,
        message: M,
        send: impl FnOnce(Channel, Request<M>) -> F,
    ) -> Result<tonic::Streaming<R>, Failure>
    where
        F: Future<Output = Result<Response<tonic::Streaming<R>>, Status>>,
    {
        let mut request = self.request(message, None)?;
        request.metadata_mut().remove("grpc-timeout");
        send(self.channel.clone(), request).await.map(Response::into_inner).map_err(|s| self.failed(&s))
    }
    /// The next message of a stream.
    pub(crate) async fn next<R>(&self, stream: &mut tonic::Streaming<R>) -> Result<Option<R>, Failure> {
        stream.message().await.map_err(|s| self.failed(&s))
    }
    /// A call that writes without a key: made once.
    pub(crate) async fn once<M: Clone, R, F>(
        &self,
        message: M,
        send: impl Fn(Channel, Request<M>) -> F,
    ) -> Result<R, Failure>
    where
        F: Future<Output = Result<Response<R>, Status>>,
    {
        self.call(message, None, false, send).await
    }
}

fn new_key() -> Result<String, Failure> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).map_err(|e| Failure::bug(format!("no randomness: {e}")))?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

fn has_details(status: &Status) -> bool {
    !status.details().is_empty()
}

/// The call did not get through, or its connection broke: tonic says so in three ways.
fn is_transport(status: &Status) -> bool {
    let broken = matches!(status.code(), Code::Unknown | Code::Cancelled) && !has_details(status);
    broken
        && (std::error::Error::source(status).is_some() || status.message().contains("transport error"))
        && !status.message().contains("Timeout expired")
}

fn is_worth_repeating(status: &Status) -> bool {
    status.code() == Code::Unavailable || is_transport(status)
}

/// The innermost cause, for a person.
fn cause(status: &Status) -> String {
    let mut last = String::new();
    let mut at: Option<&dyn std::error::Error> = std::error::Error::source(status);
    while let Some(error) = at {
        last = format!(" ({error})");
        at = error.source();
    }
    last
}

macro_rules! services {
    ($($name:ident: $client:ident;)*) => {
        $(
            /// A client of the service on a channel.
            pub(crate) fn $name(channel: Channel) -> $client<Channel> {
                $client::new(channel)
                    .max_decoding_message_size(REPLY_BYTES_MAX)
                    .accept_compressed(CompressionEncoding::Zstd)
                    .accept_compressed(CompressionEncoding::Gzip)
            }
        )*
    };
}
services! {
    accounts: AccountServiceClient;
    crops: CropServiceClient;
    cultivars: CultivarServiceClient;
    offers: OfferServiceClient;
    plans: PlanServiceClient;
    grafts: GraftServiceClient;
    movement: MovementServiceClient;
    claims: ClaimServiceClient;
    clubs: ClubServiceClient;
    rounds: RoundServiceClient;
    wants: WantServiceClient;
    lots: LotServiceClient;
    alerts: AlertServiceClient;
    notices: NoticeServiceClient;
    evidence: EvidenceServiceClient;
    curation: CurationServiceClient;
    exports: ExportServiceClient;
    servers: ServerServiceClient;
}
