//! A database that fails, disappears or is exchanged does not end the service, and nothing is lost.

use crate::support::command::{Workshop, both};
use crate::support::http_server::{Reply, ScriptedServer};
use crate::support::manager::{Manager, PATIENCE, demo_config};
use rusqlite::Connection;
use std::process::Command;

const FAILS: &str = "STATUS=no alerts are sent";
const WORKS: &str = "STATUS=the database works again";

fn lock(workshop: &Workshop) -> Connection {
    let connection = Connection::open(workshop.path("hatchbell.db")).unwrap();
    connection.busy_timeout(PATIENCE).unwrap();
    connection.execute_batch("BEGIN EXCLUSIVE").unwrap();
    connection
}

/// A whole copy, whatever is in the log beside it.
fn copy(workshop: &Workshop, name: &str) {
    let connection = Connection::open(workshop.path("hatchbell.db")).unwrap();
    connection.busy_timeout(PATIENCE).unwrap();
    let to = workshop.path(name);
    connection
        .execute("VACUUM INTO ?1", [to.to_str().unwrap()])
        .unwrap();
}

#[test]
fn a_locked_database_is_waited_for_while_the_watchdog_is_fed() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 1.0);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");
    let locked = lock(&workshop);
    let status = manager.hears(FAILS);
    assert!(status.contains("database is locked"), "{status}");
    manager.hears("WATCHDOG=1");
    locked.execute_batch("ROLLBACK").unwrap();
    manager.hears(WORKS);
    manager.hears("stations asked");
    daemon.signal("TERM");
    daemon.ends_well();
    let log = workshop.read("stderr");
    assert_eq!(
        log.matches("no alerts are sent meanwhile").count(),
        1,
        "{log}"
    );
}

#[test]
fn a_stop_ends_the_service_within_five_seconds_though_the_database_is_locked() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 1.0);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");
    let locked = lock(&workshop);
    // It is about to write, or waits already.
    manager.hears("WATCHDOG=1");
    let told = std::time::Instant::now();
    daemon.signal("TERM");
    daemon.ends_well();
    let lasted = told.elapsed();
    assert!(lasted.as_secs() < 5, "{lasted:?}");
    drop(locked);
}

#[test]
fn a_database_that_is_locked_at_the_start_is_waited_for() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    workshop.succeeds(&["run", "--once", "--config", &config]);
    let locked = lock(&workshop);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("READY=1");
    manager.hears(FAILS);
    locked.execute_batch("ROLLBACK").unwrap();
    manager.hears("stations asked");
    daemon.signal("TERM");
    daemon.ends_well();
}

/// A limit on the size of files stands for a full disk: SQLite cannot write further.
#[test]
fn a_full_disk_is_waited_for_until_there_is_room() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    let program = workshop.command(&[]).get_program().to_owned();
    let mut command = Command::new("sh");
    command
        .arg("-c")
        .arg("trap '' XFSZ; ulimit -S -f 64; exec \"$0\" run --config \"$1\"")
        .arg(program)
        .arg(&config)
        .current_dir(workshop.folder());
    let (mut manager, daemon) = Manager::start_command(&workshop, command);
    manager.hears("READY=1");
    manager.hears(FAILS);
    let freed = Command::new("prlimit")
        .args([&format!("--pid={}", daemon.id()), "--fsize=unlimited"])
        .status()
        .expect("prlimit, of util-linux");
    assert!(freed.success());
    manager.hears("stations asked: 1, failed: 0");
    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn a_database_that_disappears_is_told_to_the_operator_and_taken_again_once_it_is_put_back() {
    let server = ScriptedServer::start(vec![Reply::of(200, &[], "")]);
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 0.5);
    let text = workshop
        .read("hatchbell.toml")
        .replace("schedule =", "operator = \"keeper\"\nschedule =")
        .replace(
            "console = true",
            &format!(
                "push = {{ url = \"{}\", format = \"json\" }}",
                server.url("/secret-path")
            ),
        )
        .replace("[demo]", "[demo]\ndeliver = \"as-configured\"");
    workshop.write("hatchbell.toml", &text);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    // What was accepted is noted before the copy is made, or the copy would rightly send it again.
    let is_noted = || -> bool {
        let store = Connection::open(workshop.path("hatchbell.db")).unwrap();
        let sent = "SELECT count(*) > 0 FROM outbox WHERE state = 'sent'";
        store.query_row(sent, [], |row| row.get(0)).unwrap_or(false)
    };
    while !is_noted() {
        manager.hears("WATCHDOG=1");
    }
    copy(&workshop, "backup.db");
    std::fs::remove_file(workshop.path("hatchbell.db")).unwrap();
    let status = manager.hears(FAILS);
    assert!(status.contains("has gone; put it back"), "{status}");
    let told = |words: &str| {
        let said = server.exchanges();
        let said = said.iter().map(|one| String::from_utf8_lossy(&one.body));
        said.filter(|body| body.contains(words)).count()
    };
    while told("NO ALERTS ARE SENT") == 0 {
        manager.hears("WATCHDOG=1");
    }
    assert!(
        !workshop.path("hatchbell.db").exists(),
        "no new one is made"
    );
    std::fs::rename(workshop.path("backup.db"), workshop.path("hatchbell.db")).unwrap();
    manager.hears(WORKS);
    while told("alerts are sent again") == 0 || told("egg lay has begun") == 0 {
        manager.hears("WATCHDOG=1");
    }
    daemon.signal("TERM");
    daemon.ends_well();
    assert_eq!(told("adult flight has begun"), 1, "nothing is told twice");
    let store = Connection::open(workshop.path("hatchbell.db")).unwrap();
    let sound: String = store
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(sound, "ok");
    assert!(!workshop.read("stderr").contains("secret-path"));
}

#[test]
fn a_good_cycle_calls_the_heartbeat_and_a_heartbeat_that_fails_hurts_nothing() {
    let server = ScriptedServer::start(vec![Reply::of(204, &[], ""), Reply::of(500, &[], "")]);
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 0.5);
    let heartbeat = format!("heartbeat = \"{}\"\nschedule =", server.url("/secret-path"));
    let text = workshop
        .read("hatchbell.toml")
        .replace("schedule =", &heartbeat);
    workshop.write("hatchbell.toml", &text);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    while server.exchanges().len() < 3 {
        manager.hears("WATCHDOG=1");
    }
    let calls = server.exchanges();
    assert!(calls.iter().all(|call| call.method == "GET"));
    assert!(calls.iter().all(|call| call.path == "/secret-path"));
    manager.hears("stations asked");
    let locked = lock(&workshop);
    manager.hears(FAILS);
    let silent = server.exchanges().len();
    manager.hears(FAILS);
    assert_eq!(
        server.exchanges().len(),
        silent,
        "a database that fails is no good cycle"
    );
    locked.execute_batch("ROLLBACK").unwrap();
    manager.hears(WORKS);
    daemon.signal("TERM");
    daemon.ends_well();
    let log = workshop.read("stderr");
    assert!(log.contains("the server answered 500"), "{log}");
    assert!(!log.contains("secret-path"), "{log}");
}

#[test]
fn another_database_in_its_place_is_not_written_to() {
    let workshop = Workshop::new();
    let other = Workshop::new();
    let config = demo_config(&workshop, 1.0);
    other.succeeds(&["run", "--once", "--config", &demo_config(&other, 1.0)]);
    copy(&other, "whole.db");
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");
    copy(&workshop, "backup.db");
    let place = workshop.path("hatchbell.db");
    let foreign = std::fs::read(other.path("whole.db")).unwrap();
    workshop.write("next.db", "");
    std::fs::write(workshop.path("next.db"), &foreign).unwrap();
    std::fs::rename(workshop.path("next.db"), &place).unwrap();
    let status = manager.hears("not the database that ran here last");
    assert!(status.contains(FAILS), "{status}");
    // Tried again, and refused again.
    manager.hears(FAILS);
    assert_eq!(std::fs::read(&place).unwrap(), foreign);
    std::fs::rename(workshop.path("backup.db"), &place).unwrap();
    manager.hears(WORKS);
    manager.hears("stations asked");
    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn a_start_without_the_database_that_ran_before_asks_for_a_new_one() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 1.0);
    let once = ["run", "--once", "--config", &config];
    workshop.succeeds(&once);
    let place = workshop.path("hatchbell.db");
    std::fs::remove_file(&place).unwrap();
    let refused = workshop.run(&once);
    assert!(!refused.status.success());
    assert!(
        both(&refused).contains("has gone; put it back"),
        "{}",
        both(&refused)
    );
    assert!(!place.exists());
    workshop.succeeds(&[&once[..], &["--new-database"]].concat());
    workshop.succeeds(&once);
}

#[test]
fn a_newer_or_foreign_database_is_refused_at_once_and_left_as_it_is() {
    for (statements, words) in [
        (
            "CREATE TABLE tune (name TEXT)",
            "is no database of hatchbell",
        ),
        (
            "CREATE TABLE note (name, value); PRAGMA user_version = 999",
            "schema version 999",
        ),
    ] {
        let workshop = Workshop::new();
        let config = demo_config(&workshop, 1.0);
        let place = workshop.path("hatchbell.db");
        Connection::open(&place)
            .unwrap()
            .execute_batch(statements)
            .unwrap();
        let refused = workshop.run(&["run", "--config", &config]);
        assert_eq!(refused.status.code(), Some(78), "{}", both(&refused));
        assert!(both(&refused).contains(words), "{}", both(&refused));
        let tables: i64 = Connection::open(&place)
            .unwrap()
            .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
            .unwrap();
        assert_eq!(tables, 1);
    }
}
