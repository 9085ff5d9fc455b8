//! What tonic leaves out of accepting: a cap on connections, and a deadline for the first bytes. (HTTP/2
//! keep-alive starts only after the client's preface, so a peer that connects and says nothing would stay
//! for ever, and would hold up a graceful stop.)

use std::{
    io,
    net::{IpAddr, Ipv6Addr},
    pin::Pin,
    sync::Arc,
    task::{Context, Poll},
    time::Duration,
};

use futures_util::Stream;
use tokio::{
    io::{AsyncRead, AsyncWrite, ReadBuf},
    net::{TcpListener, TcpStream},
    sync::{OwnedSemaphorePermit, Semaphore},
    time::{Sleep, sleep},
};
use tonic::transport::server::{Connected, TcpConnectInfo};

use crate::dear::{Place, Places};

/// An accepted connection with its place and its deadline.
pub struct Guarded {
    io: TcpStream,
    first_bytes: Option<Pin<Box<Sleep>>>,
    /// Bytes still to come before the peer is taken to speak HTTP/2.
    wanted: usize,
    _place: OwnedSemaphorePermit,
    _seat: Place<IpAddr>,
}

/// The client's part of an HTTP/2 greeting (RFC 9113, section 3.4); a TLS greeting is longer.
const PREFACE_BYTES: usize = 24;

/// One household's addresses count as one: IPv4 as it is, IPv6 by its /64.
pub fn household(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V4(ip) => IpAddr::V4(ip),
        IpAddr::V6(ip) => {
            let [a, b, c, d, ..] = ip.segments();
            IpAddr::V6(Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0))
        }
    }
}

impl Connected for Guarded {
    type ConnectInfo = TcpConnectInfo;
    fn connect_info(&self) -> TcpConnectInfo {
        self.io.connect_info()
    }
}

impl AsyncRead for Guarded {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buf.filled().len();
        let read = Pin::new(&mut self.io).poll_read(cx, buf);
        self.wanted = self.wanted.saturating_sub(buf.filled().len() - before);
        if self.wanted == 0 {
            self.first_bytes = None;
        } else if let Some(wait) = &mut self.first_bytes
            && wait.as_mut().poll(cx).is_ready()
        {
            return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
        }
        read
    }
}

impl AsyncWrite for Guarded {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.io).poll_write(cx, bytes)
    }
    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.io).poll_write_vectored(cx, bytes)
    }
    fn is_write_vectored(&self) -> bool {
        self.io.is_write_vectored()
    }
    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.io).poll_flush(cx)
    }
    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.io).poll_shutdown(cx)
    }
}

/// Connections of a listener: at most `max` at once and `max_each` for one address, each with `first` to greet.
pub fn guarded(
    listener: TcpListener,
    max: usize,
    max_each: usize,
    first: Duration,
) -> impl Stream<Item = io::Result<Guarded>> {
    let places = Arc::new(Semaphore::new(max));
    let seats = Arc::new(Places::new(max_each));
    futures_util::stream::unfold((listener, places, seats), move |(listener, places, seats)| async move {
        loop {
            match listener.accept().await {
                Ok((io, peer)) => {
                    // full: drop it at once, so that the client sees it, rather than let it queue
                    let Ok(place) = places.clone().try_acquire_owned() else { continue };
                    let Some(seat) = seats.take(household(peer.ip())) else { continue };
                    let _ = io.set_nodelay(true);
                    let guarded = Guarded {
                        io,
                        first_bytes: Some(Box::pin(sleep(first))),
                        _place: place,
                        _seat: seat,
                        wanted: PREFACE_BYTES,
                    };
                    return Some((Ok(guarded), (listener, places, seats)));
                }
                // out of file descriptors and the like: do not spin
                Err(error) => {
                    tracing::warn!(%error, "a connection could not be accepted");
                    sleep(Duration::from_millis(50)).await;
                }
            }
        }
    })
}
