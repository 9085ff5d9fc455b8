//! Replies as HTTP bodies.

use std::{
    convert::Infallible,
    marker::PhantomData,
    pin::Pin,
    task::{Context, Poll},
};

use bytes::{BufMut as _, Bytes, BytesMut};
use http::{HeaderMap, HeaderName, HeaderValue, Response};
use http_body::Frame;
use prost::Message;
use scionary_proto::codec::Raw;
use tokio_stream::Stream;
use tonic::{
    Status,
    body::Body,
    codec::{CompressionEncoding, EncodeBody},
};

/// What gRPC puts before each message: a byte that says whether it is compressed, and four of its length.
const PREFIX: usize = 5;

/// What a handler may return for a reply `T`: the message, or a message that was encoded before.
pub trait Reply<T> {
    /// The message's bytes behind gRPC's prefix, in one piece.
    fn framed(self) -> Bytes;
}

impl<T: Message> Reply<T> for T {
    fn framed(self) -> Bytes {
        frame(self.encoded_len(), |into| self.encode_raw(into))
    }
}

/// A reply that is bytes already, such as one that was kept under an idempotency key.
pub struct Encoded<T> {
    framed: Bytes,
    kind: PhantomData<fn() -> T>,
}

impl<T> Encoded<T> {
    /// Takes the bytes of an encoded `T`.
    pub fn new(message: &[u8]) -> Self {
        Self { framed: frame(message.len(), |into| into.put_slice(message)), kind: PhantomData }
    }
}

impl<T> Reply<T> for Encoded<T> {
    fn framed(self) -> Bytes {
        self.framed
    }
}

fn frame(length: usize, write: impl FnOnce(&mut BytesMut)) -> Bytes {
    let mut framed = BytesMut::with_capacity(PREFIX + length);
    framed.put_u8(0);
    // what is sent is far smaller; longer, a client could not take it in
    framed.put_u32(u32::try_from(length).unwrap_or(u32::MAX));
    write(&mut framed);
    framed.freeze()
}

/// A framed message's own bytes.
pub(super) fn unframed(framed: &Bytes) -> Bytes {
    framed.slice(PREFIX.min(framed.len())..)
}

/// The first of the names that we know. (tonic keeps its own readers of these headers to itself.)
pub(super) fn known(names: &HeaderValue) -> Option<CompressionEncoding> {
    names.to_str().ok()?.split(',').find_map(|name| match name.trim() {
        "gzip" => Some(CompressionEncoding::Gzip),
        "zstd" => Some(CompressionEncoding::Zstd),
        _ => None,
    })
}

fn response(encoding: Option<CompressionEncoding>, body: Body) -> Response<Body> {
    let mut response = Response::new(body);
    let headers = response.headers_mut();
    headers.insert(http::header::CONTENT_TYPE, HeaderValue::from_static("application/grpc"));
    match encoding {
        Some(CompressionEncoding::Gzip) => headers.insert("grpc-encoding", HeaderValue::from_static("gzip")),
        Some(_) => headers.insert("grpc-encoding", HeaderValue::from_static("zstd")),
        None => None,
    };
    response
}

/// Replies that tonic frames, and compresses where wanted.
pub(super) fn flow(
    wanted: Option<CompressionEncoding>,
    replies: impl Stream<Item = Result<Bytes, Status>> + Send + 'static,
) -> Response<Body> {
    response(wanted, Body::new(EncodeBody::new_server(Raw, replies, wanted, Default::default(), None)))
}

/// A framed reply, and trailers that say all went well. Nothing is copied.
pub(super) fn whole(framed: Bytes) -> Response<Body> {
    let well =
        HeaderMap::from_iter([(HeaderName::from_static("grpc-status"), HeaderValue::from_static("0"))]);
    response(None, Body::new(Whole { message: Some(framed), trailers: Some(well) }))
}

struct Whole {
    message: Option<Bytes>,
    trailers: Option<HeaderMap>,
}

impl http_body::Body for Whole {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        _: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        let message = self.message.take().map(Frame::data);
        Poll::Ready(message.or_else(|| self.trailers.take().map(Frame::trailers)).map(Ok))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use scionary_proto::v1;

    #[test]
    fn a_reply_is_framed_alike_as_a_message_and_as_bytes() {
        let message = v1::GetOfferRequest { offer_id: "ofr".into(), ..Default::default() };
        let bytes = message.encode_to_vec();
        let ready = Encoded::<v1::GetOfferRequest>::new(&bytes).framed();
        assert_eq!(message.framed(), ready);
        assert_eq!(ready[..5], [0, 0, 0, 0, u8::try_from(bytes.len()).unwrap()]);
        assert_eq!(unframed(&ready), bytes);
    }

    #[test]
    fn encodings_are_taken_in_the_order_of_the_header() {
        let known = |text: &'static str| known(&HeaderValue::from_static(text));
        assert_eq!(known("identity, deflate, gzip"), Some(CompressionEncoding::Gzip));
        assert_eq!(known("zstd,gzip"), Some(CompressionEncoding::Zstd));
        assert_eq!(known("deflate"), None);
    }
}
