//! A client that knows only paths and bytes, so that any caller can call any method.

use prost::{Message as _, bytes::Bytes};
pub use scionary_proto::client::Messages;
use scionary_proto::{
    Kind, Replies, Rpc, Unary,
    client::Wire,
    metadata::{AUTHORIZATION, IDEMPOTENCY_KEY},
    v1,
};
use tonic::{
    Request, Status,
    codegen::http::uri::PathAndQuery,
    transport::{Channel, Endpoint},
};
use tonic_types::StatusExt as _;

/// Returns the machine-readable reason of an error; empty if it has none.
pub fn reason(status: &Status) -> String {
    status.get_error_details().error_info().map(|i| i.reason.clone()).unwrap_or_default()
}

/// Returns the wrong fields of an error.
pub fn wrong_fields(status: &Status) -> Vec<String> {
    status
        .get_error_details()
        .bad_request()
        .map(|b| b.field_violations.iter().map(|v| v.field.clone()).collect())
        .unwrap_or_default()
}

/// A caller, signed in or not.
#[derive(Clone)]
pub struct Raw {
    wire: Wire,
    token: Option<String>,
    key: Option<String>,
    behalf: Option<String>,
}

impl Raw {
    /// Returns a caller without a session.
    pub fn new(channel: Channel) -> Self {
        Self { wire: Wire::plain(channel), token: None, key: None, behalf: None }
    }
    /// Connects a caller without a session to an address such as `127.0.0.1:50740`.
    ///
    /// # Panics
    /// Panics when no server answers there.
    pub async fn at(address: &str) -> Self {
        let endpoint = Endpoint::from_shared(format!("http://{address}")).expect("an address");
        Self::new(endpoint.connect().await.expect("it answers"))
    }
    /// Returns the same caller with a session.
    pub fn with_token(&self, token: &str) -> Self {
        Self { token: Some(token.into()), ..self.clone() }
    }
    /// Returns the same caller with one idempotency key for all writes, instead of a fresh one for each.
    pub fn with_key(&self, key: &str) -> Self {
        Self { key: Some(key.into()), ..self.clone() }
    }
    /// Returns the same caller acting for a member who agreed to it.
    pub fn on_behalf_of(&self, account: &str) -> Self {
        Self { behalf: Some(account.into()), ..self.clone() }
    }
    /// Returns the fixed idempotency key; empty if there is none.
    pub fn key_text(&self) -> String {
        self.key.clone().unwrap_or_default()
    }
    /// Returns the session token, if signed in.
    pub fn token(&self) -> Option<&str> {
        self.token.as_deref()
    }

    fn request<T>(&self, message: T) -> Request<T> {
        let mut request = Request::new(message);
        if let Some(token) = &self.token {
            request.metadata_mut().insert(AUTHORIZATION, format!("Bearer {token}").parse().expect("ascii"));
        }
        if let Some(member) = &self.behalf {
            request
                .metadata_mut()
                .insert(scionary_proto::metadata::ON_BEHALF_OF, member.parse().expect("ascii"));
        }
        let key = self.key.clone().unwrap_or_else(fresh_key);
        if !key.is_empty() {
            request.metadata_mut().insert(IDEMPOTENCY_KEY, key.parse().expect("ascii"));
        }
        request
    }

    /// Calls a method with bytes. A stream only has to open: its messages are not read.
    pub async fn bytes(&self, rpc: Rpc, bytes: Vec<u8>) -> Result<Vec<u8>, Status> {
        self.path(rpc.path(), bytes, rpc.kind() != Kind::Unary).await
    }
    /// Calls a path with bytes.
    pub async fn path(&self, path: &str, bytes: Vec<u8>, stream: bool) -> Result<Vec<u8>, Status> {
        let (path, request) = (path.parse().expect("a path"), self.request(Bytes::from(bytes)));
        if stream {
            self.wire.replies(path, request).await.map(|_| Vec::new())
        } else {
            self.wire.unary(path, request).await.map(|reply| reply.into_inner().to_vec())
        }
    }
    /// Calls a path that replies with a stream, reads it to its end and returns the last message.
    pub async fn last_of_stream(&self, path: &'static str, bytes: Vec<u8>) -> Result<Vec<u8>, Status> {
        Ok(self.stream(path, bytes).await?.pop().unwrap_or_default())
    }
    /// Calls a path that replies with a stream, reads it to its end and returns all messages.
    pub async fn stream(&self, path: &'static str, bytes: Vec<u8>) -> Result<Vec<Vec<u8>>, Status> {
        let request = self.request(Bytes::from(bytes));
        let mut messages = self.wire.replies(PathAndQuery::from_static(path), request).await?.into_inner();
        let mut all = Vec::new();
        while let Some(message) = messages.message().await? {
            all.push(message.to_vec());
        }
        Ok(all)
    }
    /// Opens a stream for reading message by message.
    pub async fn open<M: Replies>(&self, message: &M) -> Result<Messages<M::Reply>, Status> {
        let request = self.request(Bytes::from(message.encode_to_vec()));
        let path = PathAndQuery::from_static(M::RPC.path());
        Ok(Messages::new(self.wire.replies(path, request).await?.into_inner()))
    }
    /// Sends one request and returns its reply; the request's type names the method.
    pub async fn call<M: Unary>(&self, message: &M) -> Result<M::Reply, Status> {
        let bytes = self.bytes(M::RPC, message.encode_to_vec()).await?;
        Ok(M::Reply::decode(bytes.as_slice()).expect("a reply that can be read"))
    }

    /// Creates an account and signs it in.
    pub async fn member(&self, handle: &str) -> Self {
        self.sign_up(handle, "").await.expect("an account can be made");
        self.sign_in(handle, PASSWORD).await.expect("it can sign in")
    }
    /// Creates an account.
    pub async fn sign_up(&self, handle: &str, code: &str) -> Result<v1::SignUpResponse, Status> {
        let request = v1::SignUpRequest {
            handle: handle.into(),
            display_name: format!("{handle} of the club"),
            password: PASSWORD.into(),
            code: code.into(),
        };
        self.call(&request).await
    }
    /// Signs in and returns the signed-in caller.
    pub async fn sign_in(&self, handle: &str, password: &str) -> Result<Self, Status> {
        let request =
            v1::SignInRequest { handle: handle.into(), password: password.into(), label: "test".into() };
        let reply: v1::SignInResponse = self.call(&request).await?;
        Ok(self.with_token(&reply.token))
    }
}

/// The password of every test account.
pub const PASSWORD: &str = "brittle kettle orbit plank";

/// Returns an idempotency key that no call has used.
pub fn fresh_key() -> String {
    use std::sync::atomic::{AtomicU64, Ordering};
    static NEXT: AtomicU64 = AtomicU64::new(0);
    format!("test-key-{}-{:08}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed))
}
