//! The calendar that programs subscribe to: whose it is, what moves in it, and what is called off.

use super::{Served, no_server, read_by, told_of_flight};
use crate::support::command::Workshop;
use serde_json::Value;
use std::collections::BTreeMap;

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
        events_in(&text)
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

/// The events of a calendar by their UIDs.
fn events_in(text: &str) -> BTreeMap<String, Value> {
    let read = read_by("read_calendar.py", text);
    let read = read.as_array().unwrap();
    let events: BTreeMap<_, _> = read
        .iter()
        .map(|event| (event["uid"].as_str().unwrap().to_owned(), event.clone()))
        .collect();
    assert_eq!(events.len(), read.len(), "each UID once");
    events
}

#[test]
#[ignore = "talks to Python; run through tests/run"]
fn a_site_that_is_taken_from_a_reader_is_called_off_in_their_calendar_and_in_no_other() {
    let workshop = Workshop::new();
    let config = demonstration(&workshop);
    let all = workshop.read("hatchbell.toml").replace(
        "email = \"garden@mill-lane.example\"",
        "email = \"garden@mill-lane.example\"\nmanages = [\"northgate\"]",
    );
    let manager = "email = \"grounds@northgate.example\"";
    let without = all.replace(
        manager,
        &format!("{manager}\nsites = [\"northgate-pitches\"]"),
    );
    workshop.write("hatchbell.toml", &all);
    workshop.succeeds(&["run", "--once", "--config", &config]);
    let path_of = |recipient: &str| {
        let printed = workshop.succeeds(&["calendar", "--config", &config, recipient]);
        let path = printed.trim().strip_prefix("https://turf.example");
        path.unwrap().to_owned()
    };
    let (theirs, other) = (path_of("northgate-manager"), path_of("mill-lane-owner"));
    let fetched = |text: &str| {
        workshop.write("hatchbell.toml", text);
        let served = Served::start(&workshop, &config);
        let answers = [&theirs, &other].map(|path| events_in(&served.get(path).body));
        served.stop();
        answers
    };
    let is_of_meadow = |event: &Value| {
        let title = event["summary"].as_str().unwrap();
        title.contains("lower meadow")
    };
    let of_meadow = |events: &BTreeMap<String, Value>| -> Vec<Value> {
        events
            .values()
            .filter(|one| is_of_meadow(one))
            .cloned()
            .collect()
    };
    let [before, elsewhere] = fetched(&all);
    assert!(of_meadow(&before).len() > 2, "{before:#?}");
    // Whoever manages them sees the same, and their own.
    assert_eq!(of_meadow(&elsewhere).len(), of_meadow(&before).len());
    let mut titles = elsewhere
        .values()
        .map(|one| one["summary"].as_str().unwrap());
    assert!(
        titles.any(|title| title.starts_with("Mill Lane")),
        "{elsewhere:#?}"
    );

    // Each time a day has passed, and days may have moved.
    let [after, still] = fetched(&without);
    let is_on = |event: &Value| event["status"] == "CONFIRMED";
    assert!(still.values().all(is_on), "{still:#?}");
    for (uid, old) in &before {
        let new = &after[uid];
        let is_over = old["end"].as_str().unwrap() <= "2026-06-20";
        if !is_of_meadow(old) || is_over {
            assert!(is_on(new), "{new}");
            continue;
        }
        assert_eq!(new["status"], "CANCELLED", "{new}");
        assert_eq!(new["sequence"], 1, "{new}");
        let title = format!("Called off: {}", old["summary"].as_str().unwrap());
        assert_eq!(new["summary"], title.as_str());
    }
    let [back, _] = fetched(&all);
    let again = of_meadow(&back);
    assert!(again.iter().any(|one| one["sequence"] == 2), "{again:#?}");
    assert!(again.iter().all(is_on), "{again:#?}");
}

#[test]
fn what_is_logged_is_in_the_next_answer_of_a_calendar_that_was_read_before() {
    let (workshop, config) = told_of_flight(no_server());
    let printed = workshop.succeeds(&["calendar", "--config", &config, "keeper"]);
    let path = printed.trim().strip_prefix("https://turf.example").unwrap();
    let served = Served::start(&workshop, &config);
    let read = || served.get(path).body;
    let before = read();
    assert_eq!(read(), before);
    assert!(!before.contains("water in"), "{before}");
    workshop.succeeds(&[
        "log",
        "application",
        "--site",
        "lawn",
        "--option",
        "imidacloprid",
        "--area",
        "450m2",
        "--date",
        "2026-02-25",
        "--config",
        &config,
    ]);
    let after = read();
    served.stop();
    assert!(
        after.contains("SUMMARY:The lawn: water in imidacloprid"),
        "{after}"
    );
}

/// Two recipients have had the same id, one after the other.
#[test]
fn whoever_has_a_recipient_s_id_next_is_shown_nothing_of_their_calendar() {
    let (workshop, config) = told_of_flight(no_server());
    let path_of = || {
        let printed = workshop.succeeds(&["calendar", "--config", &config, "keeper"]);
        let path = printed.trim().strip_prefix("https://turf.example");
        path.unwrap().to_owned()
    };
    let first = path_of();
    let served = Served::start(&workshop, &config);
    assert!(served.get(&first).body.contains("SUMMARY:The lawn"));
    served.stop();
    let text = workshop.read("hatchbell.toml");
    let swapped = text
        .replace("id = \"keeper\"", "id = \"nobody\"")
        .replace("id = \"rink-keeper\"", "id = \"keeper\"");
    workshop.write("hatchbell.toml", &swapped);
    let second = path_of();
    let served = Served::start(&workshop, &config);
    assert_eq!(served.get(&first).status, 404);
    let calendar = served.get(&second);
    served.stop();
    assert!(
        calendar.body.contains("SUMMARY:The rink"),
        "{}",
        calendar.body
    );
    assert!(!calendar.body.contains("The lawn"), "{}", calendar.body);
}
