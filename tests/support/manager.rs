//! The service manager's side of a running daemon.

use super::command::{Workshop, config_with};
use std::os::unix::net::UnixDatagram;
use std::process::{Child, Command};
use std::time::{Duration, Instant};

/// Longest wait for a word.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// The service manager's end of the notification socket.
pub struct Manager {
    socket: UnixDatagram,
    heard: Vec<String>,
}

impl Manager {
    /// Listens, and starts the daemon with that socket.
    pub fn start(workshop: &Workshop, config: &str) -> (Self, Daemon) {
        Self::start_command(workshop, workshop.command(&["run", "--config", config]))
    }

    /// The same with a command of one's own.
    pub fn start_command(workshop: &Workshop, mut command: Command) -> (Self, Daemon) {
        let path = workshop.path("notify.sock");
        // One of a manager before.
        let _ = std::fs::remove_file(&path);
        let socket = UnixDatagram::bind(&path).expect("a socket");
        socket.set_read_timeout(Some(PATIENCE)).unwrap();
        let log = |name| std::fs::File::create(workshop.path(name)).unwrap();
        let child = command
            .env("NOTIFY_SOCKET", &path)
            .stdout(log("stdout"))
            .stderr(log("stderr"))
            .spawn()
            .expect("it starts");
        let heard = Vec::new();
        (Self { socket, heard }, Daemon(child))
    }

    /// Waits until a message holds a word.
    pub fn hears(&mut self, word: &str) -> String {
        let start = Instant::now();
        let mut buffer = [0; 4096];
        while start.elapsed() < PATIENCE {
            let Ok(length) = self.socket.recv(&mut buffer) else {
                break;
            };
            let message = String::from_utf8_lossy(&buffer[..length]).into_owned();
            self.heard.push(message.clone());
            if message.contains(word) {
                return message;
            }
        }
        panic!("never heard {word}; heard {:?}", self.heard);
    }
}

/// A running daemon; it does not outlive its test.
pub struct Daemon(Child);

impl Daemon {
    /// Its process id.
    pub fn id(&self) -> u32 {
        self.0.id()
    }

    pub fn signal(&self, name: &str) {
        let status = Command::new("sh")
            .args(["-c", &format!("kill -{name} {}", self.0.id())])
            .status()
            .expect("a shell");
        assert!(status.success());
    }

    /// Waits for its end, which must be a good one.
    pub fn ends_well(mut self) {
        let status = self.0.wait().expect("it ends");
        assert!(status.success(), "{status}");
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // Gone already, unless the test failed on the way.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A configuration whose clock runs fast, over ninety warm days from 1 January 2026 on.
pub fn demo_config(workshop: &Workshop, seconds_per_day: f64) -> String {
    let mut csv = String::from("DATE,TMAX,TMIN\n");
    let start = chrono::NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
    for day in start.iter_days().take(90) {
        csv += &format!("{day},25.0,15.0\n");
    }
    workshop.write("days.csv", &csv);
    let demo = format!(
        "[demo]\nstarts = \"2026-02-20T06:00:00Z\"\nseconds_per_day = {seconds_per_day}\npublished_lag_days = 0\n"
    );
    let text = config_with("file = \"days.csv\"", "console = true", &demo);
    workshop.write("hatchbell.toml", &text)
}
