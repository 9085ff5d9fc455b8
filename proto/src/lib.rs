//! The wire: `scionary.v1` as messages, its descriptors, [`Rpc`], the list of every method, and [`Method`], which
//! names the method that a request asks for. This crate knows nothing of the domain; the server converts in
//! `server/src/convert`, the client in its `words.rs` and `cmd/draft.rs`.
//!
//! Messages cross the transport as bytes ([`codec`]): what depends on a message's type is its encoding and decoding
//! alone, so that the transport is compiled once and not once for each method.

pub mod client;
pub mod codec;
mod method;

/// `scionary.v1`, generated from the files in `proto/scionary/v1`.
pub mod v1 {
    #![allow(missing_docs, clippy::all, reason = "generated code")]
    include!(concat!(env!("OUT_DIR"), "/scionary.v1.rs"));
}

pub use method::{Both, Effect, Kind, Method, Replies, Rpc, Unary};

/// The file descriptor set of `scionary.v1` with its imports, for reflection and for JSON.
pub const FILE_DESCRIPTOR_SET: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));

/// Metadata keys that clients and the server share.
pub mod metadata {
    /// `Bearer <token>`.
    pub const AUTHORIZATION: &str = "authorization";
    /// A fresh random text for each write; the same again for a repeat of the same write.
    pub const IDEMPOTENCY_KEY: &str = "idempotency-key";
    /// The account's id of a member who agreed that organisers of their club act for them.
    pub const ON_BEHALF_OF: &str = "on-behalf-of";
    /// Chosen by the server for each call; quoted in errors and logs.
    pub const REQUEST_ID: &str = "request-id";
}

/// The domain of `google.rpc.ErrorInfo` in every error.
pub const ERROR_DOMAIN: &str = "scionary";
