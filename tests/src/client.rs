//! A client that knows only paths and bytes, so that any method can be called by any persona.

use prost::Message;
use scionary_proto::{
    Rpc,
    metadata::{AUTHORIZATION, IDEMPOTENCY_KEY},
    v1,
};
use tonic::{
    Request, Status,
    codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder},
    transport::Channel,
};
use tonic_types::StatusExt as _;

/// Bytes in, bytes out.
#[derive(Clone, Default)]
struct Plain;

impl Codec for Plain {
    type Encode = Vec<u8>;
    type Decode = Vec<u8>;
    type Encoder = Self;
    type Decoder = Self;
    fn encoder(&mut self) -> Self {
        Self
    }
    fn decoder(&mut self) -> Self {
        Self
    }
}
impl Encoder for Plain {
    type Item = Vec<u8>;
    type Error = Status;
    fn encode(&mut self, item: Vec<u8>, dst: &mut EncodeBuf<'_>) -> Result<(), Status> {
        prost::bytes::BufMut::put_slice(dst, &item);
        Ok(())
    }
}
impl Decoder for Plain {
    type Item = Vec<u8>;
    type Error = Status;
    fn decode(&mut self, src: &mut DecodeBuf<'_>) -> Result<Option<Vec<u8>>, Status> {
        let mut bytes = vec![0; prost::bytes::Buf::remaining(src)];
        prost::bytes::Buf::copy_to_slice(src, &mut bytes);
        Ok(Some(bytes))
    }
}

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
    channel: Channel,
    token: Option<String>,
    key: Option<String>,
    behalf: Option<String>,
}

impl Raw {
    /// A visitor.
    pub fn new(channel: Channel) -> Self {
        Self { channel, token: None, key: None, behalf: None }
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
        self.path(rpc.path(), bytes, scionary_server::policy::policy(rpc).stream).await
    }
    /// Calls a path.
    pub async fn path(&self, path: &str, bytes: Vec<u8>, stream: bool) -> Result<Vec<u8>, Status> {
        let mut grpc = tonic::client::Grpc::new(self.channel.clone());
        grpc.ready().await.map_err(|e| Status::unavailable(e.to_string()))?;
        let path = path.parse().expect("a path");
        if stream {
            grpc.server_streaming(self.request(bytes), path, Plain).await.map(|_| Vec::new())
        } else {
            grpc.unary(self.request(bytes), path, Plain).await.map(tonic::Response::into_inner)
        }
    }
    /// Calls a path whose reply is a stream, and reads it to its end: the last message.
    pub async fn last_of_stream(&self, path: &'static str, bytes: Vec<u8>) -> Result<Vec<u8>, Status> {
        Ok(self.stream(path, bytes).await?.pop().unwrap_or_default())
    }
    /// Calls a path whose reply is a stream, and reads it to its end.
    pub async fn stream(&self, path: &'static str, bytes: Vec<u8>) -> Result<Vec<Vec<u8>>, Status> {
        let mut grpc = tonic::client::Grpc::new(self.channel.clone());
        grpc.ready().await.map_err(|e| Status::unavailable(e.to_string()))?;
        let path = path.parse().expect("a path");
        let mut messages = grpc.server_streaming(self.request(bytes), path, Plain).await?.into_inner();
        let mut all = Vec::new();
        while let Some(message) = messages.message().await? {
            all.push(message);
        }
        Ok(all)
    }
    /// Opens a stream, to be read message by message.
    pub async fn open<R: Message + Default>(
        &self,
        rpc: Rpc,
        message: &impl Message,
    ) -> Result<Messages<R>, Status> {
        let mut grpc = tonic::client::Grpc::new(self.channel.clone());
        grpc.ready().await.map_err(|e| Status::unavailable(e.to_string()))?;
        let path = rpc.path().parse().expect("a path");
        let stream = grpc.server_streaming(self.request(message.encode_to_vec()), path, Plain).await?;
        Ok(Messages { stream: stream.into_inner(), kind: std::marker::PhantomData })
    }
    /// Calls a method with messages.
    pub async fn call<R: Message + Default>(&self, rpc: Rpc, message: &impl Message) -> Result<R, Status> {
        let bytes = self.bytes(rpc, message.encode_to_vec()).await?;
        Ok(R::decode(bytes.as_slice()).expect("a reply that can be read"))
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
        self.call(Rpc::AccountSignUp, &request).await
    }
    /// Signs in.
    pub async fn sign_in(&self, handle: &str, password: &str) -> Result<Self, Status> {
        let request =
            v1::SignInRequest { handle: handle.into(), password: password.into(), label: "test".into() };
        let reply: v1::SignInResponse = self.call(Rpc::AccountSignIn, &request).await?;
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

/// The messages of a stream.
pub struct Messages<R> {
    stream: tonic::Streaming<Vec<u8>>,
    kind: std::marker::PhantomData<R>,
}

impl<R: Message + Default> Messages<R> {
    /// The next one; none at the end.
    pub async fn message(&mut self) -> Result<Option<R>, Status> {
        let bytes = self.stream.message().await?;
        Ok(bytes.map(|bytes| R::decode(bytes.as_slice()).expect("a message that can be read")))
    }
}
