//! `hatchbell status --problems`: what is wrong and nothing else, and the exit code that says so.

use crate::support::command::{Workshop, both, config_with};
use crate::support::journal::Site;
use hatchbell::config::load;
use hatchbell::store::Store;

fn problems(workshop: &Workshop, config: &str, more: &[&str]) -> (String, Option<i32>) {
    let status = ["status", "--problems", "--config", config];
    let output = workshop.run(&[&status[..], more].concat());
    (both(&output), output.status.code())
}

/// Fifty days of a station up to 19 February 2026.
fn watched(more: &str) -> (Workshop, String) {
    let workshop = Workshop::new();
    let mut days = String::from("\"STATION\",\"DATE\",\"TMAX\",\"TMIN\"\n");
    let first: chrono::NaiveDate = "2026-01-01".parse().unwrap();
    for day in first.iter_days().take(50) {
        days += &format!("\"ZZI00000009\",\"{day}\",\"20\",\"10\"\n");
    }
    let days = workshop.write("days.csv", &days);
    let text = config_with("file = \"days.csv\"", "console = true", more);
    let config = workshop.write("hatchbell.toml", &text);
    workshop.succeeds(&["import", "--config", &config, "--station", "only", &days]);
    (workshop, config)
}

#[test]
fn nothing_wrong_ends_with_success_and_a_stale_station_with_code_three() {
    let (workshop, config) = watched("");
    let (text, code) = problems(&workshop, &config, &["--date", "2026-02-21"]);
    assert!(text.contains("nothing is wrong"), "{text}");
    assert_eq!(code, Some(0));
    let (text, code) = problems(&workshop, &config, &["--date", "2026-03-21"]);
    assert!(
        text.contains("! The only station: stale since 2026-02-19 (1 site)"),
        "{text}"
    );
    assert_eq!(code, Some(3));
    let status = ["status", "--config", &config, "--date", "2026-03-21"];
    assert!(
        workshop
            .succeeds(&status)
            .contains("! The only station: stale")
    );
}

#[test]
fn messages_that_fail_are_a_problem() {
    let (workshop, config) = watched("");
    let count = |statement: &str| {
        let database = rusqlite::Connection::open(workshop.path("hatchbell.db")).unwrap();
        database.execute_batch(statement).unwrap();
    };
    let now = chrono::Utc::now().to_rfc3339();
    count(&format!(
        "INSERT INTO outbox (recipient, channel, title, body, created_at, state, tries, next_try_at, last_error)
         VALUES ('keeper', 'email', 't', 'b', '{now}', 'waiting', 2, '{now}', 'no such host')"
    ));
    let (text, code) = problems(&workshop, &config, &["--date", "2026-02-21"]);
    assert!(
        text.contains("! not delivered: keeper by email: no such host"),
        "{text}"
    );
    assert_eq!(code, Some(3));
}

#[test]
fn a_configuration_that_is_not_the_one_in_force_is_a_problem() {
    let (workshop, config) = watched("");
    let mut store = Store::open(&workshop.path("hatchbell.db")).unwrap();
    let mut standing = load(config.as_ref()).unwrap().standing;
    standing.digest = "another".to_owned();
    store.note_in_force(&standing, chrono::Utc::now()).unwrap();
    let (text, code) = problems(&workshop, &config, &["--date", "2026-02-21"]);
    assert!(
        text.contains("the configuration has changed since"),
        "{text}"
    );
    assert_eq!(code, Some(3));
    store.note_nothing_in_force().unwrap();
    assert_eq!(
        problems(&workshop, &config, &["--date", "2026-02-21"]).1,
        Some(0)
    );
}

#[test]
fn days_too_many_to_bridge_hold_milestones_and_are_told_once_for_all_sites() {
    let (workshop, config) = watched("");
    let text = workshop.read("days.csv");
    let is_there = |line: &&str| !line.contains("2026-01-1") && !line.contains("2026-01-2");
    let text: Vec<&str> = text.lines().filter(is_there).collect();
    let days = workshop.write("gap.csv", &(text.join("\n") + "\n"));
    std::fs::remove_file(workshop.path("hatchbell.db")).unwrap();
    workshop.succeeds(&["import", "--config", &config, "--station", "only", &days]);
    let (text, code) = problems(&workshop, &config, &["--date", "2026-02-21"]);
    assert!(
        text.contains("! milestones held at The lawn: The only station: 20 days missing"),
        "{text}"
    );
    assert_eq!(code, Some(3));
}

#[test]
fn water_that_is_due_or_overdue_comes_before_all_else() {
    let lawn = Site::on("2026-06-10", "area = \"450 m2\"");
    lawn.logs("application --option imidacloprid --date 2026-06-10 --rate 0.2kg/100m2");
    let due = |date: &str| {
        let status = ["status", "--json", "--config", &lawn.config, "--date", date];
        let text = lawn.workshop.succeeds(&status);
        let status: serde_json::Value = serde_json::from_str(&text).unwrap();
        status["sites"][0]["due"].clone()
    };
    let today = due("2026-06-10");
    assert_eq!(today["what"], "water");
    assert_eq!(today["option"], "imidacloprid");
    assert_eq!(today["since"], "2026-06-10");
    let late = due("2026-06-25");
    assert_eq!(late["what"], "water-overdue");
    assert!(
        late["words"].as_str().unwrap().contains("(was due "),
        "{late}"
    );
}
