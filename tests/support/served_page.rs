//! The page as the program serves it, on a free port, asked over real HTTP.

use super::journal::Site;
use hatchbell::config::{Web, load};
use hatchbell::store::Store;
use hatchbell::web::{PageConfig, listen};
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::sync::watch;

/// A page that answers until it is dropped.
pub struct Page {
    pub address: SocketAddr,
    pub database: PathBuf,
    in_force: watch::Sender<PageConfig>,
    stop: watch::Sender<bool>,
    thread: Option<JoinHandle<()>>,
}

/// What came back.
#[derive(Debug, Clone)]
pub struct Answer {
    pub status: u16,
    /// Names in small letters, in the order they came.
    pub headers: Vec<(String, String)>,
    pub body: String,
}

impl Page {
    /// The page of a configuration file; the database is made if there is none.
    pub fn of(config: &str) -> Self {
        let in_force = in_force(config);
        let database = in_force.config.service.database.clone();
        drop(Store::open(&database).expect("a database"));
        let mut web = in_force.config.web.clone().unwrap_or_else(usual);
        web.listen = free_port();
        let listening = listen(&web).expect("a free port");
        let address = listening.address().expect("an address");
        let (in_force, configurations) = watch::channel(in_force);
        let (stop, stopping) = watch::channel(false);
        let thread = listening
            .answer(
                configurations,
                Arc::default(),
                watch::channel(()).1,
                stopping,
            )
            .expect("a thread");
        Self {
            address,
            database,
            in_force,
            stop,
            thread: Some(thread),
        }
    }

    /// The page of a site with a journal.
    pub fn of_site(site: &Site) -> Self {
        Self::of(&site.config)
    }

    /// Puts what the file says now in force.
    pub fn reload(&self, config: &str) {
        self.in_force.send_replace(in_force(config));
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, &[], "")
    }

    /// Sends a form as a browser does from a page of ours.
    pub fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let origin = format!("http://{}", self.address);
        self.post_with(path, fields, &[("Origin", &origin)])
    }

    /// Sends a form with these headers.
    pub fn post_with(
        &self,
        path: &str,
        fields: &[(&str, &str)],
        headers: &[(&str, &str)],
    ) -> Answer {
        let mut all = vec![("Content-Type", "application/x-www-form-urlencoded")];
        all.extend(headers);
        // Every form of a page brings it along.
        let form_key = self.form_key();
        let mut fields = fields.to_vec();
        fields.push(("form_key", &form_key));
        self.ask("POST", path, &all, &encoded(&fields))
    }

    /// What every form brings along: of any one of them.
    fn form_key(&self) -> String {
        let week = self.get("/").body;
        let site = week.split("href=\"/sites/").nth(1).expect("a site");
        let site = site.split('"').next().expect("its end");
        self.hidden(&format!("/sites/{site}/enter/note"), "form_key")
    }

    /// Sends a request and reads the answer.
    pub fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        self.ask_at(self.address, method, path, headers, body)
    }

    /// Sends a request to a server before the page.
    pub fn ask_at(
        &self,
        address: SocketAddr,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &str,
    ) -> Answer {
        let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        if !headers.iter().any(|(name, _)| *name == "Host") {
            head.push_str(&format!("Host: {}\r\n", self.address));
        }
        for (name, value) in headers {
            head.push_str(&format!("{name}: {value}\r\n"));
        }
        if method != "GET" {
            head.push_str(&format!("Content-Length: {}\r\n", body.len()));
        }
        let mut stream = TcpStream::connect(address).expect("it listens");
        let patience = Some(Duration::from_secs(60));
        stream.set_read_timeout(patience).expect("a time limit");
        let sent = format!("{head}\r\n{body}");
        stream.write_all(sent.as_bytes()).expect("it reads");
        let mut all = Vec::new();
        stream.read_to_end(&mut all).expect("it answers");
        Answer::read(&String::from_utf8(all).expect("text"))
    }

    /// The hidden key of a form, by the name of its field.
    pub fn hidden(&self, path: &str, name: &str) -> String {
        let answer = self.get(path);
        assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        answer.hidden(name)
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        self.stop.send_replace(true);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

impl Answer {
    fn read(text: &str) -> Self {
        let (head, body) = text.split_once("\r\n\r\n").expect("a head");
        let mut lines = head.lines();
        let status = lines.next().and_then(|line| line.split(' ').nth(1));
        let headers: Vec<(String, String)> = lines
            .filter_map(|line| line.split_once(": "))
            .map(|(name, value)| (name.to_lowercase(), value.to_owned()))
            .collect();
        let is_chunked = headers.iter().any(|(name, _)| name == "transfer-encoding");
        assert!(!is_chunked, "answers are whole: {head}");
        Self {
            status: status.and_then(|code| code.parse().ok()).expect("a status"),
            headers,
            body: body.to_owned(),
        }
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        let found = self.headers.iter().find(|(one, _)| one == name);
        found.map(|(_, value)| value.as_str())
    }

    /// Where a 303 leads.
    pub fn leads_to(&self) -> &str {
        assert_eq!(self.status, 303, "{}", self.body);
        self.header("location").expect("a place")
    }

    /// The value of a hidden field.
    pub fn hidden(&self, name: &str) -> String {
        let mark = format!("type=\"hidden\" name=\"{name}\" value=\"");
        let (_, rest) = self.body.split_once(&mark).expect("a hidden field");
        rest.split('"').next().expect("its end").to_owned()
    }

    /// The text that people read, on one line: without marks.
    pub fn text(&self) -> String {
        let mut text = String::new();
        for part in self.body.split('<') {
            text.push(' ');
            text.push_str(part.split_once('>').map_or(part, |(_, after)| after));
        }
        let plain = text
            .replace("&#34;", "\"")
            .replace("&#39;", "'")
            .replace("&#60;", "<")
            .replace("&#62;", ">")
            .replace("&#38;", "&");
        plain.split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

fn in_force(config: &str) -> PageConfig {
    let loaded = load(std::path::Path::new(config)).expect("a sound configuration");
    let mut config = loaded.config;
    config.web.get_or_insert_with(usual);
    PageConfig {
        config: Arc::new(config),
        digest: "as in the test".to_owned(),
        faults: Vec::new(),
    }
}

/// What a configuration without a page gets.
fn usual() -> Web {
    Web {
        listen: free_port(),
        address: None,
        sign_in: false,
        proxies: Vec::new(),
        own_push_services: Vec::new(),
    }
}

fn free_port() -> SocketAddr {
    SocketAddr::from(([127, 0, 0, 1], 0))
}

/// Fields as a browser sends them.
pub fn encoded(fields: &[(&str, &str)]) -> String {
    let plain = |text: &str| {
        let bytes = text.bytes().map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' => {
                char::from(byte).to_string()
            }
            b' ' => "+".to_owned(),
            other => format!("%{other:02X}"),
        });
        bytes.collect::<String>()
    };
    let pairs = fields
        .iter()
        .map(|(name, value)| format!("{}={}", plain(name), plain(value)));
    pairs.collect::<Vec<_>>().join("&")
}
