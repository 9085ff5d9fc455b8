//! The tour's client: what any client would do, over a connection of its own.

use std::net::SocketAddr;

use anyhow::{Context as _, Result};
use http::uri::PathAndQuery;
use prost::bytes::Bytes;
use scionary_app::ports::{Entropy as _, SystemEntropy};
use scionary_proto::{
    Effect, Replies, Rpc, Unary,
    client::{Messages, Wire, understood},
    metadata::{AUTHORIZATION, IDEMPOTENCY_KEY},
    v1,
};
use tonic::Request;

use super::scene;

/// Replies larger than this are not expected of the demo.
const REPLY_BYTES_MAX: usize = 16 << 20;

/// Someone who calls, signed in or not.
#[derive(Clone)]
pub(super) struct Caller {
    wire: Wire,
    token: Option<String>,
    /// The name that others see, once signed in.
    pub(super) name: String,
}

impl Caller {
    /// A visitor.
    pub(super) async fn connect(address: SocketAddr) -> Result<Self> {
        let channel = tonic::transport::Endpoint::from_shared(format!("http://{address}"))?
            .connect()
            .await
            .context("the demo's own server does not answer")?;
        Ok(Self { wire: Wire::new(channel, REPLY_BYTES_MAX), token: None, name: String::new() })
    }

    /// The same connection, signed in.
    pub(super) async fn sign_in(&self, handle: &str) -> Result<Self> {
        let password = scene::PASSWORD.into();
        let request = v1::SignInRequest { handle: handle.into(), password, label: "tour".into() };
        let reply = self.call(request).await?;
        let name = reply.account.map(|a| a.display_name).unwrap_or_default();
        Ok(Self { wire: self.wire.clone(), token: Some(reply.token), name })
    }

    /// One request, one reply.
    pub(super) async fn call<M: Unary>(&self, message: M) -> Result<M::Reply> {
        let request = self.request(M::RPC, message.encode_to_vec().into())?;
        let reply = self.wire.unary(PathAndQuery::from_static(M::RPC.path()), request).await?;
        Ok(understood(reply.into_inner())?)
    }

    /// One request, replies one by one.
    pub(super) async fn replies<M: Replies>(&self, message: M) -> Result<Messages<M::Reply>> {
        let request = self.request(M::RPC, message.encode_to_vec().into())?;
        let replies = self.wire.replies(PathAndQuery::from_static(M::RPC.path()), request).await?;
        Ok(Messages::new(replies.into_inner()))
    }

    fn request(&self, rpc: Rpc, message: Bytes) -> Result<Request<Bytes>> {
        let mut request = Request::new(message);
        if let Some(token) = &self.token {
            request.metadata_mut().insert(AUTHORIZATION, format!("Bearer {token}").parse()?);
        }
        if rpc.effect() == Effect::WritesOnce {
            let key: String = SystemEntropy.bytes()?.iter().take(16).map(|b| format!("{b:02x}")).collect();
            request.metadata_mut().insert(IDEMPOTENCY_KEY, key.parse()?);
        }
        Ok(request)
    }
}
