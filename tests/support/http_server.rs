//! A web server for tests: real sockets, answers by script.

// Every test file uses a part of this.

use std::any::Any;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// Longest wait for a client, so that a test with a mistake ends.
const PATIENCE: Duration = Duration::from_secs(5);

/// What the server does with a request.
#[derive(Debug, Clone)]
pub enum Reply {
    /// Answers. `Content-Length` is added unless the headers say something about the length.
    Respond {
        status: u16,
        headers: Vec<(String, String)>,
        body: Vec<u8>,
    },
    /// Sends the bytes as they are and closes.
    Raw(Vec<u8>),
    /// Answers with a body that comes a byte at a time and never ends, until the client goes.
    Drip,
    /// Reads the request and never answers; the connection stays open until the server is dropped.
    Hang,
}

impl Reply {
    /// An answer with headers and a body.
    pub fn of(status: u16, headers: &[(&str, &str)], body: impl Into<Vec<u8>>) -> Self {
        let headers = headers
            .iter()
            .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
            .collect();
        Self::Respond {
            status,
            headers,
            body: body.into(),
        }
    }

    fn bytes(&self) -> Option<Vec<u8>> {
        match self {
            Self::Respond {
                status,
                headers,
                body,
            } => Some(answer(*status, headers, body)),
            Self::Raw(bytes) => Some(bytes.clone()),
            Self::Drip | Self::Hang => None,
        }
    }
}

fn answer(status: u16, headers: &[(String, String)], body: &[u8]) -> Vec<u8> {
    let mut head = format!("HTTP/1.1 {status} Scripted\r\nConnection: close\r\n");
    for (name, value) in headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    let says_length = headers.iter().any(|(name, _)| {
        name.eq_ignore_ascii_case("content-length")
            || name.eq_ignore_ascii_case("transfer-encoding")
    });
    if !says_length && !matches!(status, 204 | 304) {
        head.push_str(&format!("Content-Length: {}\r\n", body.len()));
    }
    head.push_str("\r\n");
    [head.as_bytes(), body].concat()
}

/// A request that came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exchange {
    pub method: String,
    /// Path and query.
    pub path: String,
    /// Names and values as they came, in their order.
    pub headers: Vec<(String, String)>,
    pub body: Vec<u8>,
}

impl Exchange {
    /// The value of a header, whatever the case of its name.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers
            .iter()
            .find(|(candidate, _)| candidate.eq_ignore_ascii_case(name))
            .map(|(_, value)| value.as_str())
    }
}

#[derive(Default)]
struct Seen {
    exchanges: Mutex<Vec<Exchange>>,
    grown: Condvar,
}

/// The server. It has a thread of its own and stops when it is dropped.
pub struct ScriptedServer {
    address: SocketAddr,
    scheme: &'static str,
    seen: Arc<Seen>,
    stop: Arc<AtomicBool>,
    current: Arc<Mutex<Option<TcpStream>>>,
    thread: Option<JoinHandle<()>>,
}

impl ScriptedServer {
    /// Starts on a free port. The replies are given in order, one for each request; the last one
    /// repeats.
    pub fn start(replies: Vec<Reply>) -> Self {
        Self::serve(replies, None)
    }

    /// As `start`, by https.
    pub fn start_tls(replies: Vec<Reply>, config: Arc<rustls::ServerConfig>) -> Self {
        Self::serve(replies, Some(config))
    }

    fn serve(replies: Vec<Reply>, tls: Option<Arc<rustls::ServerConfig>>) -> Self {
        assert!(!replies.is_empty(), "a script needs a reply");
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("a bound address");
        let scheme = if tls.is_some() { "https" } else { "http" };
        let seen = Arc::new(Seen::default());
        let stop = Arc::new(AtomicBool::new(false));
        let current = Arc::new(Mutex::new(None));
        let service = Service {
            replies,
            tls,
            seen: Arc::clone(&seen),
            stop: Arc::clone(&stop),
            current: Arc::clone(&current),
            hanging: Vec::new(),
        };
        let thread = std::thread::spawn(move || service.run(&listener));
        Self {
            address,
            scheme,
            seen,
            stop,
            current,
            thread: Some(thread),
        }
    }

    /// The whole address of a path, which begins with `/`.
    pub fn url(&self, path: &str) -> String {
        format!("{}://{}{path}", self.scheme, self.address)
    }

    /// Host and port.
    pub fn host(&self) -> String {
        self.address.to_string()
    }

    /// The requests so far.
    pub fn exchanges(&self) -> Vec<Exchange> {
        self.seen.exchanges.lock().expect("no panic before").clone()
    }

    /// The requests so far, as soon as there are `n`.
    ///
    /// # Panics
    /// If there are fewer after `timeout`.
    pub fn wait_for_exchanges(&self, n: usize, timeout: Duration) -> Vec<Exchange> {
        let guard = self.seen.exchanges.lock().expect("no panic before");
        let (guard, _) = self
            .seen
            .grown
            .wait_timeout_while(guard, timeout, |exchanges| exchanges.len() < n)
            .expect("no panic before");
        assert!(guard.len() >= n, "{} of {n} requests came", guard.len());
        guard.clone()
    }
}

impl Drop for ScriptedServer {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        // The thread may be in the middle of a connection, or waiting for one.
        if let Some(stream) = self.current.lock().expect("no panic before").take() {
            let _ = stream.shutdown(Shutdown::Both);
        }
        let _ = TcpStream::connect(self.address);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// What the thread owns.
struct Service {
    replies: Vec<Reply>,
    tls: Option<Arc<rustls::ServerConfig>>,
    seen: Arc<Seen>,
    stop: Arc<AtomicBool>,
    /// The connection that is being served, so that it can be ended from outside.
    current: Arc<Mutex<Option<TcpStream>>>,
    /// Connections that are kept open.
    hanging: Vec<Box<dyn Any + Send>>,
}

impl Service {
    fn run(mut self, listener: &TcpListener) {
        for stream in listener.incoming() {
            let Ok(stream) = stream else { continue };
            *self.current.lock().expect("no panic before") = stream.try_clone().ok();
            if self.stop.load(Ordering::SeqCst) {
                return;
            }
            stream.set_read_timeout(Some(PATIENCE)).expect("a timeout");
            stream.set_write_timeout(Some(PATIENCE)).expect("a timeout");
            match self.tls.clone() {
                None => self.talk(stream),
                Some(config) => {
                    let session = rustls::ServerConnection::new(config).expect("a session");
                    self.talk(rustls::StreamOwned::new(session, stream));
                }
            }
            // Closes the connection, unless it hangs.
            self.current.lock().expect("no panic before").take();
        }
    }

    /// Reads one request and replies. A client that goes away is no matter.
    fn talk<S: Read + Write + Send + 'static>(&mut self, stream: S) {
        let mut reader = BufReader::new(stream);
        let Some(exchange) = read_request(&mut reader) else {
            return;
        };
        let index = self.note(exchange).min(self.replies.len() - 1);
        match self.replies[index].bytes() {
            Some(bytes) => {
                let stream = reader.get_mut();
                let _ = stream.write_all(&bytes).and_then(|()| stream.flush());
            }
            None if matches!(self.replies[index], Reply::Drip) => drip(reader.get_mut()),
            None => self.hanging.push(Box::new(reader)),
        }
    }

    /// Notes a request; gives how many came before it.
    fn note(&self, exchange: Exchange) -> usize {
        let mut exchanges = self.seen.exchanges.lock().expect("no panic before");
        exchanges.push(exchange);
        self.seen.grown.notify_all();
        exchanges.len() - 1
    }
}

/// Ends once nobody listens. The pauses are what is tested.
fn drip(stream: &mut impl Write) {
    let head = b"HTTP/1.1 200 Scripted\r\nContent-Length: 1000000\r\n\r\n";
    let mut sent = stream.write_all(head);
    while sent.and_then(|()| stream.flush()).is_ok() {
        std::thread::sleep(Duration::from_millis(20));
        sent = stream.write_all(b"x");
    }
}

fn read_request(reader: &mut impl BufRead) -> Option<Exchange> {
    let first = read_line(reader)?;
    let mut words = first.split(' ');
    let (method, path) = (words.next()?.to_owned(), words.next()?.to_owned());
    let mut headers = Vec::new();
    loop {
        let line = read_line(reader)?;
        if line.is_empty() {
            break;
        }
        let (name, value) = line.split_once(':')?;
        headers.push((name.to_owned(), value.trim().to_owned()));
    }
    let length = headers
        .iter()
        .find(|(name, _)| name.eq_ignore_ascii_case("content-length"))
        .map_or(Some(0), |(_, value)| value.parse().ok())?;
    let mut body = vec![0; length];
    reader.read_exact(&mut body).ok()?;
    Some(Exchange {
        method,
        path,
        headers,
        body,
    })
}

/// A line without its end, or nothing if there is none.
fn read_line(reader: &mut impl BufRead) -> Option<String> {
    let mut line = String::new();
    let length = reader.read_line(&mut line).ok()?;
    (length > 0).then(|| line.trim_end_matches(['\r', '\n']).to_owned())
}
