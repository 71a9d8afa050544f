//! A database is copied before it becomes one of a newer schema, and a backup takes its place only if
//! it is sound.

use crate::support::command::{Workshop, both};
use rusqlite::Connection;
use std::os::unix::fs::PermissionsExt;
use std::process::Output;

const OLD: &str = include_str!("../../fixtures/databases/schema-11.sql");
const CONFIG: &str = include_str!("../../fixtures/databases/hatchbell.toml");

/// A folder with the configuration and a database of schema 11.
fn older() -> Workshop {
    let workshop = Workshop::new();
    workshop.write("hatchbell.toml", CONFIG);
    make_older(&workshop, "hatchbell.db");
    workshop
}

fn make_older(workshop: &Workshop, name: &str) {
    let _ = std::fs::remove_file(workshop.path(name));
    let database = Connection::open(workshop.path(name)).unwrap();
    database
        .execute_batch(&format!("BEGIN; {OLD} COMMIT;"))
        .expect("the fixture is sound");
}

fn run(workshop: &Workshop, arguments: &[&str]) -> Output {
    let config = ["--config", "hatchbell.toml"];
    workshop.run(&[arguments, &config].concat())
}

/// What a command that must fail prints.
fn refused(workshop: &Workshop, arguments: &[&str]) -> String {
    let output = run(workshop, arguments);
    assert_eq!(output.status.code(), Some(1), "{}", both(&output));
    both(&output)
}

/// Brings the database up to date by a command that writes.
fn migrate(workshop: &Workshop) -> Output {
    run(workshop, &["outbox", "retry", "--all"])
}

fn ask<T: rusqlite::types::FromSql>(workshop: &Workshop, name: &str, sql: &str) -> T {
    let database = Connection::open(workshop.path(name)).unwrap();
    database.query_row(sql, [], |row| row.get(0)).unwrap()
}

/// Names in the folder that begin so, in order.
fn names(workshop: &Workshop, start: &str) -> Vec<String> {
    let entries = std::fs::read_dir(workshop.folder()).unwrap();
    let names = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = names.filter(|name| name.starts_with(start)).collect();
    names.sort();
    names
}

fn mode(workshop: &Workshop, name: &str) -> u32 {
    let found = std::fs::metadata(workshop.path(name)).unwrap();
    found.permissions().mode() & 0o777
}

#[test]
fn an_older_database_is_copied_before_it_migrates_and_the_copy_is_what_it_was() {
    let workshop = older();
    let revisions = "SELECT count(*) FROM outbox";
    let before: i64 = ask(&workshop, "hatchbell.db", revisions);
    assert!(before > 0);
    assert!(migrate(&workshop).status.success());
    let copy = "hatchbell.db.before-11";
    assert_eq!(names(&workshop, "hatchbell.db.before"), [copy]);
    assert_eq!(mode(&workshop, copy), 0o600);
    assert_eq!(ask::<i64>(&workshop, copy, "PRAGMA user_version"), 11);
    assert_eq!(
        ask::<String>(&workshop, copy, "PRAGMA integrity_check"),
        "ok"
    );
    assert_eq!(ask::<i64>(&workshop, copy, revisions), before);
    let migrated: i64 = ask(&workshop, "hatchbell.db", "PRAGMA user_version");
    assert!(migrated > 11, "{migrated}");
    // Nothing of the copying is left.
    assert_eq!(names(&workshop, ".hatchbell-copy"), [""; 0]);
}

#[test]
fn what_a_killed_program_left_of_a_copy_is_deleted_and_one_that_is_being_made_is_not() {
    let workshop = older();
    workshop.write(".hatchbell-copy-left", "a part");
    let being_made = workshop.write(".hatchbell-copy-made", "a part");
    let being_made = std::fs::File::open(being_made).unwrap();
    being_made.lock().unwrap();
    assert!(migrate(&workshop).status.success());
    let left = names(&workshop, ".hatchbell-copy");
    assert_eq!(left, [".hatchbell-copy-made"]);
}

#[test]
fn a_copy_of_the_same_content_is_kept_once_and_one_of_another_content_beside_it() {
    let workshop = older();
    assert!(migrate(&workshop).status.success());
    make_older(&workshop, "hatchbell.db");
    assert!(migrate(&workshop).status.success());
    let first = "hatchbell.db.before-11";
    assert_eq!(names(&workshop, "hatchbell.db.before"), [first]);
    make_older(&workshop, "hatchbell.db");
    let database = Connection::open(workshop.path("hatchbell.db")).unwrap();
    let note = "INSERT INTO note (name, value) VALUES ('later', 'yes')";
    database.execute(note, []).unwrap();
    drop(database);
    assert!(migrate(&workshop).status.success());
    let second = "hatchbell.db.before-11.2";
    assert_eq!(names(&workshop, "hatchbell.db.before"), [first, second]);
    let later = "SELECT count(*) FROM note WHERE name = 'later'";
    assert_eq!(ask::<i64>(&workshop, first, later), 0);
    assert_eq!(ask::<i64>(&workshop, second, later), 1);
}

#[test]
fn a_new_database_is_not_copied() {
    let workshop = Workshop::new();
    workshop.write("hatchbell.toml", CONFIG);
    assert!(migrate(&workshop).status.success());
    assert_eq!(names(&workshop, "hatchbell.db.before"), [""; 0]);
}

/// A limit on the size of files stands for a full disk.
#[test]
fn without_room_for_the_copy_nothing_is_migrated() {
    let workshop = older();
    let before = std::fs::read(workshop.path("hatchbell.db")).unwrap();
    let program = workshop.command(&[]).get_program().to_owned();
    let output = std::process::Command::new("sh")
        .arg("-c")
        .arg("trap '' XFSZ; ulimit -f 64; exec \"$0\" outbox retry --all --config hatchbell.toml")
        .arg(program)
        .current_dir(workshop.folder())
        .output()
        .unwrap();
    let text = both(&output);
    assert_eq!(output.status.code(), Some(1), "{text}");
    assert!(
        text.contains("cannot be copied to hatchbell.db.before-11"),
        "{text}"
    );
    assert!(text.contains("nothing was changed"), "{text}");
    assert_eq!(
        ask::<i64>(&workshop, "hatchbell.db", "PRAGMA user_version"),
        11
    );
    assert_eq!(names(&workshop, "hatchbell.db.before"), [""; 0]);
    assert_eq!(names(&workshop, ".hatchbell-copy"), [""; 0]);
    // But for the mark that it is written by way of a log.
    let after = std::fs::read(workshop.path("hatchbell.db")).unwrap();
    assert_eq!(before[100..], after[100..]);
    assert!(migrate(&workshop).status.success());
}

#[test]
fn a_backup_is_one_sound_file_that_overwrites_nothing_unasked() {
    let workshop = older();
    assert!(migrate(&workshop).status.success());
    let printed = run(&workshop, &["backup", "copy.db"]);
    assert!(printed.status.success(), "{}", both(&printed));
    assert_eq!(names(&workshop, "copy.db"), ["copy.db"]);
    assert_eq!(mode(&workshop, "copy.db"), 0o600);
    assert_eq!(
        ask::<String>(&workshop, "copy.db", "PRAGMA integrity_check"),
        "ok"
    );
    let before = std::fs::read(workshop.path("copy.db")).unwrap();
    let text = refused(&workshop, &["backup", "copy.db"]);
    assert!(text.contains("add --overwrite"), "{text}");
    assert_eq!(std::fs::read(workshop.path("copy.db")).unwrap(), before);
    workshop.write("other.db", "of somebody");
    assert!(
        run(&workshop, &["backup", "other.db", "--overwrite"])
            .status
            .success()
    );
    assert_eq!(std::fs::read(workshop.path("other.db")).unwrap(), before);
    let text = refused(&workshop, &["backup", "hatchbell.db", "--overwrite"]);
    assert!(text.contains("the database itself"), "{text}");
    let text = refused(&workshop, &["backup", "nowhere/copy.db"]);
    assert!(text.contains("make the folder first"), "{text}");
}

#[test]
fn a_backup_of_any_known_schema_is_restored_and_the_present_database_is_kept() {
    let workshop = older();
    make_older(&workshop, "old.db");
    assert!(migrate(&workshop).status.success());
    let printed = run(&workshop, &["restore", "old.db"]);
    let text = both(&printed);
    assert!(printed.status.success(), "{text}");
    assert_eq!(
        ask::<i64>(&workshop, "hatchbell.db", "PRAGMA user_version"),
        11
    );
    let kept = names(&workshop, "hatchbell.db.replaced-");
    assert_eq!(kept.len(), 1, "{kept:?}");
    assert!(text.contains(&kept[0]), "{text}");
    assert!(text.contains("may tell again"), "{text}");
    let schema: i64 = ask(&workshop, &kept[0], "PRAGMA user_version");
    assert!(schema > 11, "{schema}");
    assert_eq!(mode(&workshop, "hatchbell.db"), 0o600);
    assert!(migrate(&workshop).status.success());
}

#[test]
fn what_is_no_sound_database_of_a_known_schema_is_not_restored() {
    let workshop = older();
    assert!(migrate(&workshop).status.success());
    let before = std::fs::read(workshop.path("hatchbell.db")).unwrap();
    workshop.write("text.db", "DATE,TMAX,TMIN\n");
    workshop.write("empty.db", "");
    let foreign = Connection::open(workshop.path("foreign.db")).unwrap();
    foreign.execute_batch("CREATE TABLE a (b)").unwrap();
    std::fs::copy(workshop.path("hatchbell.db"), workshop.path("newer.db")).unwrap();
    let newer = Connection::open(workshop.path("newer.db")).unwrap();
    newer.pragma_update(None, "user_version", 9999).unwrap();
    drop((foreign, newer));
    damage(&workshop, "damaged.db");
    for (file, why) in [
        ("text.db", "no database of hatchbell"),
        ("empty.db", "it is empty"),
        ("foreign.db", "no database of hatchbell"),
        ("newer.db", "schema version 9999"),
        ("damaged.db", "it is damaged"),
        ("missing.db", "No such file"),
        ("hatchbell.db", "the database itself"),
    ] {
        let text = refused(&workshop, &["restore", file]);
        assert!(text.contains(why), "{file}: {text}");
        assert_eq!(
            std::fs::read(workshop.path("hatchbell.db")).unwrap(),
            before
        );
    }
    assert_eq!(names(&workshop, "hatchbell.db.replaced"), [""; 0]);
}

#[test]
fn a_damaged_database_is_found_by_check_and_can_be_replaced_by_a_backup() {
    let workshop = older();
    assert!(migrate(&workshop).status.success());
    assert!(run(&workshop, &["backup", "copy.db"]).status.success());
    assert!(run(&workshop, &["check", "--data"]).status.success());
    damage(&workshop, "hatchbell.db");
    let text = refused(&workshop, &["check", "--data"]);
    assert!(text.contains("the database is damaged"), "{text}");
    assert!(text.contains("hatchbell restore"), "{text}");
    let restored = run(&workshop, &["restore", "copy.db"]);
    assert!(restored.status.success(), "{}", both(&restored));
    assert!(run(&workshop, &["check", "--data"]).status.success());
}

#[test]
fn a_reference_that_leads_nowhere_is_found_by_check() {
    let workshop = older();
    assert!(migrate(&workshop).status.success());
    let database = Connection::open(workshop.path("hatchbell.db")).unwrap();
    database
        .execute_batch(
            "PRAGMA foreign_keys = OFF;
             CREATE TABLE parent (id INTEGER PRIMARY KEY);
             CREATE TABLE child (id INTEGER PRIMARY KEY, of INTEGER REFERENCES parent (id));
             INSERT INTO child VALUES (7, 1);",
        )
        .unwrap();
    drop(database);
    let text = refused(&workshop, &["check", "--data"]);
    assert!(text.contains("row 7 of child refers to a parent"), "{text}");
}

/// A copy of the database, if it is another one, in which an index lacks what its table has.
fn damage(workshop: &Workshop, name: &str) {
    if name != "hatchbell.db" {
        std::fs::copy(workshop.path("hatchbell.db"), workshop.path(name)).unwrap();
    }
    let database = Connection::open(workshop.path(name)).unwrap();
    database
        .execute_batch("PRAGMA wal_checkpoint(TRUNCATE); PRAGMA journal_mode = DELETE;")
        .unwrap();
    let sql = "SELECT rootpage FROM sqlite_schema WHERE name = 'outbox_message_id'";
    let root: i64 = database
        .query_row(sql, [], |row| row.get(0))
        .unwrap_or_else(|_| {
            panic!("the index is there");
        });
    drop(database);
    let mut bytes = std::fs::read(workshop.path(name)).unwrap();
    let page = 4096 * (root as usize - 1);
    // An empty leaf of an index.
    bytes[page..page + 8].copy_from_slice(&[10, 0, 0, 0, 0, 16, 0, 0]);
    std::fs::write(workshop.path(name), bytes).unwrap();
}
