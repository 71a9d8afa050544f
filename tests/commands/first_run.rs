//! A first configuration: asked for line by line or given as options, never over another file.

use crate::support::command::{Workshop, both, config_with_station};
use std::io::Write;
use std::process::{Output, Stdio};

const DAYS: &str =
    "DATE,TMAX,TMIN\n2026-01-01,25.0,15.0\n2026-01-02,25.5,15.0\n2026-01-03,25.0,14.0\n";

const LIST: &str = "\
ZZW00000001  41.9000  -30.1000  212.0    HARBOUR MEADOW (INVENTED)
ZZC00000002  41.8200  -30.1000  205.0    OLD ORCHARD
";
const INVENTORY: &str = "\
ZZW00000001  41.9000  -30.1000 TMAX 1948 2026
ZZW00000001  41.9000  -30.1000 TMIN 1950 2026
ZZC00000002  41.8200  -30.1000 TMAX 1980 2026
ZZC00000002  41.8200  -30.1000 TMIN 1980 2026
";

fn shop() -> Workshop {
    let workshop = Workshop::new();
    workshop.write("days.csv", DAYS);
    workshop.write("list.txt", LIST);
    workshop.write("inventory.txt", INVENTORY);
    workshop
}

/// Runs it with lines typed.
fn typed(workshop: &Workshop, options: &[&str], lines: &str) -> Output {
    let mut command = workshop.command(&[&["init"], options].concat());
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    // It may end before it has read all.
    let _ = child.stdin.take().unwrap().write_all(lines.as_bytes());
    child.wait_with_output().expect("it ends")
}

/// Every option.
const ALL: [&str; 18] = [
    "--name",
    "Mill Lane \"Garden\"",
    "--contact",
    "office@three-brooks.example",
    "--site",
    "Front lawn",
    "--latitude",
    "41.8",
    "--station",
    "days.csv",
    "--species",
    "japanese-beetle,oriental-beetle",
    "--recipient",
    "the gardener",
    "--tell",
    "garden@mill-lane.example",
    "--mail-host",
    "mail.mill-lane.example",
];

#[test]
fn with_every_option_nothing_is_asked_and_check_takes_what_is_written() {
    let workshop = shop();
    let output = workshop.run(&[&["init", "own.toml"][..], &ALL].concat());
    let text = both(&output);
    assert!(output.status.success(), "{text}");
    assert!(
        !text.contains('?') && !text.contains(": "),
        "nothing is asked: {text}"
    );
    // As it was called, so that it can be typed.
    let program = env!("CARGO_BIN_EXE_hatchbell");
    let next = format!(
        "  {program} run --once --config own.toml\n  {program} plan front-lawn --config own.toml\n"
    );
    assert!(text.ends_with(&next), "{text}");
    let checked = workshop.succeeds(&["check", "--config", "own.toml"]);
    assert!(
        checked.contains("is fine: 1 station, 1 member, 1 site, 1 recipient"),
        "{checked}"
    );
    let written = workshop.read("own.toml");
    for line in [
        "name = \"Mill Lane \\\"Garden\\\"\"",
        "contact = \"mailto:office@three-brooks.example\"",
        "species = [\"japanese-beetle\", \"oriental-beetle\"]",
        "unit = \"celsius\"",
        "host = \"mail.mill-lane.example\"",
    ] {
        assert!(written.contains(line), "{line}: {written}");
    }
}

#[test]
fn the_next_commands_lead_to_a_first_plan() {
    let workshop = shop();
    let lines = "\noffice@three-brooks.example\n\n41.8\ndays.csv\njapanese-beetle\n\n\n";
    let output = typed(&workshop, &[], lines);
    let text = both(&output);
    assert!(output.status.success(), "{text}");
    let program = format!("  {} ", env!("CARGO_BIN_EXE_hatchbell"));
    let mut commands = text.lines().filter_map(|line| line.strip_prefix(&program));
    let mut next = || {
        commands
            .next()
            .expect("a command")
            .split(' ')
            .collect::<Vec<_>>()
    };
    workshop.succeeds(&next());
    let plan = workshop.succeeds(&next());
    assert!(plan.starts_with("The lawn (Our turf), "), "{plan}");
}

#[test]
fn what_cannot_be_read_is_asked_again_with_the_reason() {
    let workshop = shop();
    let lines = "\nnobody\noffice@three-brooks.example\n\nnorth\n41.8\nno-such.csv\ndays.csv\njapanese-beatle\njapanese-beetle\n\n\n";
    let output = typed(&workshop, &[], lines);
    let text = both(&output);
    assert!(output.status.success(), "{text}");
    for reason in [
        "give a mail address",
        "give degrees from -90 to 90",
        "no-such.csv",
        "did you mean \"japanese-beetle\"?",
    ] {
        assert!(text.contains(reason), "{reason}: {text}");
    }
}

#[test]
fn stations_near_the_place_are_proposed_and_the_others_stand_in() {
    let workshop = shop();
    let options = [
        "--list",
        "list.txt",
        "--inventory",
        "inventory.txt",
        "--date",
        "2026-07-10",
    ];
    let lines = "\noffice@three-brooks.example\n\n41.8\n-30.1\n2\njapanese-beetle\n\n\n";
    let output = typed(&workshop, &options, lines);
    let text = both(&output);
    assert!(output.status.success(), "{text}");
    assert!(
        text.contains("1  OLD ORCHARD, 2 km away, 1980 to 2026"),
        "{text}"
    );
    let written = workshop.read("hatchbell.toml");
    assert!(
        written.contains("neighbours = [\"old-orchard\"]"),
        "{written}"
    );
    assert!(
        written.contains("station = \"harbour-meadow-invented\""),
        "{written}"
    );
    workshop.succeeds(&["check", "--config", "hatchbell.toml"]);
}

#[test]
fn with_an_archive_at_hand_stations_are_proposed_by_their_missing_days_as_well() {
    let workshop = shop();
    let mut year = String::new();
    for day in chrono::NaiveDate::from_ymd_opt(2026, 1, 1)
        .unwrap()
        .iter_days()
        .take(100)
    {
        let mut has = |code: &str| {
            for element in ["TMAX", "TMIN"] {
                year += &format!("{code},{},{element},150,,,S,\n", day.format("%Y%m%d"));
            }
        };
        has("ZZW00000001");
        // The nearer one has every fourth day.
        if day.format("%j").to_string().parse::<u32>().unwrap() % 4 == 0 {
            has("ZZC00000002");
        }
    }
    workshop.write("2026.csv", &year);
    workshop.write("old.toml", &config_with_station("file = \"days.csv\""));
    let import = [
        "import",
        "--config",
        "old.toml",
        "--bulk",
        "--every-station",
    ];
    workshop.succeeds(&[&import[..], &["2026.csv"]].concat());
    let options = [
        "--list",
        "list.txt",
        "--inventory",
        "inventory.txt",
        "--date",
        "2026-04-12",
        "--archive",
        "old.toml",
    ];
    let lines = "\noffice@three-brooks.example\n\n41.8\n-30.1\n1\njapanese-beetle\n\n\n";
    let text = both(&typed(&workshop, &options, lines));
    for due in [
        "1  HARBOUR MEADOW (INVENTED), 11 km away, 1950 to 2026, 0.0 % of days missing",
        "2  OLD ORCHARD, 2 km away, 1980 to 2026, 75.0 % of days missing",
    ] {
        assert!(text.contains(due), "{due}\n{text}");
    }
}

#[test]
fn nothing_is_overwritten_and_nothing_is_written_by_halves() {
    let workshop = shop();
    workshop.write("own.toml", "mine");
    let output = workshop.run(&[&["init", "own.toml"][..], &ALL].concat());
    assert!(!output.status.success());
    assert!(
        both(&output).contains("is there already"),
        "{}",
        both(&output)
    );
    assert_eq!(workshop.read("own.toml"), "mine");
    // Input that ends, and a name that no configuration takes.
    let output = typed(&workshop, &["new.toml"], "\n");
    assert!(
        both(&output).contains("give --contact"),
        "{}",
        both(&output)
    );
    let mut odd = ALL;
    odd[1] = "a\u{202e}b";
    let output = workshop.run(&[&["init", "new.toml"][..], &odd].concat());
    assert_eq!(output.status.code(), Some(78), "{}", both(&output));
    assert!(!workshop.path("new.toml").exists());
}
