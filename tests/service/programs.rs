//! Answers for programs: the same values as the commands print, described, within limits.

use crate::support::command::{Workshop, both, config_with};
use crate::support::manager::{Daemon, Manager};
use chrono::{Days, Utc};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::io::{Read, Write as _};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::Command;

/// The service with its page on a port of its own.
pub struct Served {
    pub workshop: Workshop,
    pub manager: Manager,
    _daemon: Daemon,
}

/// An answer.
pub struct Answer {
    pub status: u16,
    head: String,
    pub body: String,
}

impl Answer {
    pub fn header(&self, name: &str) -> Option<&str> {
        let lines = self.head.lines();
        let mut headers = lines.filter_map(|line| line.split_once(": "));
        headers
            .find(|(key, _)| *key == name)
            .map(|(_, value)| value)
    }

    fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|_| panic!("no JSON: {}", self.body))
    }
}

/// Days of an export from the start of the year before to `last_days_ago`, 25 and 15 °C.
pub fn days(last_days_ago: u64) -> String {
    let mut text = "DATE,TMAX,TMIN\n".to_owned();
    let last = Utc::now().date_naive() - Days::new(last_days_ago);
    let mut day = last - Days::new(500);
    while day <= last {
        writeln!(text, "{day},25.0,15.0").unwrap();
        day = day + Days::new(1);
    }
    text
}

impl Served {
    /// Starts on a station of these days, without waiting for a cycle.
    pub fn on(origin: &str, days: &str) -> Self {
        let workshop = Workshop::new();
        workshop.write("days.csv", days);
        let page = "[web]\nlisten = \"127.0.0.1:0\"\n";
        // Nothing waits for a server.
        let config = config_with(origin, "file = \"told.txt\"", page);
        let path = workshop.write("hatchbell.toml", &config);
        let (mut manager, daemon) = Manager::start(&workshop, &path);
        manager.hears("READY=1");
        Self {
            workshop,
            manager,
            _daemon: daemon,
        }
    }

    /// The same after its first cycle.
    pub fn after_a_cycle(days: &str) -> Self {
        let mut served = Self::on("file = \"days.csv\"", days);
        served.manager.hears("stations asked");
        served
    }

    pub fn address(&self) -> String {
        let log = self.workshop.read("stderr");
        let (_, rest) = log
            .split_once("the page is at http://")
            .expect("it is said");
        rest.split('/').next().expect("an address").to_owned()
    }

    pub fn ask(&self, method: &str, path: &str) -> Answer {
        let address = self.address();
        let mut stream = TcpStream::connect(&address).expect("it listens");
        let request =
            format!("{method} {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
        stream.write_all(request.as_bytes()).expect("it is sent");
        let mut text = String::new();
        stream.read_to_string(&mut text).expect("an answer");
        let (head, body) = text.split_once("\r\n\r\n").expect("a head and a body");
        Answer {
            status: head.split(' ').nth(1).unwrap().parse().unwrap(),
            head: head.replace("\r\n", "\n"),
            body: body.to_owned(),
        }
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path)
    }

    fn command(&self, arguments: &[&str]) -> Value {
        let shared = ["--config", "hatchbell.toml", "--json"];
        let printed = self.workshop.succeeds(&[arguments, &shared].concat());
        serde_json::from_str(&printed).expect("JSON")
    }
}

/// A program of the tests' Python environment.
pub fn peer(name: &str) -> PathBuf {
    let python = std::env::var_os("HATCHBELL_PEERS_PYTHON").expect("run through tests/run");
    PathBuf::from(python).with_file_name(name)
}

#[test]
fn programs_are_answered_what_the_commands_print() {
    let served = Served::after_a_cycle(&days(1));
    let status = served.command(&["status"]);
    let year = status["date"].as_str().unwrap()[..4].to_owned();
    for (path, printed) in [
        ("sites/lawn/status", status["sites"].clone()),
        ("stations", status["stations"].clone()),
        ("outbox", status["outbox"].clone()),
        ("sites/lawn/plan", served.command(&["plan", "lawn"])),
        ("sites/lawn/outlook", served.command(&["outlook", "lawn"])),
        ("sites/lawn/season", served.command(&["season", "lawn"])),
        (
            &format!("sites/lawn/season?year={year}"),
            served.command(&["season", "lawn", "--year", &year]),
        ),
        (
            &format!("sites/lawn/outlook?date={year}-03-01"),
            served.command(&["outlook", "lawn", "--date", &format!("{year}-03-01")]),
        ),
    ] {
        let answer = served.get(&format!("/api/v1/{path}"));
        assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        assert_eq!(answer.header("content-type"), Some("application/json"));
        assert_eq!(answer.json(), printed, "{path}");
    }
    let week = served.get("/api/v1/week").json();
    assert_eq!(week["date"], status["date"]);
    let task = &week["layers"][0]["tasks"][0];
    assert_eq!(task["words"], status["sites"][0]["due"]["words"]);
    assert_eq!(task["sites"][0]["id"], "lawn");
    let sites = served.get("/api/v1/sites?limit=1").json();
    assert_eq!(sites[0]["site"], "lawn");
    assert_eq!(served.get("/api/v1/sites?after=lawn").json(), json!([]));
}

#[test]
fn a_question_with_a_mistake_is_told_as_problem_details() {
    let served = Served::after_a_cycle(&days(1));
    for (method, path, status, word) in [
        ("GET", "sites/nowhere/plan", 404, "no such site"),
        ("GET", "nothing", 404, "openapi.json"),
        ("GET", "sites/lawn/plan?date=2026-02-30", 400, "date"),
        (
            "GET",
            "sites/lawn/plan?date=1066-10-14",
            400,
            "1700 to 2200",
        ),
        ("GET", "sites/lawn/season?year=99999", 400, "1700 to 2200"),
        ("GET", "sites/lawn/season?year=1805", 404, "1805"),
        ("GET", "sites?limit=0", 400, "1 to 500"),
        ("GET", "sites?limit=501", 400, "1 to 500"),
        ("GET", "sites?after=..%2F", 400, "id of a site"),
        ("GET", "sites?after=nowhere", 404, "no such site"),
        ("GET", "week?color=green", 400, "color"),
        ("GET", "sites/%FF/plan", 400, ""),
        ("POST", "week", 405, "GET and HEAD"),
    ] {
        let answer = served.ask(method, &format!("/api/v1/{path}"));
        assert_eq!(answer.status, status, "{path}: {}", answer.body);
        let kind = answer.header("content-type");
        assert_eq!(kind, Some("application/problem+json"), "{path}");
        let problem = answer.json();
        assert_eq!(problem["status"], status, "{path}");
        let detail = problem["detail"].as_str().expect("what it is");
        assert!(detail.contains(word), "{path}: {detail}");
    }
}

#[test]
#[ignore = "runs schemathesis; run through tests/run"]
fn no_question_by_the_description_gets_an_answer_that_it_does_not_describe() {
    let served = Served::after_a_cycle(&days(1));
    let described = served.get("/api/v1/openapi.json").json();
    assert_eq!(described["paths"].as_object().unwrap().len(), 8);
    // Half of the questions are about a site that there is; the others make their own ids.
    for site in ["[parameters]\n\"path.site\" = \"lawn\"\n", ""] {
        served.workshop.write("schemathesis.toml", site);
        let run = Command::new(peer("schemathesis"))
            .current_dir(served.workshop.folder())
            .args([
                "run",
                "--no-color",
                "--max-examples",
                "8",
                "--phases",
                "coverage,fuzzing",
            ])
            .args(["--seed", "15", "--generation-database", "none"])
            .arg(format!("http://{}/api/v1/openapi.json", served.address()))
            .output()
            .expect("it starts");
        assert!(run.status.success(), "{}", both(&run));
        assert!(
            both(&run).contains("8 selected / 8 total"),
            "{}",
            both(&run)
        );
    }
}
