//! Calls over a connection, as bytes: what every client of ours is made of. Sessions, keys, repeats and errors in
//! words are the caller's.

use std::{future::Future, marker::PhantomData, pin::Pin};

use bytes::Bytes;
use http::uri::PathAndQuery;
use prost::Message;
use tokio_stream::Stream;
use tonic::{
    Request, Response, Status, Streaming, client::Grpc, codec::CompressionEncoding, transport::Channel,
};

use crate::codec::Raw;

/// A call under way. In a box, so that the futures of its callers stay small.
type Calling<T> = Pin<Box<dyn Future<Output = Result<T, Status>> + Send>>;
/// Messages to be sent one by one.
pub type Outgoing = Pin<Box<dyn Stream<Item = Bytes> + Send>>;

/// A connection, and how much is taken in over it. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Wire(Grpc<Channel>);

impl Wire {
    /// Calls over a channel; a reply of more than `reply_bytes_max` bytes is an error. Replies may come compressed.
    pub fn new(channel: Channel, reply_bytes_max: usize) -> Self {
        let grpc = Grpc::new(channel).max_decoding_message_size(reply_bytes_max);
        Self(grpc.accept_compressed(CompressionEncoding::Zstd).accept_compressed(CompressionEncoding::Gzip))
    }
    /// The same, without saying that replies may come compressed.
    pub fn plain(channel: Channel) -> Self {
        Self(Grpc::new(channel))
    }

    /// One request, one reply. The trailers after the reply are read: an error there is the call's.
    ///
    /// # Errors
    /// (in the future) What the server answers, or what broke on the way.
    pub fn unary(&self, path: PathAndQuery, request: Request<Bytes>) -> Calling<Response<Bytes>> {
        let mut grpc = self.0.clone();
        Box::pin(async move {
            ready(&mut grpc).await?;
            grpc.unary(request, path, Raw).await
        })
    }
    /// One request, replies one by one.
    ///
    /// # Errors
    /// (in the future) What the server answers, or what broke on the way.
    pub fn replies(
        &self,
        path: PathAndQuery,
        request: Request<Bytes>,
    ) -> Calling<Response<Streaming<Bytes>>> {
        let mut grpc = self.0.clone();
        Box::pin(async move {
            ready(&mut grpc).await?;
            grpc.server_streaming(request, path, Raw).await
        })
    }
    /// Requests one by one, replies one by one.
    ///
    /// # Errors
    /// (in the future) What the server answers, or what broke on the way.
    pub fn both(
        &self,
        path: PathAndQuery,
        requests: Request<Outgoing>,
    ) -> Calling<Response<Streaming<Bytes>>> {
        let mut grpc = self.0.clone();
        Box::pin(async move {
            ready(&mut grpc).await?;
            grpc.streaming(requests, path, Raw).await
        })
    }
}

/// tonic panics where a call is made on a channel that was not asked whether it is ready.
async fn ready(grpc: &mut Grpc<Channel>) -> Result<(), Status> {
    grpc.ready().await.map_err(|broken| Status::from_error(broken.into()))
}

/// The replies of a stream, decoded one by one.
#[derive(Debug)]
pub struct Messages<R> {
    bytes: Streaming<Bytes>,
    kind: PhantomData<fn() -> R>,
}

impl<R: Message + Default> Messages<R> {
    /// Reads replies of one type.
    pub fn new(bytes: Streaming<Bytes>) -> Self {
        Self { bytes, kind: PhantomData }
    }
    /// The next one; none once the stream has ended well, trailers read.
    ///
    /// # Errors
    /// What the server answers, or what broke on the way; a reply that cannot be read.
    pub async fn message(&mut self) -> Result<Option<R>, Status> {
        self.bytes.message().await?.map(understood).transpose()
    }
}

/// A reply's bytes as its message.
///
/// # Errors
/// INTERNAL where they are no such message.
#[expect(clippy::disallowed_methods, reason = "of the client: nothing that the server answers")]
pub fn understood<R: Message + Default>(bytes: Bytes) -> Result<R, Status> {
    R::decode(bytes).map_err(|error| Status::internal(format!("the reply cannot be read: {error}")))
}
