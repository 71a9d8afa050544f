//! A real mail server to deliver to: `tests/peers/smtp_server.py`, run for one test.

use std::io::{BufRead, BufReader};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use serde_json::Value;

/// Longest time the server may take to start or stop.
const PATIENCE: Duration = Duration::from_secs(30);

/// A message the server accepted.
#[derive(Debug, Clone, serde::Deserialize)]
pub struct Received {
    /// Envelope sender.
    pub mail_from: String,
    /// Envelope recipients.
    pub rcpt_to: Vec<String>,
    /// As received, dots unstuffed.
    pub content: String,
    /// Names and decoded values.
    pub headers: Vec<(String, String)>,
    /// Decoded text.
    pub text: String,
    /// Whether it came encrypted.
    pub tls: bool,
    /// Who had signed in.
    pub user: Option<String>,
}

impl Received {
    /// The one header of this name.
    pub fn header(&self, name: &str) -> &str {
        let mut values = self.headers.iter().filter(|(other, _)| other == name);
        match (values.next(), values.next()) {
            (Some((_, value)), None) => value,
            _ => panic!("not exactly one {name} in {:?}", self.headers),
        }
    }
}

/// All a server saw in its life.
#[derive(Debug, Default)]
pub struct Seen {
    /// Accepted messages.
    pub messages: Vec<Received>,
    /// Attempts to sign in: user, and whether it was accepted.
    pub sign_ins: Vec<(String, bool)>,
}

impl Seen {
    fn note(&mut self, line: Value) {
        match line["event"].as_str() {
            Some("message") => self
                .messages
                .push(serde_json::from_value(line).expect("a message as the server describes it")),
            Some("auth") => self.sign_ins.push((
                line["user"].as_str().expect("a user").to_owned(),
                line["accepted"].as_bool().expect("a verdict"),
            )),
            _ => panic!("unexpected from the mail server: {line}"),
        }
    }
}

/// The running server; stopped when dropped.
pub struct SmtpPeer {
    process: Child,
    port: u16,
    lines: Receiver<Value>,
    seen: Seen,
}

impl SmtpPeer {
    /// Starts the server with these options and waits until it listens.
    ///
    /// # Panics
    ///
    /// If it does not start; its own complaint is on standard error.
    pub fn start(options: &[&str]) -> Self {
        let python = std::env::var_os("HATCHBELL_PEERS_PYTHON").unwrap_or_else(|| {
            panic!("HATCHBELL_PEERS_PYTHON is not set; this test needs its peers: run tests/run")
        });
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/peers/smtp_server.py");
        let mut process = Command::new(&python)
            .arg(script)
            .args(options)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| panic!("{}: {error}; run tests/run", python.display()));
        let output = process.stdout.take().expect("a piped output");
        let mut peer = Self {
            process,
            port: 0,
            lines: read_lines(output),
            seen: Seen::default(),
        };
        let ready = peer.lines.recv_timeout(PATIENCE);
        let port = ready.ok().and_then(|line| line["port"].as_u64());
        peer.port = port
            .and_then(|port| port.try_into().ok())
            .expect("the mail server to start; see what it says above");
        peer
    }

    /// The port on 127.0.0.1.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Waits until `count` messages have been accepted since the start, and returns all so far.
    ///
    /// # Panics
    ///
    /// If fewer have been after `timeout`.
    pub fn messages_at_least(&mut self, count: usize, timeout: Duration) -> Vec<Received> {
        let until = Instant::now() + timeout;
        while self.seen.messages.len() < count {
            let left = until.saturating_duration_since(Instant::now());
            match self.lines.recv_timeout(left) {
                Ok(line) => self.seen.note(line),
                Err(error) => panic!("{error} waiting for {count} messages; got {:?}", self.seen),
            }
        }
        self.seen.messages.clone()
    }

    /// Stops the server and returns all it saw. Nothing can arrive later, so what is not in there
    /// was not sent.
    ///
    /// # Panics
    ///
    /// If it does not stop, or fails.
    pub fn finish(mut self) -> Seen {
        drop(self.process.stdin.take());
        loop {
            match self.lines.recv_timeout(PATIENCE) {
                Ok(line) => self.seen.note(line),
                Err(RecvTimeoutError::Disconnected) => break,
                Err(RecvTimeoutError::Timeout) => panic!("the mail server does not stop"),
            }
        }
        let status = self.process.wait().expect("a stopped server");
        assert!(status.success(), "the mail server failed: {status}");
        std::mem::take(&mut self.seen)
    }
}

impl Drop for SmtpPeer {
    fn drop(&mut self) {
        // It may have stopped by itself; then there is nothing to kill.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn read_lines(output: ChildStdout) -> Receiver<Value> {
    let (sender, receiver) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(output).lines().map_while(Result::ok) {
            let line = serde_json::from_str(&line).unwrap_or(Value::String(line));
            if sender.send(line).is_err() {
                break;
            }
        }
    });
    receiver
}
