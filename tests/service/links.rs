//! Links that need no sign-in, on a real page: what each shows, to whom, and for how long; the mail that
//! brings them; and the calendar that programs subscribe to.

use crate::support::command::{Workshop, config_with, second_member};
use crate::support::manager::{Daemon, Manager};
use crate::support::smtp_peer::SmtpPeer;
use chrono::{Days, NaiveDate};
use hatchbell::link::{LinkKeys, LinkTo};
use hatchbell::store::Store;
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::{Command, Stdio};
use std::time::Duration;

const PATIENCE: Duration = Duration::from_secs(30);
const PAGE: &str =
    "[web]\nlisten = \"127.0.0.1:0\"\naddress = \"https://turf.example/\"\nsign_in = true\n";

/// Days of 10 °C·d from 1 January 2026: adult flight falls on 25 February, and a mail tells it.
fn told_of_flight(mail_port: u16) -> (Workshop, String) {
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

#[test]
fn the_address_of_a_calendar_is_its_recipient_s_and_can_be_taken_back() {
    let (workshop, config) = told_of_flight(no_server());
    let command = |more: &[&str]| {
        let printed = workshop.succeeds(&[&["calendar", "--config", &config], more].concat());
        let path = printed.trim().strip_prefix("https://turf.example");
        path.map_or(String::new(), str::to_owned)
    };
    let first = command(&["keeper"]);
    assert_eq!(command(&["keeper"]), first, "asking again changes nothing");
    let other = command(&["rink-keeper"]);
    let served = Served::start(&workshop, &config);
    let calendar = served.get(&first);
    assert_eq!(calendar.status, 200, "{}", calendar.body);
    assert_eq!(
        calendar.headers["content-type"],
        "text/calendar; charset=utf-8"
    );
    assert!(
        calendar
            .body
            .contains("SUMMARY:The lawn: Japanese beetle\\, flight")
    );
    assert!(!calendar.body.contains("The rink"), "{}", calendar.body);
    assert!(calendar.body.lines().all(|line| line.len() <= 75));
    assert!(!calendar.body.contains("METHOD"));
    let swapped = first.replace("/keeper/", "/rink-keeper/");
    assert_eq!(served.get(&swapped).status, 404);
    assert_eq!(served.get(&other).status, 200);

    let known = format!("If-None-Match: {}\r\n", calendar.headers["etag"]);
    let again = served.ask("GET", &first, &known, "");
    assert_eq!((again.status, again.body.as_str()), (304, ""));

    let second = command(&["keeper", "--renew"]);
    assert_eq!(served.get(&first).status, 404);
    assert_eq!(served.get(&second).status, 200);
    command(&["keeper", "--close"]);
    assert_eq!(served.get(&second).status, 404);
    let third = command(&["keeper"]);
    assert_eq!(served.get(&second).status, 404);
    assert_eq!(served.get(&third).status, 200);
    served.stop();
}

/// The demonstration in a folder of its own, with a page.
fn demonstration(workshop: &Workshop) -> String {
    let root = env!("CARGO_MANIFEST_DIR");
    let text = std::fs::read_to_string(format!("{root}/config/demo.toml")).unwrap();
    let text = text
        .replace("\"../fixtures", &format!("\"{root}/fixtures"))
        .replace("../target/demo/", "")
        .replace("seconds_per_day = 1.0", "seconds_per_day = 86400")
        .replace("starts = \"2026-04-15", "starts = \"2026-06-20")
        .replace(
            "127.0.0.1:8417\"",
            "127.0.0.1:0\"\naddress = \"https://turf.example/\"\nsign_in = true",
        );
    workshop.write("hatchbell.toml", &text)
}

#[test]
#[ignore = "talks to Python; run through tests/run"]
fn a_calendar_program_reads_events_that_move_and_stay_the_same_ones() {
    let workshop = Workshop::new();
    let config = demonstration(&workshop);
    workshop.succeeds(&["run", "--once", "--config", &config]);
    let address = workshop.succeeds(&["calendar", "--config", &config, "northgate-manager"]);
    let path = address
        .trim()
        .strip_prefix("https://turf.example")
        .unwrap()
        .to_owned();
    let fetched = || -> BTreeMap<String, Value> {
        let served = Served::start(&workshop, &config);
        let text = served.get(&path).body;
        served.stop();
        let read = read_by("read_calendar.py", &text);
        let events = read.as_array().unwrap().iter();
        let events: BTreeMap<_, _> = events
            .map(|event| (event["uid"].as_str().unwrap().to_owned(), event.clone()))
            .collect();
        assert_eq!(
            events.len(),
            read.as_array().unwrap().len(),
            "each UID once"
        );
        events
    };
    let before = fetched();
    let has = |words: &str| {
        let mut titles = before
            .values()
            .map(|event| event["summary"].as_str().unwrap());
        assert!(
            titles.any(|title| title.contains(words)),
            "{words}: {before:#?}"
        );
    };
    has("Northgate, pitches 1 to 6: Japanese beetle, hatch");
    has("Northgate, pitches 1 to 6: days to apply");
    has("Northgate, pitches 1 to 6: last day to apply");
    has("Northgate, lower meadow: count grubs");
    for event in before.values() {
        assert!(event["end"].as_str() > event["start"].as_str(), "{event}");
        assert_eq!(event["sequence"], 0, "{event}");
    }
    for _ in 0..6 {
        workshop.succeeds(&["run", "--once", "--config", &config]);
    }
    let after = fetched();
    let mut moved = 0;
    for (uid, old) in &before {
        let new = after.get(uid).unwrap_or_else(|| panic!("{uid} has gone"));
        let has_moved = ["start", "end", "status"]
            .iter()
            .any(|key| old[key] != new[key]);
        moved += usize::from(has_moved);
        assert_eq!(new["sequence"], i64::from(has_moved), "{old} {new}");
        if *old == *new {
            continue;
        }
        assert!(
            new["stamp"].as_str() >= old["stamp"].as_str(),
            "{old} {new}"
        );
    }
    assert!(moved > 3, "{before:#?} {after:#?}");
}

#[test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
fn a_mail_says_the_same_as_text_and_as_a_page_with_the_season_drawn() {
    let mut mail = SmtpPeer::start(&[]);
    let (workshop, config) = told_of_flight(mail.port());
    let received = mail.messages_at_least(1, PATIENCE).remove(0);
    assert!(
        received.content.len() < 60_000,
        "{}",
        received.content.len()
    );
    let read = read_by("read_mail.py", &received.content);
    assert_eq!(
        read["kinds"],
        serde_json::json!([
            "multipart/alternative",
            "text/plain",
            "multipart/related",
            "text/html",
            "image/png"
        ])
    );
    let words = |of: &str| -> Vec<String> {
        let text = read[of].as_str().expect("text");
        text.split_whitespace().map(str::to_owned).collect()
    };
    // Dashes before the items of lists are the text's alone.
    let plain: Vec<String> = words("plain")
        .into_iter()
        .filter(|word| word != "-")
        .collect();
    assert_eq!(words("page"), plain);
    assert_eq!(read["size"], serde_json::json!([720, 504]));
    let shown = read["alternative"].as_str().expect("words");
    assert!(!shown.contains("The lawn"), "the caption says it: {shown}");
    assert_eq!(
        read["caption"], "The lawn: Japanese beetle, season 2026.",
        "below the picture"
    );
    assert!(shown.contains("flight at"), "{shown}");
    assert_eq!(read["picture_is_there"], true);
    assert_eq!(
        read["elsewhere"],
        serde_json::json!([]),
        "nothing is fetched"
    );

    let one_click = received.header("List-Unsubscribe");
    assert_eq!(
        received.header("List-Unsubscribe-Post"),
        "List-Unsubscribe=One-Click"
    );
    assert_eq!(received.header("Auto-Submitted"), "auto-generated");
    let path = one_click.strip_prefix("<https://turf.example").unwrap();
    let path = path.strip_suffix('>').unwrap();
    let links = read["links"].as_array().unwrap();
    let task = links[0]
        .as_str()
        .unwrap()
        .strip_prefix("https://turf.example")
        .unwrap();
    assert_eq!(links.len(), 2);
    let served = Served::start(&workshop, &config);
    assert_eq!(served.get(task).status, 200);
    assert_eq!(served.get(path).status, 200);
    served.stop();
}

#[test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
fn without_an_address_of_the_page_a_mail_has_no_links() {
    let mut mail = SmtpPeer::start(&[]);
    let workshop = Workshop::new();
    let (other, _) = told_of_flight(no_server());
    let text = other.read("hatchbell.toml");
    let port = mail.port().to_string();
    let old = text
        .lines()
        .find(|line| line.starts_with("port = "))
        .unwrap();
    let text = text
        .replace(old, &format!("port = {port}"))
        .replace(PAGE, "");
    let config = workshop.write("hatchbell.toml", &text);
    workshop.write("daily.csv", &other.read("daily.csv"));
    for _ in 0..2 {
        workshop.succeeds(&["run", "--once", "--config", &config]);
    }
    let received = mail.messages_at_least(1, PATIENCE).remove(0);
    let read = read_by("read_mail.py", &received.content);
    assert_eq!(read["links"], serde_json::json!([]));
    assert!(!received.content.contains("List-Unsubscribe"));
    assert!(!received.text.contains("http"), "{}", received.text);
}
