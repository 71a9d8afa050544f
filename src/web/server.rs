//! Listening: a bounded number of connections, each of which must say what it wants in time.

use super::client::Peer;
use super::routes::routes;
use super::state::{PageConfig, PageState};
use crate::config::Web;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use std::io;
use std::net::{IpAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Notify, OwnedSemaphorePermit, Semaphore, watch};
use tower::ServiceExt;
use tracing::{debug, error, info, warn};

/// Most connections at a time.
const MOST_CONNECTIONS: usize = 256;
/// Longest time for the head of a request.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// How long requests under way may take once the program is to stop.
const LAST_MOMENTS: Duration = Duration::from_secs(2);

/// A page whose address is taken, and which does not answer yet.
pub struct Listening {
    listener: TcpListener,
}

/// Takes the address: a socket that the service manager hands over, or the one that is configured.
///
/// # Errors
/// If the address cannot be taken.
pub fn listen(web: &Web) -> io::Result<Listening> {
    let handed_over = listenfd::ListenFd::from_env().take_tcp_listener(0)?;
    let listener = match handed_over {
        Some(listener) => listener,
        None => TcpListener::bind(web.listen)?,
    };
    listener.set_nonblocking(true)?;
    if !listener.local_addr()?.ip().is_loopback() {
        warn!(
            "the page listens on {}, which other machines can reach",
            listener.local_addr()?
        );
    }
    Ok(Listening { listener })
}

impl Listening {
    /// The address it was given.
    ///
    /// # Errors
    /// If the system does not say.
    pub fn address(&self) -> io::Result<std::net::SocketAddr> {
        self.listener.local_addr()
    }

    /// Answers in a thread of its own until the program is to stop; `news` changes when something that is
    /// shown may have.
    ///
    /// # Errors
    /// If there can be no further thread.
    pub fn answer(
        self,
        in_force: watch::Receiver<PageConfig>,
        bell: Arc<Notify>,
        news: watch::Receiver<()>,
        stop: watch::Receiver<bool>,
    ) -> io::Result<std::thread::JoinHandle<()>> {
        let address = self.address()?;
        info!("the page is at http://{address}/");
        let shared = PageState::new(in_force, address, bell).map_err(io::Error::other)?;
        std::thread::Builder::new()
            .name("page".to_owned())
            .spawn(move || {
                let runtime = tokio::runtime::Builder::new_current_thread()
                    .enable_all()
                    .max_blocking_threads(4)
                    .thread_keep_alive(Duration::from_secs(60))
                    .build();
                let served = runtime.and_then(|runtime| {
                    runtime.block_on(serve(self.listener, Arc::new(shared), news, stop))
                });
                if let Err(problem) = served {
                    error!("the page has ended: {problem}; alerts go on");
                }
            })
    }
}

async fn serve(
    listener: TcpListener,
    shared: Arc<PageState>,
    news: watch::Receiver<()>,
    mut stop: watch::Receiver<bool>,
) -> io::Result<()> {
    let listener = tokio::net::TcpListener::from_std(listener)?;
    tokio::spawn(look_ahead(Arc::clone(&shared), news));
    let service = routes(shared);
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let under_way = GracefulShutdown::new();
    loop {
        let taken = tokio::select! {
            taken = accepted(&listener, &room) => taken,
            _ = stop.wait_for(|stop| *stop) => break,
        };
        let Some((stream, peer, permit)) = taken else {
            continue;
        };
        let with_peer = service
            .clone()
            .map_request(move |mut request: Request<Incoming>| {
                request.extensions_mut().insert(Peer(peer));
                request
            });
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_WITHIN)
            .serve_connection(TokioIo::new(stream), TowerToHyperService::new(with_peer));
        let connection = under_way.watch(connection);
        tokio::spawn(async move {
            if let Err(problem) = connection.await {
                debug!("a connection to the page broke: {problem}");
            }
            drop(permit);
        });
    }
    // Whoever is still waiting then asks again.
    let _ = tokio::time::timeout(LAST_MOMENTS, under_way.shutdown()).await;
    Ok(())
}

/// Works out what sites are to be shown whenever it may have changed, before anybody asks.
async fn look_ahead(shared: Arc<PageState>, mut news: watch::Receiver<()>) {
    loop {
        let shared = Arc::clone(&shared);
        let looked = tokio::task::spawn_blocking(move || shared.look_ahead()).await;
        if let Ok(Err(problem)) = looked {
            // Whoever asks is told.
            debug!("the page cannot look ahead: {}", problem.in_full());
        }
        if news.changed().await.is_err() {
            return;
        }
    }
}

/// The next connection once there is room for it; nothing if it failed.
async fn accepted(
    listener: &tokio::net::TcpListener,
    room: &Arc<Semaphore>,
) -> Option<(tokio::net::TcpStream, IpAddr, OwnedSemaphorePermit)> {
    let permit = Arc::clone(room).acquire_owned().await.ok()?;
    match listener.accept().await {
        Ok((stream, peer)) => Some((stream, peer.ip().to_canonical(), permit)),
        Err(problem) => {
            // Out of file handles, for one: some are given back in a moment.
            warn!("a connection to the page cannot be taken: {problem}");
            tokio::time::sleep(Duration::from_millis(200)).await;
            None
        }
    }
}
