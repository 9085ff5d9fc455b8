//! An HTTP/2 client without a gRPC library: shows the server's answers frame by frame.

use std::{io::Write as _, net::SocketAddr, time::Duration};

use http::HeaderMap;
use scionary_tests::{Raw, client::fresh_key};

/// The longest silence of a stream.
const SILENCE: Duration = Duration::from_secs(10);

/// A connection without a gRPC library, so that nothing is added, decoded or hidden.
pub(crate) struct Wire {
    pub(crate) sender: h2::client::SendRequest<std::io::Cursor<Vec<u8>>>,
}

/// An answer of the server.
pub(crate) struct Answer {
    pub(crate) http: u16,
    pub(crate) headers: HeaderMap,
    pub(crate) messages: Vec<(u8, Vec<u8>)>,
    pub(crate) trailers: Option<HeaderMap>,
    /// How the stream ended: normally, or with which error.
    pub(crate) end: String,
}

impl Wire {
    pub(crate) async fn open(address: SocketAddr) -> Self {
        let tcp = tokio::net::TcpStream::connect(address).await.unwrap();
        let (sender, connection) = h2::client::Builder::new()
            .initial_window_size(8 << 20)
            .initial_connection_window_size(64 << 20)
            .handshake(tcp)
            .await
            .unwrap();
        tokio::spawn(async move {
            let _ = connection.await;
        });
        Self { sender }
    }

    /// Sends a call and reads the answer, at most `most` messages.
    pub(crate) async fn send(&self, call: Call<'_>, most: usize) -> Answer {
        let mut request = http::Request::builder()
            .method(call.verb)
            .version(http::Version::HTTP_2)
            .uri(format!("http://localhost{}", call.path));
        for (name, value) in [("te", "trailers"), ("content-type", call.content)] {
            request = request.header(name, value);
        }
        for (name, value) in &call.headers {
            request = request.header(*name, value);
        }
        let mut sender = self.sender.clone().ready().await.unwrap();
        let (response, mut body) = sender.send_request(request.body(()).unwrap(), false).unwrap();
        let _ = body.send_data(std::io::Cursor::new(call.body), true);
        let mut answer = Answer {
            http: 0,
            headers: HeaderMap::new(),
            messages: Vec::new(),
            trailers: None,
            end: String::new(),
        };
        let response = match tokio::time::timeout(SILENCE, response).await {
            Err(_) => return Answer { end: "no answer".into(), ..answer },
            Ok(Err(error)) => return Answer { end: error.to_string(), ..answer },
            Ok(Ok(response)) => response,
        };
        let (head, mut stream) = response.into_parts();
        (answer.http, answer.headers) = (head.status.as_u16(), head.headers);
        let mut bytes = Vec::new();
        loop {
            while let Some(message) = take_message(&mut bytes) {
                answer.messages.push(message);
                if answer.messages.len() == most {
                    return Answer { end: "goes on".into(), ..answer };
                }
            }
            match tokio::time::timeout(SILENCE, stream.data()).await {
                Err(_) => return Answer { end: "silent".into(), ..answer },
                Ok(Some(Err(error))) => return Answer { end: error.to_string(), ..answer },
                Ok(Some(Ok(part))) => {
                    let _ = stream.flow_control().release_capacity(part.len());
                    bytes.extend_from_slice(&part);
                }
                Ok(None) => break,
            }
        }
        match stream.trailers().await {
            Ok(trailers) => answer.trailers = trailers,
            Err(error) => answer.end = error.to_string(),
        }
        if !bytes.is_empty() {
            answer.end = format!("{} bytes of a message", bytes.len());
        }
        answer
    }
}

/// Takes one message with its flag from the received bytes.
pub(crate) fn take_message(bytes: &mut Vec<u8>) -> Option<(u8, Vec<u8>)> {
    let length = u32::from_be_bytes(bytes.get(1..5)?.try_into().unwrap());
    let end = 5 + usize::try_from(length).unwrap();
    let message = bytes.get(5..end)?.to_vec();
    let flag = bytes[0];
    bytes.drain(..end);
    Some((flag, message))
}

/// A call to send.
pub(crate) struct Call<'a> {
    pub(crate) verb: &'a str,
    pub(crate) path: &'a str,
    pub(crate) content: &'a str,
    pub(crate) headers: Vec<(&'a str, String)>,
    pub(crate) body: Vec<u8>,
}

impl<'a> Call<'a> {
    /// Returns a call of a method with a message and a fresh idempotency key.
    pub(crate) fn new(path: &'a str, message: &[u8]) -> Self {
        let headers = vec![("idempotency-key", fresh_key())];
        Self { verb: "POST", path, content: "application/grpc", headers, body: framed(0, message) }
    }
    pub(crate) fn by(self, who: &Raw) -> Self {
        match who.token() {
            Some(token) => self.with("authorization", &format!("Bearer {token}")),
            None => self,
        }
    }
    pub(crate) fn with(mut self, name: &'a str, value: &str) -> Self {
        self.headers.retain(|(known, _)| *known != name);
        self.headers.push((name, value.into()));
        self
    }
    pub(crate) fn without_key(mut self) -> Self {
        self.headers.retain(|(name, _)| *name != "idempotency-key");
        self
    }
    pub(crate) fn body(self, body: Vec<u8>) -> Self {
        Self { body, ..self }
    }
}

/// Frames a message for the wire: flag, length, bytes.
pub(crate) fn framed(flag: u8, message: &[u8]) -> Vec<u8> {
    let length = u32::try_from(message.len()).unwrap();
    [&[flag], length.to_be_bytes().as_slice(), message].concat()
}

pub(crate) fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

pub(crate) fn gunzip(bytes: &[u8]) -> Vec<u8> {
    let mut decoder = flate2::write::GzDecoder::new(Vec::new());
    decoder.write_all(bytes).unwrap();
    decoder.finish().unwrap()
}
