//! A connection on which a server can say only so much at a time.

use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use lettre::transport::smtp::client::AsyncTokioStream;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;

/// Most bytes between two things we say: more than any answer or handshake has.
const MOST: usize = 256 * 1024;

/// Fails once the server has said too much without being asked anything: the line is read to its
/// end before it is looked at, however long it is.
#[derive(Debug)]
pub(super) struct Bounded {
    stream: TcpStream,
    said: usize,
}

impl Bounded {
    /// Bounds what comes over a connection.
    pub fn new(stream: TcpStream) -> Self {
        Self { stream, said: 0 }
    }
}

impl AsyncTokioStream for Bounded {
    fn peer_addr(&self) -> io::Result<SocketAddr> {
        self.stream.peer_addr()
    }
}

impl AsyncRead for Bounded {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        if self.said > MOST {
            return Poll::Ready(Err(io::Error::other(
                "the server's answer has no end; this is no mail server",
            )));
        }
        let before = buffer.filled().len();
        ready!(Pin::new(&mut self.stream).poll_read(context, buffer))?;
        self.said += buffer.filled().len() - before;
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Bounded {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        self.said = 0;
        Pin::new(&mut self.stream).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}
