//! A connection on which a server can say only so much.

use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use lettre::transport::smtp::client::AsyncTokioStream;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio_rustls::client::TlsStream;

/// Most bytes at a time: more than any answer or handshake has.
const MOST: usize = 256 * 1024;

/// Bytes that each byte of ours allows the server to say more. A TLS server can make us answer
/// without end, so an answer of ours does not allow it everything anew.
const FOR_EACH_OF_OURS: usize = 64;

/// Fails once the server has said too much for what it was asked: a line is read to its end before
/// it is looked at, however long it is.
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

    /// Waits until the server has said something, which is left to be read. Says whether it has.
    pub async fn has_spoken(&self) -> bool {
        self.stream.readable().await.is_ok()
    }
}

/// Such a connection under TLS.
#[derive(Debug)]
pub(super) struct Secured(pub TlsStream<Bounded>);

impl AsyncTokioStream for Secured {
    fn peer_addr(&self) -> io::Result<SocketAddr> {
        self.0.get_ref().0.peer_addr()
    }
}

impl AsyncRead for Secured {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_read(context, buffer)
    }
}

impl AsyncWrite for Secured {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_shutdown(context)
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
        let written = ready!(Pin::new(&mut self.stream).poll_write(context, bytes))?;
        self.said = self.said.saturating_sub(written * FOR_EACH_OF_OURS);
        Poll::Ready(Ok(written))
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}
