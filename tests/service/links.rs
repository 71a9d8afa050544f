//! Links that need no sign-in, on a real page: what each shows, to whom, and for how long; the mail that
//! brings them; and the calendar that programs subscribe to.

use crate::support::command::{Workshop, config_with, second_member};
use crate::support::manager::{Daemon, Manager};
use chrono::{Days, NaiveDate};
use hatchbell::link::{LinkKeys, LinkTo};
use hatchbell::store::Store;
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::{Command, Stdio};
use std::time::Duration;

mod calendars;
mod mails;

const PATIENCE: Duration = Duration::from_secs(30);
const PAGE: &str =
    "[web]\nlisten = \"127.0.0.1:0\"\naddress = \"https://turf.example/\"\nsign_in = true\n";

/// Days of 10 °C·d from 1 January 2026: adult flight falls on 25 February, and a mail tells it.
fn told_of_flight(mail_port: u16) -> (Workshop, String) {
    told_of_flight_at(mail_port, 1)
}

/// The same of several sites.
fn told_of_flight_at(mail_port: u16, sites: usize) -> (Workshop, String) {
    let workshop = Workshop::new();
    let start = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
    let csv = (0..60).fold(String::from("DATE,TMAX,TMIN\n"), |text, index| {
        text + &format!("{},25.0,15.0\n", start + Days::new(index))
    });
    workshop.write("daily.csv", &csv);
    let more = format!(
        "{}{PAGE}[email]\nhost = \"127.0.0.1\"\nport = {mail_port}\nsecurity = \"plain\"\n\
         from = \"Turf <turf@three-brooks.example>\"\n\
         [demo]\nstarts = \"2026-02-24T06:00:00Z\"\nseconds_per_day = 86400\n\
         published_lag_days = 0\ndeliver = \"as-configured\"\n",
        second_member("console = true")
    );
    let keeper = "email = \"keeper@three-brooks.example\"";
    let text = config_with("file = \"daily.csv\"", keeper, &more);
    let others = (2..=sites).fold(String::new(), |text, number| {
        text + &format!(
            "[[member.site]]\nid = \"lawn-{number}\"\nname = \"Lawn {number}\"\nturf = \"ryegrass\"\n\
             latitude = 27.4\nstation = \"only\"\nspecies = [\"japanese-beetle\"]\n"
        )
    });
    let recipient = "[[member.recipient]]\nid = \"keeper\"\n";
    let all = format!("{others}{recipient}tell = [\"milestones\"]\n");
    let text = match sites {
        1 => text,
        _ => text.replace(recipient, &all),
    };
    let config = workshop.write("hatchbell.toml", &text);
    workshop.run(&["run", "--once", "--config", &config]);
    workshop.run(&["run", "--once", "--config", &config]);
    (workshop, config)
}

/// A port where nobody listens.
fn no_server() -> u16 {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().port()
}

/// The service with its page.
struct Served {
    daemon: Option<Daemon>,
    address: String,
}

impl Served {
    fn start(workshop: &Workshop, config: &str) -> Self {
        let (mut manager, daemon) = Manager::start(workshop, config);
        manager.hears("READY=1");
        let log = workshop.read("stderr");
        let (_, after) = log.split_once("the page is at http://").expect("a page");
        let (address, _) = after.split_once('/').expect("an address");
        Self {
            daemon: Some(daemon),
            address: address.to_owned(),
        }
    }

    fn stop(mut self) {
        let daemon = self.daemon.take().expect("a daemon");
        daemon.signal("TERM");
        daemon.ends_well();
    }

    fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, "", "")
    }

    /// What the page answers to a request without cookies.
    fn ask(&self, method: &str, path: &str, header: &str, body: &str) -> Answer {
        let mut stream = TcpStream::connect(&self.address).expect("it listens");
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let request = format!(
            "{method} {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n{header}\
             Content-Length: {}\r\n\r\n{body}",
            self.address,
            body.len()
        );
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("text");
        let (head, body) = answer.split_once("\r\n\r\n").expect("a head");
        let mut lines = head.lines();
        let status = lines.next().expect("a status line");
        let headers = lines.filter_map(|line| line.split_once(": "));
        Answer {
            status: status[9..12].parse().expect("a status"),
            headers: headers
                .map(|(name, value)| (name.to_lowercase(), value.to_owned()))
                .collect(),
            body: body.to_owned(),
        }
    }
}

struct Answer {
    status: u16,
    headers: BTreeMap<String, String>,
    body: String,
}

/// The keys of a workshop's database, and the id of its first message.
fn keys(workshop: &Workshop) -> (LinkKeys, String) {
    let store = Store::open(&workshop.path("hatchbell.db")).unwrap();
    let keys = LinkKeys::new(&store.link_secret_or("a secret of the test").unwrap());
    let sql = "SELECT message_id FROM outbox WHERE recipient = 'keeper'";
    (keys, texts(workshop, sql).remove(0))
}

fn database(workshop: &Workshop) -> rusqlite::Connection {
    rusqlite::Connection::open(workshop.path("hatchbell.db")).unwrap()
}

fn texts(workshop: &Workshop, sql: &str) -> Vec<String> {
    let database = database(workshop);
    let mut statement = database.prepare(sql).unwrap();
    let rows = statement.query_map([], |row| row.get(0)).unwrap();
    rows.map(Result::unwrap).collect()
}

/// What a program of Python makes of a text.
fn read_by(script: &str, text: &str) -> Value {
    let python = std::env::var_os("HATCHBELL_PEERS_PYTHON").expect("run through tests/run");
    let script = format!("{}/tests/peers/{script}", env!("CARGO_MANIFEST_DIR"));
    let mut process = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut input = process.stdin.take().unwrap();
    input.write_all(text.as_bytes()).unwrap();
    drop(input);
    let output = process.wait_with_output().unwrap();
    assert!(output.status.success(), "{text}");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

#[test]
fn a_link_to_a_task_shows_its_site_alone_and_lapses() {
    let (workshop, config) = told_of_flight(no_server());
    let (keys, message) = keys(&workshop);
    let key = |message: &str, site| keys.key(LinkTo::Task { message, site });
    let of_lawn = key(&message, "lawn");
    let served = Served::start(&workshop, &config);
    let path = format!("/task/{message}/lawn/{of_lawn}");
    let shown = served.get(&path);
    assert_eq!(shown.status, 200, "{}", shown.body);
    assert!(shown.body.contains("<h1>The lawn</h1>"), "{}", shown.body);
    assert!(!shown.body.contains("rink"), "{}", shown.body);
    assert!(!shown.body.contains("href=\"/\""), "{}", shown.body);
    assert_eq!(shown.headers["cache-control"], "no-store");
    // Another site, with its key and with that one; another message; no key of ours.
    let of_rink = key(&message, "rink");
    for wrong in [
        format!("/task/{message}/rink/{of_lawn}"),
        format!("/task/{message}/rink/{of_rink}"),
        format!("/task/no-message/lawn/{}", key("no-message", "lawn")),
        format!("/task/{message}/lawn/{of_rink}"),
        format!("/task/{message}/lawn/-"),
    ] {
        assert_eq!(served.get(&wrong).status, 404, "{wrong}");
    }
    let older = "UPDATE outbox SET created_at = '2026-01-25T06:00:00Z'";
    database(&workshop).execute(older, []).unwrap();
    let lapsed = served.get(&path);
    assert_eq!(lapsed.status, 410);
    assert!(!lapsed.body.contains("The lawn"), "{}", lapsed.body);
    served.stop();
}

#[test]
fn the_links_of_a_message_show_numbers_and_dates_as_its_reader_wants_them() {
    let (workshop, config) = told_of_flight(no_server());
    let text = std::fs::read_to_string(&config).unwrap();
    let keeper = "id = \"keeper\"\n";
    let own = text.replacen(keeper, &format!("{keeper}dates = \"iso\"\n"), 1);
    assert_ne!(own, text);
    workshop.write("hatchbell.toml", &own);
    let (keys, message) = keys(&workshop);
    let served = Served::start(&workshop, &config);
    let of_task = LinkTo::Task {
        message: &message,
        site: "lawn",
    };
    let of_all = LinkTo::Tasks { message: &message };
    for to in [of_task, of_all] {
        let shown = served.get(&keys.path(to)).body;
        assert!(shown.contains("2026-03-"), "{shown}");
        for month in [" Feb", " Mar"] {
            assert!(!shown.contains(month), "{month}: {shown}");
        }
    }
    served.stop();
}

#[test]
fn the_link_to_all_tasks_shows_the_sites_of_its_message_that_are_still_its_reader_s_and_lapses() {
    let (workshop, config) = told_of_flight_at(no_server(), 3);
    let (keys, message) = keys(&workshop);
    let key = |message: &str| keys.key(LinkTo::Tasks { message });
    // The message was of two of the three sites; the rink is another member's.
    let places = "UPDATE outbox SET places = 'lawn lawn-2 rink' WHERE recipient = 'keeper'";
    database(&workshop).execute(places, []).unwrap();
    let served = Served::start(&workshop, &config);
    let path = format!("/tasks/{message}/{}", key(&message));
    let shown = served.get(&path);
    assert_eq!(shown.status, 200, "{}", shown.body);
    assert_eq!(shown.headers["cache-control"], "no-store");
    for (words, is_there) in [
        ("The lawn", true),
        ("Lawn 2", true),
        ("Lawn 3", false),
        ("rink", false),
        ("href=\"/\"", false),
    ] {
        assert_eq!(
            shown.body.contains(words),
            is_there,
            "{words}: {}",
            shown.body
        );
    }
    let links: Vec<&str> = shown
        .body
        .split("href=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .filter(|link| link.starts_with("/task/"))
        .collect();
    assert_eq!(links.len(), 2, "{}", shown.body);
    for link in links {
        assert_eq!(served.get(link).status, 200, "{link}");
    }
    let site = "";
    let of_task = keys.key(LinkTo::Task {
        message: &message,
        site,
    });
    for wrong in [
        format!("/tasks/{message}/{of_task}"),
        format!("/tasks/{message}/-"),
        format!("/tasks/no-message/{}", key("no-message")),
        format!("/tasks/no-message/{}", key(&message)),
    ] {
        assert_eq!(served.get(&wrong).status, 404, "{wrong}");
    }
    let older = "UPDATE outbox SET created_at = '2026-01-25T06:00:00Z'";
    database(&workshop).execute(older, []).unwrap();
    let lapsed = served.get(&path);
    assert_eq!(lapsed.status, 410);
    assert!(!lapsed.body.contains("The lawn"), "{}", lapsed.body);
    served.stop();
}

#[test]
fn one_click_stops_mail_that_is_not_urgent_until_all_is_wanted_again() {
    let (workshop, config) = told_of_flight(no_server());
    let (keys, _) = keys(&workshop);
    let recipient = "keeper";
    let key = keys.key(LinkTo::StopMail { recipient });
    let path = format!("/stop-mail/keeper/{key}");
    let state = || {
        texts(
            &workshop,
            "SELECT state FROM outbox WHERE recipient = 'keeper'",
        )
    };
    let click = |served: &Served, path: &str| {
        let form = "Content-Type: application/x-www-form-urlencoded\r\n";
        served.ask("POST", path, form, "List-Unsubscribe=One-Click")
    };
    let stops = || {
        let store = Store::open_to_read(&workshop.path("hatchbell.db")).unwrap();
        store.mail_stops().unwrap().len()
    };

    let served = Served::start(&workshop, &config);
    assert_eq!(served.get(&path).status, 200);
    assert_eq!(click(&served, "/stop-mail/rink-keeper/none").status, 404);
    assert_eq!(
        click(&served, &format!("/stop-mail/rink-keeper/{key}")).status,
        404
    );
    assert_eq!(stops(), 0, "whoever only looks changes nothing");
    let stopped = click(&served, &path);
    assert_eq!(stopped.status, 200, "no redirect: {}", stopped.body);
    assert!(!stopped.headers.contains_key("set-cookie"));
    assert!(
        stopped.body.contains("Send everything again"),
        "{}",
        stopped.body
    );
    served.stop();
    assert_eq!(stops(), 1);
    // What is urgent is tried all the same.
    database(&workshop)
        .execute("UPDATE outbox SET urgent = 1", [])
        .unwrap();
    workshop.run(&["run", "--once", "--config", &config]);
    assert_eq!(state(), ["waiting"]);
    database(&workshop)
        .execute("UPDATE outbox SET urgent = 0", [])
        .unwrap();
    workshop.run(&["run", "--once", "--config", &config]);
    assert_eq!(state(), ["given-up"]);

    let served = Served::start(&workshop, &config);
    assert_eq!(click(&served, &format!("{path}/undo")).status, 200);
    served.stop();
    database(&workshop)
        .execute("UPDATE outbox SET state = 'waiting'", [])
        .unwrap();
    workshop.run(&["run", "--once", "--config", &config]);
    assert_eq!(state(), ["waiting"]);
}
