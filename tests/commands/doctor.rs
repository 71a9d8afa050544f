//! `hatchbell doctor`: what is wrong with the installation on one page, each with what to do.

use crate::support::command::{Workshop, both, config_with};
use rusqlite::Connection;
use serde_json::Value;

/// A service that has just run a cycle, with days up to yesterday.
fn healthy() -> Workshop {
    let workshop = Workshop::new();
    let mut days = String::from("DATE,TMAX,TMIN\n");
    let today = chrono::Utc::now().date_naive();
    for ago in (1..60).rev() {
        let day = today - chrono::Days::new(ago);
        days += &format!("{day},12.{},4.{}\n", ago % 10, ago % 7);
    }
    workshop.write("days.csv", &days);
    let text = config_with("file = \"days.csv\"", "console = true", "");
    workshop.write("hatchbell.toml", &text);
    workshop.succeeds(&["run", "--once", "--config", "hatchbell.toml"]);
    workshop
}

fn doctor(workshop: &Workshop) -> (Option<i32>, String) {
    let output = workshop.run(&["doctor", "--config", "hatchbell.toml"]);
    let text = both(&output);
    let words: Vec<&str> = text.split_whitespace().collect();
    (output.status.code(), words.join(" "))
}

fn change(workshop: &Workshop, sql: &str) {
    let database = Connection::open(workshop.path("hatchbell.db")).unwrap();
    database.execute_batch(sql).unwrap();
}

/// Part by part whether all is well.
fn parts(workshop: &Workshop) -> Vec<(String, bool)> {
    let output = workshop.run(&["doctor", "--json", "--config", "hatchbell.toml"]);
    let page: Value = serde_json::from_slice(&output.stdout).unwrap();
    let parts = page.as_array().unwrap().iter();
    parts
        .map(|part| {
            (
                part["part"].as_str().unwrap().to_owned(),
                part["well"].as_bool().unwrap(),
            )
        })
        .collect()
}

fn ill(workshop: &Workshop) -> Vec<String> {
    let parts = parts(workshop).into_iter();
    parts
        .filter(|(_, well)| !well)
        .map(|(part, _)| part)
        .collect()
}

#[test]
fn a_healthy_installation_is_well_in_every_part() {
    let workshop = healthy();
    let names: Vec<String> = parts(&workshop).into_iter().map(|(part, _)| part).collect();
    let all = [
        "configuration",
        "database",
        "disk",
        "clock",
        "service",
        "stations",
        "milestones",
        "outbox",
    ];
    assert_eq!(names, all);
    // So few days hold milestones only where a season lacks its beginning.
    let ill = ill(&workshop);
    assert!(ill.is_empty() || ill == ["milestones"], "{ill:?}");
    let (code, text) = doctor(&workshop);
    assert_eq!(code, Some(if ill.is_empty() { 0 } else { 3 }), "{text}");
    assert!(text.contains("ok database: sound"), "{text}");
}

#[test]
fn a_service_that_ran_no_cycle_when_one_was_due_is_found() {
    let workshop = healthy();
    change(
        &workshop,
        "UPDATE note SET value = '2026-02-01T06:00:00Z' WHERE name = 'last-cycle'",
    );
    let (code, text) = doctor(&workshop);
    assert_eq!(code, Some(3), "{text}");
    assert!(
        text.contains(
            "! service: last cycle 2026-02-01 06:00 UTC, and one was due 2026-02-02 06:00 UTC"
        ),
        "{text}"
    );
    assert!(
        text.contains("To do: see whether it runs: systemctl status hatchbell."),
        "{text}"
    );
}

#[test]
fn messages_that_do_not_arrive_are_found_and_what_is_over_is_not() {
    let workshop = healthy();
    let now = chrono::Utc::now().to_rfc3339();
    change(
        &workshop,
        &format!(
            "INSERT INTO outbox (recipient, channel, title, body, created_at, state, tries, next_try_at, last_error, message_id)
             VALUES ('keeper', 'email', 't', 'b', '{now}', 'waiting', 2, '{now}', 'no such host', 'a')"
        ),
    );
    assert!(ill(&workshop).contains(&"outbox".to_owned()));
    let (_, text) = doctor(&workshop);
    assert!(text.contains("keeper by email: no such host"), "{text}");
    assert!(text.contains("hatchbell outbox says why"), "{text}");
    change(
        &workshop,
        "UPDATE outbox SET state = 'sent' WHERE message_id = 'a'",
    );
    assert!(!ill(&workshop).contains(&"outbox".to_owned()));
}

#[test]
fn a_missing_secret_and_a_missing_database_are_found() {
    let workshop = Workshop::new();
    let push =
        "push = { url = \"https://127.0.0.1:1/turf\", format = \"json\", token_file = \"none\" }";
    let text = config_with("file = \"days.csv\"", push, "");
    workshop.write("hatchbell.toml", &text);
    let (code, text) = doctor(&workshop);
    assert_eq!(code, Some(3), "{text}");
    assert!(text.contains("error: file none: not found"), "{text}");
    assert!(
        text.contains("! database: there is no database at hatchbell.db yet"),
        "{text}"
    );
    assert_eq!(ill(&workshop), ["configuration", "database"]);
    assert!(!workshop.path("hatchbell.db").exists());
}

#[test]
fn a_damaged_database_is_found_and_nothing_is_read_from_it() {
    let workshop = healthy();
    change(
        &workshop,
        "PRAGMA wal_checkpoint(TRUNCATE); PRAGMA journal_mode = DELETE;",
    );
    let path = workshop.path("hatchbell.db");
    let mut bytes = std::fs::read(&path).unwrap();
    for page in bytes.chunks_mut(4096).skip(3) {
        page.fill(0x5a);
    }
    std::fs::write(&path, bytes).unwrap();
    let (code, text) = doctor(&workshop);
    assert_eq!(code, Some(3), "{text}");
    assert!(text.contains("! database"), "{text}");
    assert!(text.contains("hatchbell restore FILE"), "{text}");
    assert!(!text.contains("stations:"), "{text}");
}

#[test]
fn copies_from_before_updates_are_named_with_their_size() {
    let workshop = healthy();
    workshop.write("hatchbell.db.before-14", &"x".repeat(2_000_000));
    let (_, text) = doctor(&workshop);
    assert!(text.contains("hatchbell.db.before-14 (2.0 MB)"), "{text}");
}
