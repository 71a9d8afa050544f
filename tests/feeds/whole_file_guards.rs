//! Whole files in a wrong unit or of a wrong station, by feed and by import: refused with what they
//! are, and nothing stored is another one. Real files are measured in `whole_files.rs`.

use crate::support::command::{both, config_with};
use crate::support::engine::Play;
use crate::support::http_server::{Reply, ScriptedServer};
use chrono::{Datelike, Days, NaiveDate};

/// Export rows of invented weather, which differs from day to day and from place to place; `unit`
/// makes the file's values of °C.
fn days(from: &str, to: &str, place: u64, unit: impl Fn(f64) -> f64) -> String {
    let (from, to): (NaiveDate, NaiveDate) = (from.parse().unwrap(), to.parse().unwrap());
    let mut text = String::from("STATION,DATE,TMAX,TMIN\n");
    for index in 0..=(to - from).num_days() as u64 {
        let day = from + Days::new(index);
        let mixed = (day.num_days_from_ce() as u64 ^ place.wrapping_mul(0x9e37_79b9))
            .wrapping_mul(0x2545_f491_4f6c_dd1d);
        let weather = (mixed >> 40) as f64 / f64::from(1 << 24) * 8.0 - 4.0;
        let mean = 12.0 - 13.0 * (f64::from(day.ordinal0()) * 0.0172).cos() + weather;
        let [max, min] = [mean + 5.0, mean - 5.0].map(&unit);
        text += &format!("ZZI00000009,{day},{max:.1},{min:.1}\n");
    }
    text
}

fn celsius(value: f64) -> f64 {
    value
}

fn fahrenheit(value: f64) -> f64 {
    value * 1.8 + 32.0
}

/// One station, one site, and its keeper as the operator.
fn config(origin: &str) -> String {
    config_with(origin, "console = true", "").replace(
        "database = \"hatchbell.db\"",
        "database = \"hatchbell.db\"\noperator = \"keeper\"",
    )
}

/// What the operator is told of the feed's file.
fn of_the_file(play: &Play) -> Vec<String> {
    let mut titles = play.titles();
    titles.retain(|title| title.contains("feed's file"));
    titles
}

/// What is stored, to the last digit.
fn all_stored(play: &Play) -> String {
    format!("{:?}", play.stored())
}

/// Runs `hatchbell import`, which fails, and returns what it says, on one line.
fn import_fails(play: &Play, arguments: &[&str]) -> String {
    let config = play.workshop.path("hatchbell.toml");
    let import = ["import", "--config", config.to_str().unwrap()];
    let output = play.workshop.run(&[&import, arguments].concat());
    assert!(!output.status.success(), "{}", both(&output));
    both(&output)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

fn import(play: &Play, arguments: &[&str]) -> String {
    let config = play.workshop.path("hatchbell.toml");
    let import = ["import", "--config", config.to_str().unwrap()];
    let said = play.workshop.succeeds(&[&import, arguments].concat());
    said.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[tokio::test]
async fn a_new_year_s_file_in_another_unit_is_refused_by_feed_and_by_import() {
    let january = days("2026-01-01", "2026-01-31", 1, celsius);
    let server = ScriptedServer::start(vec![
        Reply::of(200, &[], days("2019-01-01", "2025-12-31", 1, fahrenheit)),
        Reply::of(200, &[], january.clone()),
        Reply::of(200, &[], january.clone()),
        Reply::of(200, &[], days("2026-01-01", "2026-02-01", 1, fahrenheit)),
    ]);
    let address = server.url("/daily.csv?year={year}");
    let text = config(&format!("url = \"{address}\"")).replace("celsius", "fahrenheit");
    let mut play = Play::new(&text);
    play.cycle("2026-01-02T06:00:00Z").await;
    let before = all_stored(&play);
    play.cycle("2026-02-02T06:00:00Z").await;
    play.restart();
    play.cycle("2026-02-02T18:00:00Z").await;
    assert_eq!(all_stored(&play), before);
    assert_eq!(
        of_the_file(&play),
        ["The only station: the feed's file is refused"]
    );
    let told = play.message("refused");
    for words in [
        "daily.csv, read as fahrenheit, the 31 new days are",
        "1 January 2026 to 31 January 2026",
        "its own stored days of the same time of year",
        "read as celsius they fit better",
        "set unit = \"celsius\" for this station",
        "hatchbell import --station only --replace FILE takes it",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let january = play.workshop.write("january.csv", &january);
    let said = import_fails(&play, &["--station", "only", &january]);
    for words in [
        "january.csv, read as fahrenheit, the 31 new days are",
        "read as celsius they fit better",
        "nothing was stored",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert_eq!(all_stored(&play), before);
    play.cycle("2026-02-03T06:00:00Z").await;
    assert_eq!(play.newest_day(), "2026-02-01");
    assert_eq!(of_the_file(&play).len(), 2);
}

/// As whoever changes the year in an address by hand each January.
#[tokio::test]
async fn another_address_keeps_the_guards() {
    let mut play = Play::new(&config("file = \"2025.csv\""));
    let file = &play.workshop;
    file.write("2025.csv", &days("2019-01-01", "2025-12-31", 1, celsius));
    file.write("2026.csv", &days("2026-01-01", "2026-01-31", 1, fahrenheit));
    file.write("all.csv", &days("2025-01-01", "2026-01-31", 2, celsius));
    play.cycle("2026-01-02T06:00:00Z").await;
    let before = all_stored(&play);
    for (name, day) in [("2026.csv", "2026-02-01"), ("all.csv", "2026-02-02")] {
        play.reconfigure(&config(&format!("file = \"{name}\"")));
        play.cycle(&format!("{day}T06:00:00Z")).await;
        assert_eq!(all_stored(&play), before, "{name}");
    }
    let status = play.status("2026-02-02");
    assert!(
        status.contains("of the 365 days that are stored already differ by"),
        "{status}"
    );
}

/// Two stations, whose files are a.csv and b.csv.
fn two_stations() -> String {
    let second = "[[station]]\nid = \"weir\"\nname = \"The weir\"\ndialect = \"ncei-export\"\nunit = \"celsius\"\nfile = \"b.csv\"\n\n[[member]]\nid";
    config("file = \"a.csv\"\nneighbours = [\"weir\"]").replace("[[member]]\nid", second)
}

#[tokio::test]
async fn another_station_s_file_is_refused_by_feed_and_by_import_with_its_name() {
    let mut play = Play::new(&two_stations());
    let a = days("2019-01-01", "2026-05-31", 1, celsius);
    let b = days("2019-01-01", "2026-06-30", 2, celsius);
    play.workshop.write("a.csv", &a);
    let b = play.workshop.write("b.csv", &b);
    play.cycle("2026-06-02T06:00:00Z").await;
    let before = all_stored(&play);
    let said = import_fails(&play, &["--station", "only", &b]);
    assert!(
        said.contains("days that are stored already differ by 3."),
        "{said}"
    );
    assert!(
        said.contains("these are the days of station weir ("),
        "{said}"
    );
    assert_eq!(all_stored(&play), before);
    // June is in no store but the weir's.
    play.cycle("2026-07-02T06:00:00Z").await;
    let june = play
        .workshop
        .write("june.csv", &days("2026-06-01", "2026-06-30", 2, celsius));
    let said = import_fails(&play, &["--station", "only", &june]);
    assert!(
        said.contains("these are the days of station weir: of 30 days"),
        "{said}"
    );

    let before = all_stored(&play);
    play.workshop
        .write("a.csv", &days("2019-01-01", "2026-06-30", 2, celsius));
    play.cycle("2026-07-03T06:00:00Z").await;
    assert_eq!(all_stored(&play), before);
    let told = play.message("file is refused");
    assert!(
        told.contains("these are the days of station weir"),
        "{told}"
    );
    assert_eq!(play.count("SELECT count(*) FROM revision"), 0);
}

#[tokio::test]
async fn replace_says_what_it_changes_before_it_does_and_only_says_so_in_a_dry_run() {
    let mut play = Play::new(&config("file = \"a.csv\""));
    play.workshop
        .write("a.csv", &days("2024-01-01", "2026-05-31", 1, celsius));
    play.cycle("2026-06-02T06:00:00Z").await;
    let before = all_stored(&play);
    let warmer = days("2026-05-22", "2026-06-10", 1, |celsius| celsius + 3.0);
    let file = play.workshop.write("warmer.csv", &warmer);
    let said = import_fails(&play, &["--station", "only", &file]);
    assert!(
        said.contains("10 of the 10 days that are stored already differ by 3.0 °C"),
        "{said}"
    );
    let would = "10 days to add, 20 stored values to change by 3.0 °C (median) and up to 3.0, from 22 May 2026 to 31 May 2026";
    let said = import(
        &play,
        &["--station", "only", "--replace", "--dry-run", &file],
    );
    assert!(
        said.contains(would) && said.contains("nothing was stored"),
        "{said}"
    );
    assert_eq!(all_stored(&play), before);
    let said = import(&play, &["--station", "only", "--replace", &file]);
    assert!(said.contains(would), "{said}");
    assert!(
        said.contains("10 days added, 0 days completed, 20 values revised"),
        "{said}"
    );
}

#[tokio::test]
async fn a_unit_corrected_in_the_configuration_revises_what_was_read_in_the_other() {
    let mut play = Play::new(&config("file = \"a.csv\"").replace("celsius", "fahrenheit"));
    // So few days say nothing of a unit.
    play.workshop
        .write("a.csv", &days("2026-05-01", "2026-05-09", 1, celsius));
    play.cycle("2026-05-11T06:00:00Z").await;
    assert_eq!(play.days(|_, reading| reading.max < Some(0.0)), 9);
    play.workshop
        .write("a.csv", &days("2026-05-01", "2026-05-12", 1, celsius));
    play.reconfigure(&config("file = \"a.csv\""));
    play.cycle("2026-05-14T06:00:00Z").await;
    assert!(of_the_file(&play).is_empty(), "{:?}", play.titles());
    assert_eq!(play.days(|_, reading| reading.max < Some(0.0)), 0);
    assert_eq!(play.count("SELECT count(*) FROM revision"), 18);
}
