//! The codec of every call: a message is bytes. The transport does not look into messages, and is the same code for
//! all methods.

use bytes::{Buf as _, BufMut as _, Bytes};
use tonic::{
    Status,
    codec::{BufferSettings, Codec, DecodeBuf, Decoder, EncodeBuf, Encoder},
};

/// Set aside for each call and direction (tonic's own is 8 KiB). Never 0: when something is compressed, sizes are
/// divided by it.
const BUFFER: usize = 1024;
/// How much is gathered before it is sent.
const YIELD_AT: usize = 32 * 1024;

/// Encodes and decodes messages that are bytes already.
#[derive(Clone, Copy, Debug, Default)]
pub struct Raw;

impl Codec for Raw {
    type Encode = Bytes;
    type Decode = Bytes;
    type Encoder = Self;
    type Decoder = Self;
    fn encoder(&mut self) -> Self {
        Self
    }
    fn decoder(&mut self) -> Self {
        Self
    }
}

impl Encoder for Raw {
    type Item = Bytes;
    type Error = Status;
    fn encode(&mut self, item: Bytes, into: &mut EncodeBuf<'_>) -> Result<(), Status> {
        into.put(item);
        Ok(())
    }
    fn buffer_settings(&self) -> BufferSettings {
        BufferSettings::new(BUFFER, YIELD_AT)
    }
}

impl Decoder for Raw {
    type Item = Bytes;
    type Error = Status;
    fn decode(&mut self, from: &mut DecodeBuf<'_>) -> Result<Option<Bytes>, Status> {
        // splits the buffer: nothing is copied
        Ok(Some(from.copy_to_bytes(from.remaining())))
    }
    fn buffer_settings(&self) -> BufferSettings {
        BufferSettings::new(BUFFER, YIELD_AT)
    }
}
