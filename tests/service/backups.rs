//! Backups of a database that is in use, and what a restored one tells.

use crate::support::command::{Workshop, both};
use crate::support::manager::{Manager, demo_config};
use rusqlite::Connection;
use std::collections::BTreeSet;

fn message_ids(workshop: &Workshop, name: &str) -> BTreeSet<String> {
    let database = Connection::open(workshop.path(name)).unwrap();
    let mut statement = database.prepare("SELECT message_id FROM outbox").unwrap();
    let ids = statement.query_map([], |row| row.get(0)).unwrap();
    ids.collect::<Result<_, _>>().unwrap()
}

#[test]
fn a_backup_is_made_while_the_service_runs_and_restored_once_it_is_stopped() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 0.5);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");
    let backup = ["backup", "copy.db", "--config", &config];
    workshop.succeeds(&backup);
    let at_backup = message_ids(&workshop, "copy.db");
    while message_ids(&workshop, "hatchbell.db").len() == at_backup.len() {
        manager.hears("stations asked");
    }
    let restore = ["restore", "copy.db", "--config", &config];
    let output = workshop.run(&restore);
    assert_eq!(output.status.code(), Some(1), "{}", both(&output));
    assert!(
        both(&output).contains("stop that one first"),
        "{}",
        both(&output)
    );
    daemon.signal("TERM");
    daemon.ends_well();
    let before = message_ids(&workshop, "hatchbell.db");
    workshop.succeeds(&restore);
    assert_eq!(message_ids(&workshop, "hatchbell.db"), at_backup);
    std::fs::remove_file(workshop.path("notify.sock")).unwrap();
    // It goes on from there, and what it tells again has ids of its own.
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    while message_ids(&workshop, "hatchbell.db").len() == at_backup.len() {
        manager.hears("stations asked");
    }
    daemon.signal("TERM");
    daemon.ends_well();
    let after = message_ids(&workshop, "hatchbell.db");
    let told_before: BTreeSet<_> = before.difference(&at_backup).collect();
    let told_after: BTreeSet<_> = after.difference(&at_backup).collect();
    assert!(!told_before.is_empty() && !told_after.is_empty());
    assert!(told_before.is_disjoint(&told_after));
}

#[test]
fn a_backup_of_another_installation_is_taken_because_it_was_asked_for() {
    let (here, there) = (Workshop::new(), Workshop::new());
    let (config, other) = (demo_config(&here, 1.0), demo_config(&there, 1.0));
    here.succeeds(&["run", "--once", "--config", &config]);
    there.succeeds(&["run", "--once", "--config", &other]);
    let copy = here.path("other.db");
    let copy = copy.to_str().unwrap();
    there.succeeds(&["backup", copy, "--config", &other]);
    here.succeeds(&["restore", copy, "--config", &config]);
    here.succeeds(&["run", "--once", "--config", &config]);
}
