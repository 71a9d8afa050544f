//! The service as the service manager sees it: readiness, watchdog, reload, stop, catching up.

use crate::support::command::{Workshop, both, config_with};
use std::os::unix::net::UnixDatagram;
use std::process::{Child, Command};
use std::time::{Duration, Instant};

const PATIENCE: Duration = Duration::from_secs(60);

/// The service manager's end of the notification socket.
struct Manager {
    socket: UnixDatagram,
    heard: Vec<String>,
}

impl Manager {
    /// Listens, and starts the daemon with that socket.
    fn start(workshop: &Workshop, config: &str) -> (Self, Daemon) {
        let path = workshop.path("notify.sock");
        let socket = UnixDatagram::bind(&path).expect("a socket");
        socket.set_read_timeout(Some(PATIENCE)).unwrap();
        let log = |name| std::fs::File::create(workshop.path(name)).unwrap();
        let child = workshop
            .command(&["run", "--config", config])
            .env("NOTIFY_SOCKET", &path)
            .stdout(log("stdout"))
            .stderr(log("stderr"))
            .spawn()
            .expect("it starts");
        let heard = Vec::new();
        (Self { socket, heard }, Daemon(child))
    }

    /// Waits until a message holds a word.
    fn hears(&mut self, word: &str) -> String {
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
struct Daemon(Child);

impl Daemon {
    fn signal(&self, name: &str) {
        let status = Command::new("sh")
            .args(["-c", &format!("kill -{name} {}", self.0.id())])
            .status()
            .expect("a shell");
        assert!(status.success());
    }

    fn ends_well(mut self) {
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

fn demo_config(workshop: &Workshop, seconds_per_day: f64) -> String {
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

#[test]
fn the_daemon_says_ready_beats_and_stops_when_told() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("READY=1");
    manager.hears("WATCHDOG=1");
    let status = manager.hears("stations asked");
    assert!(
        status.contains("next look 2026-02-21 06:00 UTC"),
        "{status}"
    );
    daemon.signal("TERM");
    manager.hears("STOPPING=1");
    daemon.ends_well();
}

#[test]
fn a_demonstration_runs_through_its_days_and_prints_each_alert_once() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 0.2);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    // Flight is passed on 25 February, egg lay on 8 March.
    let start = Instant::now();
    while !workshop
        .read("stdout")
        .contains("egg lay has begun (8 March)")
    {
        assert!(start.elapsed() < PATIENCE, "{}", workshop.read("stderr"));
        manager.hears("stations asked");
    }
    daemon.signal("TERM");
    daemon.ends_well();
    let printed = workshop.read("stdout");
    assert_eq!(printed.matches("to the keeper").count(), 2, "{printed}");
    for alert in [
        "Japanese beetle: adult flight has begun (25 February): The lawn\nNext: egg lay",
        "Japanese beetle: egg lay has begun (8 March): The lawn\nNext: hatch",
    ] {
        assert_eq!(printed.matches(alert).count(), 1, "{alert}: {printed}");
    }
}

#[test]
fn a_good_new_configuration_is_taken_and_a_bad_one_is_not() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    let good = workshop.read("hatchbell.toml");
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");

    workshop.write(
        "hatchbell.toml",
        &good.replace("latitude = 27.4", "latitude = 474"),
    );
    daemon.signal("HUP");
    manager.hears("RELOADING=1");
    manager.hears("old configuration stays in force");
    let log = workshop.read("stderr");
    assert!(
        log.contains("hatchbell.toml:23:12: error: latitude must be"),
        "{log}"
    );

    workshop.write("hatchbell.toml", &good.replace("A test", "Another name"));
    daemon.signal("HUP");
    manager.hears("new configuration is in force");

    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn status_says_that_the_configuration_has_changed_until_the_daemon_has_read_it() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    let good = workshop.read("hatchbell.toml");
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");
    let differs = || {
        let output = workshop.run(&["status", "--problems", "--config", &config]);
        both(&output).contains("the configuration has changed since the service read it")
    };
    assert!(!differs());
    workshop.write("hatchbell.toml", &good.replace("A test", "Another name"));
    assert!(differs());
    daemon.signal("HUP");
    manager.hears("new configuration is in force");
    assert!(!differs());
    workshop.write("hatchbell.toml", &good);
    assert!(differs());
    daemon.signal("TERM");
    daemon.ends_well();
    assert!(!differs(), "no configuration is in force");
}

#[test]
fn a_new_database_needs_a_restart_and_the_daemon_says_so() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    let good = workshop.read("hatchbell.toml");
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");
    workshop.write("hatchbell.toml", &good.replace("hatchbell.db", "other.db"));
    daemon.signal("HUP");
    manager.hears("a new database needs a restart");
    daemon.signal("TERM");
    daemon.ends_well();
}
