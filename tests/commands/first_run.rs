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

/// A file of whole years at a station north of the equator, its last day as given.
fn northern_years(last: &str) -> String {
    let last: chrono::NaiveDate = last.parse().unwrap();
    let first = last - chrono::Days::new(800);
    let mut text = "DATE,TMAX,TMIN\n".to_owned();
    for day in first.iter_days().take_while(|day| *day <= last) {
        let place: f64 = day.format("%j").to_string().parse().unwrap();
        let mean = 11.0 - 13.0 * ((place - 20.0) / 365.25 * std::f64::consts::TAU).cos();
        text += &format!("{day},{:.1},{:.1}\n", mean + 5.5, mean - 5.5);
    }
    text
}

/// The options with some of them changed.
fn with<'o>(changed: &[(&str, &'o str)]) -> Vec<&'o str> {
    let mut all: Vec<&str> = ALL.to_vec();
    for (option, value) in changed {
        let place = ALL.iter().position(|one| one == option).unwrap();
        all[place + 1] = value;
    }
    all
}

#[test]
fn a_latitude_of_the_wrong_sign_is_found_by_the_station_s_days() {
    let workshop = shop();
    workshop.write("north.csv", &northern_years("2014-12-31"));
    let options = with(&[("--latitude", "-40.1"), ("--station", "north.csv")]);
    let output = workshop.run(&[&["init", "own.toml"][..], &options].concat());
    let text = both(&output);
    assert!(!output.status.success(), "{text}");
    assert!(
        text.contains("first check the sign of the site's latitude"),
        "{text}"
    );
    assert!(text.contains("40.1 would fit"), "{text}");
    assert!(!workshop.path("own.toml").exists());
    // Who is asked is asked again.
    let lines =
        "\noffice@three-brooks.example\n\n-40.1\nnorth.csv\n-41\n40.1\njapanese-beetle\n\n\n";
    let output = typed(&workshop, &["own.toml"], lines);
    let text = both(&output);
    assert!(output.status.success(), "{text}");
    assert_eq!(text.matches("first check the sign").count(), 2, "{text}");
    assert!(workshop.read("own.toml").contains("latitude = 40.1"));
}

#[test]
fn a_station_whose_file_ended_is_said_to_make_no_plan_of_this_year() {
    let workshop = shop();
    workshop.write("north.csv", &northern_years("2014-12-31"));
    let options = with(&[("--latitude", "40.1"), ("--station", "north.csv")]);
    let all = [&["init", "own.toml"][..], &options].concat();
    let text = workshop
        .succeeds(&all)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(
        text.contains("days from 2012-10-22 to 2014-12-31"),
        "{text}"
    );
    assert!(
        text.contains("no plan of this year; hatchbell replay --season 2014 --config own.toml shows a past one"),
        "{text}"
    );
    // One that goes on.
    let today = chrono::Utc::now().date_naive();
    workshop.write("new.csv", &northern_years(&today.to_string()));
    let options = with(&[("--latitude", "40.1"), ("--station", "new.csv")]);
    let text = workshop.succeeds(&[&["init", "new.toml"][..], &options].concat());
    assert!(text.contains(&format!("to {today}.")), "{text}");
    assert!(!text.contains("no plan"), "{text}");
}

#[test]
fn a_longitude_that_nothing_needs_is_taken_with_a_word() {
    let workshop = shop();
    let all = [&["init", "own.toml"][..], &ALL, &["--longitude", "-30.1"]].concat();
    let text = workshop.succeeds(&all);
    assert!(
        text.contains("--longitude is used with --list only"),
        "{text}"
    );
}

#[test]
fn a_word_is_no_way_to_be_told_and_several_ways_have_commas_between() {
    let workshop = shop();
    let init = |tell: &str| {
        workshop.run(&[&["init", "own.toml"][..], &with(&[("--tell", tell)])].concat())
    };
    for (tell, why) in [
        ("Bo", "\"Bo\" is no way to be told; give a mail address"),
        ("console, Bo", "\"Bo\" is no way to be told"),
        ("ftp://mill-lane.example/x", "is no way to be told"),
        (
            "a@mill-lane.example, b@mill-lane.example",
            "give one of each kind",
        ),
        (",", "give at least one"),
    ] {
        let output = init(tell);
        assert!(!output.status.success(), "{tell}");
        assert!(both(&output).contains(why), "{tell}: {}", both(&output));
        assert!(!workshop.path("own.toml").exists(), "{tell}");
    }
    let output = init("bo@greens.example, console, told.txt, https://push.greens.example/turf");
    assert!(output.status.success(), "{}", both(&output));
    let written = workshop.read("own.toml");
    for line in [
        "email = \"bo@greens.example\"",
        "console = true",
        "file = \"told.txt\"",
        "url = \"https://push.greens.example/turf\"",
        "host = \"mail.mill-lane.example\"",
    ] {
        assert!(written.contains(line), "{line}: {written}");
    }
    workshop.succeeds(&["check", "--config", "own.toml"]);
}

#[test]
fn species_are_known_by_their_names_as_well() {
    let workshop = shop();
    let init = |file: &str, species: &str| {
        workshop.run(&[&["init", file][..], &with(&[("--species", species)])].concat())
    };
    for (file, species) in [
        ("a.toml", "Japanese beetle, oriental beetle"),
        ("b.toml", "japanese-beetle oriental-beetle"),
    ] {
        let output = init(file, species);
        assert!(output.status.success(), "{species}: {}", both(&output));
        let written = workshop.read(file);
        let due = "species = [\"japanese-beetle\", \"oriental-beetle\"]";
        assert!(written.contains(due), "{species}: {written}");
    }
    let said = both(&init("c.toml", "Japanese beatle"));
    let due = "there is no species \"Japanese beatle\"; did you mean \"japanese-beetle\"?";
    assert!(said.contains(due), "{said}");
}

/// No test has a configuration where the service's is.
#[test]
fn without_a_configuration_the_one_of_this_folder_or_init_is_named() {
    let workshop = shop();
    for what in [&["status"][..], &["check"], &["plan", "lawn"]] {
        let output = workshop.run(what);
        let text = both(&output);
        assert_eq!(output.status.code(), Some(78), "{text}");
        assert!(
            text.contains("/etc/hatchbell/hatchbell.toml is not there"),
            "{text}"
        );
        assert!(
            text.contains("write a first one with hatchbell init"),
            "{text}"
        );
    }
    workshop.write("hatchbell.toml", "");
    let text = both(&workshop.run(&["status"]));
    let due = "there is a hatchbell.toml in this folder: --config hatchbell.toml";
    assert!(text.contains(due), "{text}");
    assert!(!text.contains("init"), "{text}");
    // Another file that was named is no such case.
    let text = both(&workshop.run(&["status", "--config", "own.toml"]));
    assert!(text.contains("own.toml:1:1"), "{text}");
}
