//! A reload has a verdict, and one member's mistake hurts nobody else: not at a reload, and not at the
//! next start.

use crate::support::command::{Workshop, both};
use crate::support::manager::{Daemon, Manager};

const MAIN: &str = r#"include = ["members/*.toml"]

[service]
name = "A co-op"
contact = "mailto:test@three-brooks.example"
schedule = "0 0 6 * * *"
database = "hatchbell.db"
operator = "office"

[site_defaults]
turf = "ryegrass"
latitude = 27.4
station = "only"
species = ["japanese-beetle"]

[[station]]
id = "only"
name = "The only station"
dialect = "ncei-export"
unit = "celsius"
file = "days.csv"

[demo]
starts = "2026-02-20T06:00:00Z"
seconds_per_day = 86400.0
published_lag_days = 0

[[member]]
id = "office"
name = "The office"

[[member.recipient]]
id = "office"
name = "the office"
console = true
"#;

const CONFIG: [&str; 2] = ["--config", "hatchbell.toml"];

fn member(id: &str, sites: &[&str]) -> String {
    let sites = sites
        .iter()
        .map(|site| format!("{{ id = \"{site}\", name = \"Site {site}\" }}"));
    format!(
        "[[member]]\nid = \"{id}\"\nname = \"Member {id}\"\nsite = [{}]\n\
         recipient = [{{ id = \"{id}-keeper\", name = \"the keeper of {id}\", console = true }}]\n",
        sites.collect::<Vec<_>>().join(", ")
    )
}

/// A co-op of the members a and b.
fn co_op() -> Workshop {
    let workshop = Workshop::new();
    std::fs::create_dir(workshop.path("members")).unwrap();
    workshop.write("hatchbell.toml", MAIN);
    workshop.write("days.csv", "DATE,TMAX,TMIN\n2026-02-19,25.0,15.0\n");
    workshop.write("members/a.toml", &member("a", &["a-1"]));
    workshop.write("members/b.toml", &member("b", &["b-1"]));
    workshop
}

fn start(workshop: &Workshop) -> Daemon {
    let (mut manager, daemon) = Manager::start(workshop, "hatchbell.toml");
    manager.hears("stations asked");
    daemon
}

fn reload(workshop: &Workshop) -> (Option<i32>, String) {
    let output = workshop.run(&[&["reload"], &CONFIG[..]].concat());
    (output.status.code(), both(&output))
}

/// The ids of the sites in force, and what is wrong, in one line each.
fn in_force(workshop: &Workshop) -> (Vec<String>, String) {
    let text = workshop.succeeds(&[&["status", "--json"], &CONFIG[..]].concat());
    let status: serde_json::Value = serde_json::from_str(&text).unwrap();
    let texts = |list: &str, key: &str| -> Vec<String> {
        let items = status[list].as_array().unwrap().iter();
        items
            .map(|one| one[key].as_str().unwrap().to_owned())
            .collect()
    };
    (texts("sites", "site"), texts("problems", "what").join("\n"))
}

/// Messages about the configuration, each as its title and text.
fn told(workshop: &Workshop) -> Vec<String> {
    let database = rusqlite::Connection::open(workshop.path("hatchbell.db")).unwrap();
    let sql = "SELECT title || ': ' || body FROM outbox WHERE kinds = 'configuration' AND recipient = 'office' ORDER BY id";
    let mut statement = database.prepare(sql).unwrap();
    let rows = statement.query_map([], |row| row.get(0)).unwrap();
    rows.map(Result::unwrap).collect()
}

/// Waits until there are so many of them.
fn told_when(workshop: &Workshop, count: usize) -> Vec<String> {
    // The service writes them right after its verdict; status and reload go through it.
    for _ in 0..200 {
        if told(workshop).len() >= count {
            break;
        }
        std::thread::yield_now();
        in_force(workshop);
    }
    told(workshop)
}

#[test]
fn a_reload_waits_for_the_verdict_and_its_exit_code_says_what_it_is() {
    let workshop = co_op();
    let (code, text) = reload(&workshop);
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("no service runs on this database"), "{text}");

    let daemon = start(&workshop);
    workshop.write("hatchbell.toml", &MAIN.replace("A co-op", "Another name"));
    let (code, text) = reload(&workshop);
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("the new configuration is in force"), "{text}");
    assert!(
        workshop
            .succeeds(&[&["status"], &CONFIG[..]].concat())
            .contains("Another name")
    );

    workshop.write("hatchbell.toml", &MAIN.replace("0 0 6", "0 6"));
    let (code, text) = reload(&workshop);
    assert_eq!(code, Some(78), "{text}");
    assert!(
        text.contains("hatchbell.toml:6:12: error: schedule needs six fields"),
        "{text}"
    );
    assert!(
        text.contains("the old configuration stays in force"),
        "{text}"
    );

    workshop.write(
        "hatchbell.toml",
        &MAIN.replace("hatchbell.db", "./hatchbell.db"),
    );
    let (code, text) = reload(&workshop);
    assert_eq!(code, Some(78), "{text}");
    assert!(text.contains("a new database needs a restart"), "{text}");
    daemon.signal("TERM");
    daemon.ends_well();
    assert!(!workshop.path("hatchbell.db.reload").exists());
}

#[test]
fn only_the_owner_of_the_service_may_ask_it() {
    use std::os::unix::fs::PermissionsExt;
    let workshop = co_op();
    let daemon = start(&workshop);
    let socket = std::fs::metadata(workshop.path("hatchbell.db.reload")).unwrap();
    assert_eq!(socket.permissions().mode() & 0o777, 0o600);
    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn status_shows_what_is_in_force_while_the_files_cannot_be_used() {
    let workshop = co_op();
    let daemon = start(&workshop);
    let status = || both(&workshop.run(&[&["status"], &CONFIG[..]].concat()));
    let text = status();
    assert!(
        text.contains("configuration: ") && text.contains("hatchbell.toml, read 20"),
        "{text}"
    );
    for broken in [MAIN.replace("0 0 6", "0 6"), format!("{MAIN}[[")] {
        workshop.write("hatchbell.toml", &broken);
        std::fs::write(workshop.path("members/b.toml"), "").unwrap();
        let (sites, problems) = in_force(&workshop);
        assert_eq!(sites, ["a-1", "b-1"], "{problems}");
        assert!(
            problems.contains("the configuration on disk cannot be used"),
            "{problems}"
        );
        assert!(
            problems.contains("the first: hatchbell.toml:"),
            "{problems}"
        );
        let output = workshop.run(&[&["plan", "b-1"], &CONFIG[..]].concat());
        assert!(output.status.success(), "{}", both(&output));
    }
    daemon.signal("TERM");
    daemon.ends_well();
    // Nothing is in force any more.
    let output = workshop.run(&[&["status"], &CONFIG[..]].concat());
    assert_eq!(output.status.code(), Some(78));
}

#[test]
fn a_members_mistake_leaves_them_as_they_were_and_is_told_once_also_after_a_restart() {
    let workshop = co_op();
    let daemon = start(&workshop);
    workshop.write("members/a.toml", &member("a", &["a-1", "a-2"]));
    workshop.write(
        "members/b.toml",
        &member("b", &["b-1"]).replace("name = \"Site", "nam = \"Site"),
    );
    let (code, text) = reload(&workshop);
    assert_eq!(code, Some(78), "{text}");
    assert!(
        text.contains("members/b.toml:4:9: error: [[member.site]] needs name"),
        "{text}"
    );
    assert!(
        text.contains("is in force, but member b goes on as last configured"),
        "{text}"
    );
    let (sites, problems) = in_force(&workshop);
    assert_eq!(sites, ["a-1", "a-2", "b-1"]);
    assert!(
        problems.contains("member b goes on as last configured: 2 mistakes"),
        "{problems}"
    );
    let messages = told_when(&workshop, 1);
    assert!(
        messages[0].starts_with("Mistakes in the configuration of member b: "),
        "{messages:?}"
    );
    assert_eq!(reload(&workshop).0, Some(78));
    daemon.signal("TERM");
    daemon.ends_well();

    // A syntax error hides who the member is.
    workshop.write("members/b.toml", "[[member\n");
    let daemon = start(&workshop);
    let (sites, problems) = in_force(&workshop);
    assert_eq!(sites, ["a-1", "a-2", "b-1"]);
    assert!(
        problems.contains("member b goes on as last configured: 1 mistake"),
        "{problems}"
    );
    let messages = told_when(&workshop, 2);
    assert_eq!(messages.len(), 2, "{messages:?}");
    assert!(messages[1].contains("this is not TOML"), "{messages:?}");
    daemon.signal("TERM");
    daemon.ends_well();
    let daemon = start(&workshop);
    assert_eq!(told(&workshop).len(), 2, "the same mistake is told once");

    workshop.write("members/b.toml", &member("b", &["b-2"]));
    assert_eq!(reload(&workshop).0, Some(0));
    assert_eq!(in_force(&workshop).0, ["a-1", "a-2", "b-2"]);
    let messages = told_when(&workshop, 3);
    assert!(
        messages[2].starts_with("The configuration of member b is in order"),
        "{messages:?}"
    );
    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn a_new_member_with_mistakes_is_left_out_until_they_are_mended() {
    let workshop = co_op();
    workshop.write(
        "members/c.toml",
        &member("c", &["c-1"]).replace("name = \"Site", "nam = \"Site"),
    );
    let daemon = start(&workshop);
    let (sites, problems) = in_force(&workshop);
    assert_eq!(sites, ["a-1", "b-1"]);
    assert!(problems.contains("member c is left out"), "{problems}");
    assert!(told_when(&workshop, 1)[0].contains("LEFT OUT"));
    workshop.write("members/c.toml", &member("c", &["c-1"]));
    assert_eq!(reload(&workshop).0, Some(0));
    assert_eq!(in_force(&workshop).0, ["a-1", "b-1", "c-1"]);
    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn an_id_that_two_members_use_stays_with_whoever_had_it() {
    let workshop = co_op();
    let daemon = start(&workshop);
    // By the order of the files it would be the new one's.
    workshop.write("members/0.toml", &member("new", &["b-1"]));
    let (code, text) = reload(&workshop);
    assert_eq!(code, Some(78), "{text}");
    assert!(text.contains("members/0.toml:4:16: error: [[member.site]] \"b-1\" is there twice; ids are unique: it is of member \"b\""), "{text}");
    assert!(text.contains("member new is left out"), "{text}");
    assert_eq!(in_force(&workshop).0, ["a-1", "b-1"]);
    // So does the id of a member.
    workshop.write("members/0.toml", &member("b", &["other"]));
    let (_, text) = reload(&workshop);
    assert!(text.contains("[[member]] \"b\" is there twice"), "{text}");
    assert_eq!(in_force(&workshop).0, ["a-1", "b-1"]);
    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn a_site_that_moves_to_another_member_waits_for_the_one_who_has_it() {
    let workshop = co_op();
    let daemon = start(&workshop);
    workshop.write("members/a.toml", &member("a", &["a-1", "b-1"]));
    workshop.write(
        "members/b.toml",
        &member("b", &["b-2"]).replace("name = \"Site", "nam = \"Site"),
    );
    let (code, text) = reload(&workshop);
    assert_eq!(code, Some(78), "{text}");
    assert!(
        text.contains("\"b-1\" is still of a member whose last good tables go on"),
        "{text}"
    );
    assert_eq!(in_force(&workshop).0, ["a-1", "b-1"]);
    workshop.write("members/b.toml", &member("b", &["b-2"]));
    assert_eq!(reload(&workshop).0, Some(0));
    assert_eq!(in_force(&workshop).0, ["a-1", "b-1", "b-2"]);
    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn a_station_that_a_member_with_mistakes_still_needs_is_not_taken_away() {
    let workshop = co_op();
    let daemon = start(&workshop);
    workshop.write("hatchbell.toml", &MAIN.replace("\"only\"", "\"other\""));
    workshop.write(
        "members/b.toml",
        &member("b", &["b-1"]).replace("name = \"Site", "nam = \"Site"),
    );
    let (code, text) = reload(&workshop);
    assert_eq!(code, Some(78), "{text}");
    assert!(
        text.contains("(member \"b\" as they were last good)"),
        "{text}"
    );
    assert!(
        text.contains("the old configuration stays in force"),
        "{text}"
    );
    daemon.signal("TERM");
    daemon.ends_well();
}
