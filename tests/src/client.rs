//! A client that knows only paths and bytes, so that any method can be called by any persona.

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

/// The machine-readable reason of an error; empty if it has none.
pub fn reason(status: &Status) -> String {
    status.get_error_details().error_info().map(|i| i.reason.clone()).unwrap_or_default()
}

/// The wrong fields of an error.
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
    /// A visitor.
    pub fn new(channel: Channel) -> Self {
        Self { wire: Wire::plain(channel), token: None, key: None, behalf: None }
    }
    /// A visitor of the server at an address such as `127.0.0.1:50740`.
    ///
    /// # Panics
    /// No one listens there.
    pub async fn at(address: &str) -> Self {
        let endpoint = Endpoint::from_shared(format!("http://{address}")).expect("an address");
        Self::new(endpoint.connect().await.expect("it answers"))
    }
    /// The same with a session.
    pub fn with_token(&self, token: &str) -> Self {
        Self { token: Some(token.into()), ..self.clone() }
    }
    /// The same with one idempotency key for every write, instead of a fresh one for each.
    pub fn with_key(&self, key: &str) -> Self {
        Self { key: Some(key.into()), ..self.clone() }
    }
    /// The same, acting for a member who agreed to it.
    pub fn on_behalf_of(&self, account: &str) -> Self {
        Self { behalf: Some(account.into()), ..self.clone() }
    }
    /// The one key, if it has one.
    pub fn key_text(&self) -> String {
        self.key.clone().unwrap_or_default()
    }
    /// The token, if signed in.
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

    /// Calls a method with bytes. For a stream it is enough that it opens.
    pub async fn bytes(&self, rpc: Rpc, bytes: Vec<u8>) -> Result<Vec<u8>, Status> {
        self.path(rpc.path(), bytes, rpc.kind() != Kind::Unary).await
    }
    /// Calls a path.
    pub async fn path(&self, path: &str, bytes: Vec<u8>, stream: bool) -> Result<Vec<u8>, Status> {
        let (path, request) = (path.parse().expect("a path"), self.request(Bytes::from(bytes)));
        if stream {
            self.wire.replies(path, request).await.map(|_| Vec::new())
        } else {
            self.wire.unary(path, request).await.map(|reply| reply.into_inner().to_vec())
        }
    }
    /// Calls a path whose reply is a stream, and reads it to its end: the last message.
    pub async fn last_of_stream(&self, path: &'static str, bytes: Vec<u8>) -> Result<Vec<u8>, Status> {
        Ok(self.stream(path, bytes).await?.pop().unwrap_or_default())
    }
    /// Calls a path whose reply is a stream, and reads it to its end.
    pub async fn stream(&self, path: &'static str, bytes: Vec<u8>) -> Result<Vec<Vec<u8>>, Status> {
        let request = self.request(Bytes::from(bytes));
        let mut messages = self.wire.replies(PathAndQuery::from_static(path), request).await?.into_inner();
        let mut all = Vec::new();
        while let Some(message) = messages.message().await? {
            all.push(message.to_vec());
        }
        Ok(all)
    }
    /// Opens a stream, to be read message by message.
    pub async fn open<M: Replies>(&self, message: &M) -> Result<Messages<M::Reply>, Status> {
        let request = self.request(Bytes::from(message.encode_to_vec()));
        let path = PathAndQuery::from_static(M::RPC.path());
        Ok(Messages::new(self.wire.replies(path, request).await?.into_inner()))
    }
    /// One request, one reply; the request's type says which method.
    pub async fn call<M: Unary>(&self, message: &M) -> Result<M::Reply, Status> {
        let bytes = self.bytes(M::RPC, message.encode_to_vec()).await?;
        Ok(M::Reply::decode(bytes.as_slice()).expect("a reply that can be read"))
    }

    /// Makes an account and signs it in.
    pub async fn member(&self, handle: &str) -> Self {
        self.sign_up(handle, "").await.expect("an account can be made");
        self.sign_in(handle, PASSWORD).await.expect("it can sign in")
    }
    /// Makes an account.
    pub async fn sign_up(&self, handle: &str, code: &str) -> Result<v1::SignUpResponse, Status> {
        let request = v1::SignUpRequest {
            handle: handle.into(),
            display_name: format!("{handle} of the club"),
            password: PASSWORD.into(),
            code: code.into(),
        };
        self.call(&request).await
    }
    /// Signs in.
    pub async fn sign_in(&self, handle: &str, password: &str) -> Result<Self, Status> {
        let request =
            v1::SignInRequest { handle: handle.into(), password: password.into(), label: "test".into() };
        let reply: v1::SignInResponse = self.call(&request).await?;
        Ok(self.with_token(&reply.token))
    }
}

/// The password of every test account.
pub const PASSWORD: &str = "brittle kettle orbit plank";

/// A key that no call has used.
pub fn fresh_key() -> String {
    use std::sync::atomic::{AtomicU64, Ordering};
    static NEXT: AtomicU64 = AtomicU64::new(0);
    format!("test-key-{}-{:08}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed))
}
