//! `outlook`, `plan` and `scout` on screens of any width from 60 columns on, and `outlook` for scripts.

use crate::support::command::Workshop;
use chrono::NaiveDate;
use hatchbell::domain::weather::forecast::Forecast;
use hatchbell::domain::weather::rain::Rain;
use hatchbell::domain::weather::reading::Reading;
use hatchbell::domain::weather::wind::Wind;
use hatchbell::store::Store;
use serde_json::Value;
use std::collections::BTreeSet;
use std::sync::OnceLock;
use textwrap::core::display_width;

const LAWN: &str = "mill-lane-lawn";

/// Widths of screens: the narrowest that is laid out for, the usual one, a wide one.
const WIDTHS: [usize; 3] = [60, 80, 120];

/// Before anything, amid it, after hatch, and when all has passed.
const DAYS: [&str; 4] = ["2026-03-01", "2026-06-01", "2026-07-20", "2026-12-20"];

/// The demonstration's gardener with three species, every option, a long name and two counts.
fn workshop() -> &'static Workshop {
    static WORKSHOP: OnceLock<Workshop> = OnceLock::new();
    WORKSHOP.get_or_init(|| {
        let workshop = Workshop::new();
        let root = env!("CARGO_MANIFEST_DIR");
        let options =
            "[\"diamide\", \"neonicotinoid\", \"biological\", \"organophosphate\", \"carbamate\"]";
        let long =
            "Mill Lane, the front lawn with the border along the old wall and the path to the gate";
        let config = std::fs::read_to_string(format!("{root}/config/demo.toml"))
            .unwrap()
            .replace("../target/demo/", "")
            .replace("../fixtures", &format!("{root}/fixtures"))
            .replace("2026-04-15T06:00:00Z", "2026-08-25T06:00:00Z")
            .replace("Mill Lane, front lawn", long)
            .replace("area = \"450 m2\"", &format!("options = {options}"))
            .replace(
                "species = [\"japanese-beetle\"]",
                "species = [\"japanese-beetle\", \"oriental-beetle\", \"european-chafer\"]",
            );
        let config = workshop.write("hatchbell.toml", &config);
        let days = format!("{root}/fixtures/demo/harbour-meadow.csv");
        let station = "harbour-meadow";
        workshop.succeeds(&["import", "--config", &config, "--station", station, &days]);
        for found in [
            "--date 2026-08-23 --larvae 24 --samples 12 --area 1ft2",
            "--date 2026-08-24 --per-m2 90",
        ] {
            let mut log = vec!["log", "count", "--config", &config, "--site", LAWN];
            log.extend(["--species", "japanese-beetle"]);
            log.extend(found.split_whitespace());
            workshop.succeeds(&log);
        }
        workshop
    })
}

fn arguments<'a>(command: &'a str, day: &'a str) -> Vec<&'a str> {
    let mut arguments = vec![command, "--config", "hatchbell.toml", LAWN];
    if command != "scout" {
        arguments.extend(["--date", day]);
    }
    arguments
}

fn screen(command: &str, day: &str, columns: usize) -> String {
    workshop().shows(columns, &arguments(command, day))
}

fn outlook(day: &str) -> Value {
    let mut all = arguments("outlook", day);
    all.push("--json");
    serde_json::from_str(&workshop().succeeds(&all)).expect("JSON")
}

/// Every command on every day.
fn screens() -> impl Iterator<Item = (&'static str, &'static str)> {
    let commands = ["outlook", "plan", "scout"];
    commands
        .into_iter()
        .flat_map(|command| DAYS.map(|day| (command, day)))
}

#[test]
fn no_line_is_wider_than_the_screen() {
    for (command, day) in screens() {
        for columns in WIDTHS {
            let screen = screen(command, day, columns);
            assert!(screen.lines().count() > 8, "{screen}");
            for line in screen.lines() {
                let width = display_width(line);
                assert!(
                    width <= columns,
                    "{command} {day}: {width} > {columns}: {line}"
                );
            }
        }
    }
}

#[test]
fn without_a_screen_lines_have_eighty_columns() {
    for command in ["outlook", "plan", "scout"] {
        let piped = workshop().succeeds(&arguments(command, "2026-06-01"));
        assert_eq!(piped, screen(command, "2026-06-01", 80), "{command}");
        assert_eq!(
            screen(command, "2026-06-01", 20),
            screen(command, "2026-06-01", 60)
        );
    }
}

/// The words of a screen without its drawing and the signs that layout adds.
fn words(screen: &str) -> BTreeSet<&str> {
    screen
        .lines()
        .filter(|line| !line.contains('·') || line.contains("°C·d"))
        .flat_map(str::split_whitespace)
        .map(|word| word.trim_end_matches([',', ':']))
        // A letter stands for a month where the drawing is narrow.
        .filter(|word| word.chars().count() > 1)
        .collect()
}

#[test]
fn no_word_is_broken_and_none_left_out() {
    for (command, day) in screens() {
        let wide = screen(command, day, 120);
        for columns in [60, 80] {
            let narrow = screen(command, day, columns);
            let broken: Vec<_> = words(&narrow).difference(&words(&wide)).copied().collect();
            assert!(broken.is_empty(), "{command} {day} {columns}: {broken:?}");
            // What only the wide drawing says are the months.
            let lost: Vec<_> = words(&wide).difference(&words(&narrow)).copied().collect();
            assert!(
                lost.iter().all(|word| word.len() == 3
                    && "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".contains(*word)),
                "{command} {day} {columns}: {lost:?}"
            );
        }
    }
}

#[test]
fn what_does_not_fit_beside_an_option_stands_below_it() {
    let row = |columns: usize| {
        let plan = screen("plan", "2026-06-01", columns);
        let mut lines = plan
            .lines()
            .skip_while(|line| !line.starts_with("imidacloprid* "));
        [lines.next(), lines.next()].map(|line| line.unwrap().to_owned())
    };
    let [row_120, _] = row(120);
    let (dates, rest) = row_120.split_at(row_120.find("fair").expect("today is fair"));
    let now = rest.trim_start_matches("fair").trim();
    assert!(now.starts_with("works, better from"), "{row_120}");
    assert_eq!(row(80), [format!("{dates}fair"), format!("  now: {now}")]);
    let below = format!("  today: fair, now: {now}");
    assert_eq!(row(60), [dates.trim_end().to_owned(), below]);
}

#[test]
fn nothing_is_coloured_whatever_the_terminal_says_of_itself() {
    for command in ["outlook", "plan", "scout"] {
        for (name, value) in [
            ("NO_COLOR", "1"),
            ("TERM", "dumb"),
            ("TERM", "xterm-256color"),
        ] {
            let mut with = workshop().command(&arguments(command, "2026-06-01"));
            let output = with.env(name, value).output().expect("it starts");
            assert!(!output.stdout.contains(&0x1b), "{command} {name}={value}");
        }
    }
}

#[test]
fn species_whose_numbers_are_equal_share_a_sentence_on_what_turf_tolerates() {
    let plan = screen("plan", "2026-06-01", 80);
    let plan = plan.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        plan.contains("of Japanese beetle or Oriental beetle larvae before damage begins"),
        "{plan}"
    );
    assert!(
        plan.contains("of European chafer larvae before damage begins"),
        "{plan}"
    );
    assert_eq!(plan.matches("before damage begins").count(), 2, "{plan}");
}

fn day_of(value: &Value) -> NaiveDate {
    let text = value.as_str().unwrap_or_else(|| panic!("no day: {value}"));
    text.parse().expect("a day")
}

#[test]
fn scripts_get_the_dates_that_the_table_shows() {
    let seen = outlook("2026-07-20");
    assert_eq!(
        (&seen["site"], &seen["day"]),
        (&LAWN.into(), &"2026-07-20".into())
    );
    assert_eq!(seen["species"].as_array().unwrap().len(), 3);
    let beetle = &seen["species"][0];
    assert_eq!(beetle["species"], "japanese-beetle");
    assert_eq!(beetle["station"], "harbour-meadow");
    let table = screen("outlook", "2026-07-20", 120);
    let row = |title: &str| table.lines().find(|line| line.starts_with(title)).unwrap();
    let short = |value: &Value| day_of(value).format("%-d %b").to_string();

    let milestones = beetle["milestones"].as_array().unwrap();
    let names: Vec<&Value> = milestones.iter().map(|one| &one["milestone"]).collect();
    assert_eq!(names, ["adult-flight", "egg-lay", "hatch", "window-end"]);
    let hatch = &milestones[2];
    assert_eq!(
        (&hatch["state"], &hatch["by_calendar"]),
        (&"passed".into(), &false.into())
    );
    assert!(
        row("hatch").ends_with(&format!("passed  {}", short(&hatch["on"]))),
        "{table}"
    );
    let end = &milestones[3];
    assert_eq!(end["state"], "ahead");
    let dates = ["early", "likely", "late"].map(|name| short(&end[name]));
    let shown = row("window ends")
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(shown.contains(&dates.join(" ")), "{dates:?}: {shown}");
    assert!(day_of(&end["early"]) < day_of(&end["likely"]));
    assert_eq!(end["by_calendar"]["late"], false);
    let by = |days: &str| end["within_days"][days].as_f64().unwrap();
    assert!(by("7") <= by("14") && by("14") <= by("30"), "{end}");
    assert_eq!(end["never"], 0.0);
}

/// Held against the file that the thresholds come from.
#[test]
fn scripts_get_each_threshold_with_its_range_and_grade() {
    let file = include_str!("../../config/species/japanese-beetle.toml");
    let stage = |milestone: &str| {
        let line = format!("milestone = \"{milestone}\"");
        let mut stages = file.split("[[stage]]");
        stages.find(|stage| stage.contains(&line)).expect("a stage")
    };
    let written = |stage: &str, key: &str| -> String {
        let mut lines = stage.lines();
        let value = lines.find_map(|line| line.strip_prefix(key)?.strip_prefix(" = "));
        let value = value.and_then(|value| value.split('#').next());
        value.expect(key).trim().trim_matches('"').to_owned()
    };
    let seen = outlook("2026-03-01");
    for milestone in seen["species"][0]["milestones"].as_array().unwrap() {
        let name = milestone["milestone"].as_str().unwrap();
        let threshold = &milestone["threshold"];
        for (ours, theirs) in [("value", "degree_days"), ("low", "low"), ("high", "high")] {
            let number: f64 = written(stage(name), theirs).parse().expect("a number");
            assert_eq!(threshold[ours], number, "{name} {ours}");
        }
        assert_eq!(
            threshold["grade"],
            written(stage(name), "solidity"),
            "{name}"
        );
    }
}

#[test]
fn scripts_get_what_dates_rest_on_or_why_there_are_none() {
    let beetle = &outlook("2026-06-01")["species"][0];
    let basis = &beetle["basis"];
    assert_eq!(basis["data_through"], "2026-06-01");
    assert_eq!(
        (&basis["forecast_days"], &basis["past_seasons"]),
        (&0.into(), &10.into())
    );
    assert!(basis["forecast_issued"].is_null() && beetle["no_dates"].is_null());

    let early = &outlook("2016-06-01")["species"][0];
    assert!(early["basis"].is_null());
    let why = early["no_dates"].as_str().unwrap();
    assert!(why.contains("past seasons of the station"), "{why}");
    assert_eq!(early["milestones"][3]["state"], "ahead-without-dates");

    let over = &outlook("2026-12-20")["species"][0];
    assert_eq!(over["no_dates"], "the season is over for this species");
}

#[test]
fn the_outlook_in_the_readme_is_a_real_one() {
    let root = env!("CARGO_MANIFEST_DIR");
    let config = workshop().read("hatchbell.toml");
    let long = config.lines().find(|line| line.contains("the old wall"));
    let config = config
        .replace(
            long.expect("the long name"),
            "name = \"Mill Lane, front lawn\"",
        )
        .replace(", \"oriental-beetle\", \"european-chafer\"", "");
    let own = Workshop::new();
    let config = own.write("hatchbell.toml", &config);
    for (station, file) in [
        ("harbour-meadow", "harbour-meadow.csv"),
        ("old-orchard", "old-orchard.csv"),
        ("high-pasture", "high-pasture.csv.gz"),
    ] {
        let days = format!("{root}/fixtures/demo/{file}");
        own.succeeds(&["import", "--config", &config, "--station", station, &days]);
    }
    let shown = own.succeeds(&arguments("outlook", "2026-06-01"));
    let readme = include_str!("../../README.md");
    assert!(readme.contains(&format!("```\n{shown}```\n")), "{shown}");
}

#[test]
fn scripts_are_told_of_the_forecast_that_dates_rest_on() {
    let own = Workshop::new();
    own.write("hatchbell.toml", &workshop().read("hatchbell.toml"));
    std::fs::copy(workshop().path("hatchbell.db"), own.path("hatchbell.db")).unwrap();
    let day = |text: &str| text.parse().expect("a day");
    let warm = Reading {
        min: Some(14.0),
        max: Some(26.0),
    };
    let forecast = Forecast {
        issued: "2026-06-01T05:20:00Z".parse().unwrap(),
        days: [(day("2026-06-02"), warm), (day("2026-06-03"), warm)].into(),
        rain: Rain::new(),
        wind: Wind::new(),
    };
    let mut store = Store::open(&own.path("hatchbell.db")).unwrap();
    store.replace_forecast("harbour-meadow", &forecast).unwrap();
    let mut all = arguments("outlook", "2026-06-01");
    all.push("--json");
    let seen: Value = serde_json::from_str(&own.succeeds(&all)).expect("JSON");
    let basis = &seen["species"][0]["basis"];
    assert_eq!(basis["forecast_days"], 2);
    assert_eq!(basis["forecast_issued"], "2026-06-01T05:20:00Z");
}

/// The second day is foretold 17 °C colder than the first.
#[test]
fn a_forecast_that_jumps_is_not_used_from_there_on_and_both_screens_say_so() {
    let own = Workshop::new();
    own.write("hatchbell.toml", &workshop().read("hatchbell.toml"));
    std::fs::copy(workshop().path("hatchbell.db"), own.path("hatchbell.db")).unwrap();
    let day = |text: &str| text.parse().expect("a day");
    let of = |mean: f64| Reading {
        min: Some(mean - 6.0),
        max: Some(mean + 6.0),
    };
    let forecast = Forecast {
        issued: "2026-06-01T05:20:00Z".parse().unwrap(),
        days: [
            (day("2026-06-02"), of(20.0)),
            (day("2026-06-03"), of(3.0)),
            (day("2026-06-04"), of(3.0)),
        ]
        .into(),
        rain: Rain::new(),
        wind: Wind::new(),
    };
    let mut store = Store::open(&own.path("hatchbell.db")).unwrap();
    store.replace_forecast("harbour-meadow", &forecast).unwrap();
    let plain = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let outlook = plain(own.succeeds(&arguments("outlook", "2026-06-01")));
    let said =
        "The forecast jumps by 15 °C or more to 2026-06-03: it is not used from that day on.";
    assert!(outlook.contains(said), "{outlook}");
    assert!(outlook.contains("1 day of a model's forecast"), "{outlook}");
    let config = own.path("hatchbell.toml");
    let shown = own.run(&[
        "status",
        "--config",
        config.to_str().unwrap(),
        "--date",
        "2026-06-01",
        "--problems",
    ]);
    let shown = plain(String::from_utf8_lossy(&shown.stdout).into_owned());
    let said = "the forecast jumps by 15 °C or more to 2026-06-03 and is not used from that day on";
    assert_eq!(shown.matches(said).count(), 1, "{shown}");
}
