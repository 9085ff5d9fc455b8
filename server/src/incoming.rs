//! What tonic leaves out of accepting: a cap on connections, and a deadline for the first bytes. (HTTP/2
//! keep-alive starts only after the client's preface, so a peer that connects and says nothing would stay
//! for ever, and would hold up a graceful stop.)

use std::{
    io,
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

/// An accepted connection with its place and its deadline.
pub struct Guarded {
    io: TcpStream,
    first_bytes: Option<Pin<Box<Sleep>>>,
    _place: OwnedSemaphorePermit,
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
        let read = Pin::new(&mut self.io).poll_read(cx, buf);
        if read.is_ready() {
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

/// Connections of a listener: at most `max` at once, each with `first` to say something.
pub fn guarded(
    listener: TcpListener,
    max: usize,
    first: Duration,
) -> impl Stream<Item = io::Result<Guarded>> {
    let places = Arc::new(Semaphore::new(max));
    futures_util::stream::unfold((listener, places), move |(listener, places)| async move {
        loop {
            match listener.accept().await {
                Ok((io, _)) => {
                    // full: drop it at once, so that the client sees it, rather than let it queue
                    let Ok(place) = places.clone().try_acquire_owned() else { continue };
                    let _ = io.set_nodelay(true);
                    let guarded = Guarded { io, first_bytes: Some(Box::pin(sleep(first))), _place: place };
                    return Some((Ok(guarded), (listener, places)));
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
