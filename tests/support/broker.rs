//! A real MQTT broker (mosquitto) on a free port, run for one test, and its own client to read with.

use super::certificates::Certificates;
use super::command::Workshop;
use std::io::{BufRead, BufReader};
use std::net::TcpListener;
use std::process::{Child, Command, Stdio};

/// Signs of a broker that wants a password.
pub const USER: &str = "turf";
pub const PASSWORD: &str = "thatch-rake";

/// The running broker; killed when dropped.
pub struct Broker {
    process: Child,
    pub port: u16,
    wants_password: bool,
    authority: Option<String>,
}

/// A port that nobody listens on.
pub fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    listener.local_addr().expect("its address").port()
}

impl Broker {
    /// One that lets everybody in.
    pub fn start(workshop: &Workshop, port: u16) -> Self {
        Self::configured(workshop, port, "allow_anonymous true\n", false)
    }

    /// One that wants the user's password.
    pub fn with_password(workshop: &Workshop, port: u16) -> Self {
        let file = workshop.path("broker-passwords");
        let made = Command::new("mosquitto_passwd")
            .args(["-b", "-c", file.to_str().unwrap(), USER, PASSWORD])
            .status();
        assert!(made.expect("mosquitto_passwd").success());
        let lines = format!("allow_anonymous false\npassword_file {}\n", file.display());
        Self::configured(workshop, port, &lines, true)
    }

    /// One that is spoken to under TLS only; the authority is written to `authority.pem`.
    pub fn with_tls(workshop: &Workshop, port: u16, certificates: &Certificates) -> Self {
        let path = |name| certificates.path(name).display().to_string();
        let lines = format!(
            "allow_anonymous true\ncertfile {}\nkeyfile {}\n",
            path("server.pem"),
            path("server.key")
        );
        let authority = workshop.write("authority.pem", &certificates.authority);
        let mut broker = Self::configured(workshop, port, &lines, false);
        broker.authority = Some(authority);
        broker
    }

    fn configured(workshop: &Workshop, port: u16, lines: &str, wants_password: bool) -> Self {
        // The broker would give up being root for a user who cannot read the folder.
        let text = format!(
            "listener {port} 127.0.0.1\nuser root\npersistence false\nlog_dest stderr\n{lines}"
        );
        let file = workshop.write("mosquitto.conf", &text);
        let path = format!("{}:/usr/sbin", std::env::var("PATH").unwrap_or_default());
        let mut process = Command::new("mosquitto")
            .args(["-c", &file])
            .env("PATH", path)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("mosquitto, which tests/run installs");
        let mut lines = BufReader::new(process.stderr.take().expect("its log")).lines();
        let mut said = Vec::new();
        loop {
            let line = lines.next().and_then(Result::ok);
            let line = line.unwrap_or_else(|| panic!("it does not start: {said:?}"));
            if line.contains("running") {
                break;
            }
            said.push(line);
        }
        // Whoever no longer reads would stop it.
        std::thread::spawn(move || lines.for_each(drop));
        Self {
            process,
            port,
            wants_password,
            authority: None,
        }
    }

    /// Begins to read topics until so many messages have come.
    pub fn listen(&self, topics: &[&str], count: usize) -> Listener {
        let mut command = self.client();
        command.args(["-C", &count.to_string(), "-W", "60"]);
        Listener::start(command, topics)
    }

    /// What it keeps under topics, within a second.
    pub fn kept(&self, topics: &[&str]) -> Vec<Heard> {
        let mut command = self.client();
        command.args(["--retained-only", "-W", "1"]);
        Listener::start(command, topics).heard_so_far()
    }

    /// The next message of a topic, or the one that is kept.
    pub fn reads(&self, topic: &str) -> Heard {
        self.listen(&[topic], 1).heard().remove(0)
    }

    fn client(&self) -> Command {
        let mut command = Command::new("mosquitto_sub");
        command.args(["-h", "127.0.0.1", "-p", &self.port.to_string(), "-q", "1"]);
        command.args(["-F", "%r %q %t %p"]);
        if let Some(authority) = &self.authority {
            command.args(["--cafile", authority]);
        }
        if self.wants_password {
            command.args(["-u", USER, "-P", PASSWORD]);
        }
        command
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// A client that reads.
pub struct Listener(Child);

/// A message.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Heard {
    /// Whether it was kept, and not published just now.
    pub was_kept: bool,
    pub qos: u8,
    pub topic: String,
    pub text: String,
}

impl Listener {
    fn start(mut command: Command, topics: &[&str]) -> Self {
        for topic in topics {
            command.args(["-t", topic]);
        }
        let child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn();
        Self(child.expect("mosquitto_sub, which tests/run installs"))
    }

    /// All that it was to read.
    pub fn heard(self) -> Vec<Heard> {
        let output = self.0.wait_with_output().expect("it ends");
        let text = String::from_utf8(output.stdout).expect("text");
        assert!(output.status.success(), "not all came: {text}");
        text.lines().map(Heard::read).collect()
    }

    fn heard_so_far(self) -> Vec<Heard> {
        let output = self.0.wait_with_output().expect("it ends");
        let text = String::from_utf8(output.stdout).expect("text");
        text.lines().map(Heard::read).collect()
    }
}

impl Heard {
    fn read(line: &str) -> Self {
        let mut parts = line.splitn(4, ' ');
        let mut next = || parts.next().expect("four parts").to_owned();
        Self {
            was_kept: next() == "1",
            qos: next().parse().expect("a number"),
            topic: next(),
            text: next(),
        }
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.text).unwrap_or_else(|_| panic!("no JSON: {self:?}"))
    }
}
