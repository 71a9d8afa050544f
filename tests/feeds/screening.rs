//! Values in doubt are held out of sums whichever way they come, listed with the reason, and settled by
//! command.

use crate::support::command::{Workshop, both, config_with};
use crate::support::engine::Play;
use chrono::{Datelike, NaiveDate};
use hatchbell::domain::weather::reading::Reading;
use hatchbell::station_feed::parsed::Element;
use hatchbell::store::Store;

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// Export rows in °C with a course of the year.
fn days(from: &str, to: &str, with: &[(&str, f64)]) -> String {
    let mut text = String::from("STATION,DATE,TMAX,TMIN\n");
    for day in date(from).iter_days().take_while(|day| *day <= date(to)) {
        let mean = 12.0 - 13.0 * (f64::from(day.ordinal0()) * 0.0172).cos();
        let other = with.iter().find(|(of, _)| date(of) == day);
        let max = other.map_or(mean + 5.0, |(_, max)| *max);
        text += &format!("ZZI00000009,{day},{max:.1},{:.1}\n", mean - 5.0);
    }
    text
}

fn config(origin: &str) -> String {
    config_with(origin, "console = true", "").replace(
        "database = \"hatchbell.db\"",
        "database = \"hatchbell.db\"\noperator = \"keeper\"",
    )
}

fn play() -> Play {
    Play::new(&config("file = \"feed.csv\""))
}

fn run(workshop: &Workshop, arguments: &[&str]) -> String {
    let config = workshop.path("hatchbell.toml");
    let config = ["--config", config.to_str().unwrap()];
    workshop.succeeds(&[arguments, &config].concat())
}

fn stored(play: &Play, day: &str) -> Reading {
    let store = Store::open_to_read(&play.workshop.path("hatchbell.db")).unwrap();
    let readings = store.readings("only").unwrap();
    readings.get(&date(day)).copied().unwrap_or_default()
}

fn held(play: &Play) -> i64 {
    play.count("SELECT count(*) FROM held_value")
}

/// Two values of ninety years, in the first load.
const STRANGE: [(&str, f64); 2] = [("1951-07-14", 48.0), ("2003-01-03", 41.0)];

#[tokio::test]
async fn a_first_load_of_a_feed_is_held_against_itself_and_told_once() {
    let mut play = play();
    let file = days("1935-01-01", "2026-05-01", &STRANGE);
    play.workshop.write("feed.csv", &file);
    play.cycle("2026-05-03T06:00:00Z").await;
    assert_eq!(held(&play), 2);
    assert_eq!(stored(&play, "1951-07-14").max, None);
    assert!(stored(&play, "1951-07-14").min.is_some());
    assert_eq!(
        play.titles(),
        ["The only station: unlikely temperatures are held"]
    );
    let text = play.newest_message();
    for words in [
        "maximum of 14 July 1951 48.0 °C",
        "maximum of 3 January 2003 41.0 °C",
        "By reason: 2 ",
        "check --data",
        "hatchbell feed confirm only --all",
    ] {
        assert!(text.contains(words), "no {words:?} in {text}");
    }
    // Said again and again, they are neither believed nor told again; another one is told.
    for day in 4..8 {
        let at = format!("2026-05-{day:02}");
        let file = days("1935-01-01", &format!("2026-05-{:02}", day - 2), &STRANGE);
        play.workshop.write("feed.csv", &file);
        play.cycle(&format!("{at}T06:00:00Z")).await;
    }
    assert_eq!((held(&play), play.titles().len()), (2, 1));
    let more = [STRANGE[0], STRANGE[1], ("2026-05-06", 48.0)];
    let file = days("1935-01-01", "2026-05-06", &more);
    play.workshop.write("feed.csv", &file);
    play.cycle("2026-05-08T06:00:00Z").await;
    assert_eq!((held(&play), play.titles().len()), (3, 2));
}

#[tokio::test]
async fn an_import_is_screened_like_a_feed_and_its_values_stay_held_when_the_feed_comes() {
    let mut play = play();
    let history = days("1935-01-01", "2024-12-31", &STRANGE);
    let history = play.workshop.write("history.csv", &history);
    let said = run(&play.workshop, &["import", "--station", "only", &history]);
    assert!(said.contains("only: held out of sums: 2 values"), "{said}");
    assert!(
        said.contains("hatchbell feed confirm only 2003-01-03 max"),
        "{said}"
    );
    assert_eq!(held(&play), 2);
    assert!(play.status("2025-01-02").contains("14 July 1951"));
    play.workshop
        .write("feed.csv", &days("2024-06-01", "2026-05-01", &[]));
    play.cycle("2026-05-03T06:00:00Z").await;
    assert_eq!(held(&play), 2);
    assert!(play.titles().is_empty(), "{:?}", play.titles());
}

#[test]
fn a_dry_run_says_what_it_would_hold_and_stores_nothing() {
    let play = play();
    let history = days("1935-01-01", "2024-12-31", &STRANGE);
    let history = play.workshop.write("history.csv", &history);
    let said = run(
        &play.workshop,
        &["import", "--dry-run", "--station", "only", &history],
    );
    assert!(said.contains("held out of sums: 2 values"), "{said}");
    assert_eq!(held(&play), 0);
}

#[tokio::test]
async fn held_values_are_listed_with_reason_and_command_and_settled_for_good() {
    let mut play = play();
    let file = |strange: &[(&str, f64)]| days("1935-01-01", "2026-05-01", strange);
    play.workshop.write("feed.csv", &file(&STRANGE));
    play.cycle("2026-05-03T06:00:00Z").await;
    let listed = run(&play.workshop, &["check", "--data"]);
    let listed = listed.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "held out of sums: 2 values",
        "maximum of 14 July 1951 48.0 °C (beyond all others of the time of year, expected",
        "hatchbell feed confirm only 1951-07-14 max",
    ] {
        assert!(listed.contains(words), "no {words:?} in {listed}");
    }

    run(
        &play.workshop,
        &["feed", "confirm", "only", "1951-07-14", "max"],
    );
    assert_eq!(stored(&play, "1951-07-14").max, Some(48.0), "at once");
    run(&play.workshop, &["feed", "refuse", "only", "2003-01-03"]);
    assert_eq!((held(&play), stored(&play, "2003-01-03").max), (0, None));
    assert_eq!(
        play.count("SELECT count(*) FROM finding WHERE over_at IS NULL"),
        0
    );

    // The same file again, read from its beginning as if nothing were stored.
    let again = play.workshop.write("again.csv", &file(&STRANGE));
    run(
        &play.workshop,
        &["import", "--replace", "--station", "only", &again],
    );
    assert_eq!((held(&play), stored(&play, "2003-01-03").max), (0, None));
    // Another value of the day is looked at anew: held, or taken in.
    let other = play
        .workshop
        .write("other.csv", &file(&[("2003-01-03", 35.0)]));
    run(&play.workshop, &["import", "--station", "only", &other]);
    assert_eq!((held(&play), stored(&play, "2003-01-03").max), (1, None));
    let mended = play
        .workshop
        .write("mended.csv", &file(&[("2003-01-03", 6.0)]));
    run(&play.workshop, &["import", "--station", "only", &mended]);
    assert_eq!(
        (held(&play), stored(&play, "2003-01-03").max),
        (0, Some(6.0))
    );
}

#[test]
fn a_range_of_days_or_all_of_a_station_is_settled_at_once() {
    let play = play();
    let strange = [
        ("1951-07-14", 48.0),
        ("1951-08-14", 48.0),
        ("1960-08-14", 48.5),
    ];
    let file = days("1935-01-01", "2020-12-31", &strange);
    let file = play.workshop.write("history.csv", &file);
    run(&play.workshop, &["import", "--station", "only", &file]);
    assert_eq!(held(&play), 3);
    let range = ["feed", "refuse", "only", "1951-07-01", "--to", "1951-08-31"];
    run(&play.workshop, &range);
    assert_eq!(held(&play), 1);
    run(&play.workshop, &["feed", "confirm", "only", "--all"]);
    assert_eq!(stored(&play, "1960-08-14").max, Some(48.5));
    let config = play.workshop.path("hatchbell.toml");
    let config = config.to_str().unwrap();
    let nothing = ["feed", "confirm", "only", "--all", "--config", config];
    let output = play.workshop.run(&nothing);
    assert!(!output.status.success());
    assert!(both(&output).contains("no such value of only is held"));
    assert_eq!(play.count("SELECT count(*) FROM decided_value"), 3);
}

/// Files of one year each: the first ones have nothing to be held against until all are there.
#[test]
fn an_import_of_many_files_is_screened_once_all_are_there() {
    let station = "file = \"feed.csv\"\ncode = \"ZZI00000009\"";
    let play = Play::new(&config(station));
    let mut files = Vec::new();
    for year in 1991..2011 {
        let mut text = String::new();
        for row in days(&format!("{year}-01-01"), &format!("{year}-12-31"), &[])
            .lines()
            .skip(1)
        {
            let fields: Vec<&str> = row.split(',').collect();
            let day = fields[1].replace('-', "");
            for (element, value) in [("TMAX", fields[2]), ("TMIN", fields[3])] {
                let tenths = (value.parse::<f64>().unwrap() * 10.0).round();
                let strange = day == "19910714" && element == "TMIN";
                let tenths = if strange { -578.0 } else { tenths };
                text += &format!("ZZI00000009,{day},{element},{tenths},,,S,\n");
            }
        }
        files.push(play.workshop.write(&format!("{year}.csv"), &text));
    }
    let files: Vec<&str> = files.iter().map(String::as_str).collect();
    let said = run(
        &play.workshop,
        &[&["import", "--bulk"], &files[..]].concat(),
    );
    assert!(said.contains("only: held out of sums: 1 value"), "{said}");
    assert_eq!(held(&play), 1);
    let reading = stored(&play, "1991-07-14");
    assert!(Element::Min.of(&reading).is_none() && reading.max.is_some());
}
