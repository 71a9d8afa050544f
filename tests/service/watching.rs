//! What watches the service: whether it lives, is ready and well, and its figures.

use super::programs::{Served, days, peer};
use crate::support::command::Workshop;
use chrono::Utc;
use hatchbell::domain::place::site::Channel;
use hatchbell::store::Store;
use hatchbell::store::outbox::{About, Draft};
use serde_json::Value;
use std::io::Write;
use std::net::TcpListener;
use std::process::{Command, Stdio};

/// What the three addresses answer.
fn states(served: &Served) -> [u16; 3] {
    ["/livez", "/readyz", "/healthz"].map(|path| {
        let answer = served.get(path);
        assert_eq!(answer.header("cache-control"), Some("no-store"), "{path}");
        let word = if answer.status == 200 {
            "ok\n"
        } else {
            "not ok\n"
        };
        assert_eq!(answer.body, word, "no details");
        answer.status
    })
}

/// Writes down a message and gives it up.
fn give_a_message_up(workshop: &Workshop) -> i64 {
    let mut store = Store::open(&workshop.path("hatchbell.db")).expect("it opens");
    let draft = Draft {
        recipient: "nobody-any-more",
        member: "member",
        channel: Channel::Email,
        title: "a title".into(),
        body: "a text".into(),
        urgent: false,
        about: About::default(),
    };
    store
        .record(&[], &[draft], Utc::now())
        .expect("it is written");
    let number = store.unsent(false).expect("it works")[0].number;
    assert!(store.drop_message(number).expect("it works"));
    number
}

#[test]
fn a_service_with_new_days_is_well_until_a_message_is_given_up() {
    let served = Served::after_a_cycle(&days(1));
    assert_eq!(states(&served), [200, 200, 200]);
    give_a_message_up(&served.workshop);
    assert_eq!(states(&served), [200, 200, 503]);
}

#[test]
fn a_service_whose_station_is_stale_is_ready_and_not_well() {
    let served = Served::after_a_cycle(&days(60));
    assert_eq!(states(&served), [200, 200, 503]);
}

#[test]
fn a_service_whose_first_cycle_is_under_way_lives_and_is_not_ready() {
    // It takes connections and never answers.
    let silent = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("url = \"http://{}/days.csv\"", silent.local_addr().unwrap());
    let served = Served::on(&url, "");
    assert_eq!(states(&served), [200, 503, 503]);
}

#[test]
#[ignore = "reads with prometheus_client; run through tests/run"]
fn figures_are_read_by_a_library_and_name_no_member_or_site() {
    let served = Served::after_a_cycle(&days(60));
    give_a_message_up(&served.workshop);
    let answer = served.get("/metrics");
    let kind = answer.header("content-type");
    assert_eq!(kind, Some("text/plain; version=0.0.4; charset=utf-8"));
    let mut reader = Command::new(peer("python"))
        .arg(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/peers/metrics.py"
        ))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut input = reader.stdin.take().unwrap();
    input.write_all(answer.body.as_bytes()).unwrap();
    drop(input);
    let read = reader.wait_with_output().unwrap();
    assert!(read.status.success());
    let families: Value = serde_json::from_slice(&read.stdout).expect("JSON");
    let value = |name: &str, label: &str| {
        let samples = families[name]["samples"].as_array().expect("a family");
        let is_it = |sample: &&Value| sample[0].as_str().unwrap().contains(label);
        samples.iter().find(is_it).expect("a sample")[1].clone()
    };
    assert_eq!(value("hatchbell_station_stale", "station=only"), 1.0);
    assert_eq!(value("hatchbell_messages", "state=given-up"), 1.0);
    assert_eq!(value("hatchbell_overdue", ""), 0.0);
    assert_eq!(families["hatchbell_messages_sent"]["type"], "counter");
    let last = value("hatchbell_last_cycle_timestamp_seconds", "");
    assert!((Utc::now().timestamp() as f64 - last.as_f64().unwrap()).abs() < 600.0);
    for (name, family) in families.as_object().unwrap() {
        assert!(name.starts_with("hatchbell_"), "{name}");
        assert!(family["help"].as_str().unwrap().ends_with('.'), "{name}");
        for sample in family["samples"].as_array().unwrap() {
            let labels = sample[0].as_str().unwrap();
            let keys = ["station=", "state=", "depth=", "version="];
            assert!(
                labels.is_empty() || keys.iter().any(|key| labels.starts_with(key)),
                "{labels}"
            );
            for id in ["member", "lawn", "keeper", "nobody"] {
                assert!(!labels.contains(id), "{labels}");
            }
        }
    }
}
