//! Files of many stations: read as a stream, several at once, to the same result as one by one.

use crate::support::command::{Workshop, both, config_with};
use crate::support::feeds::{binding, date};
use chrono::{Datelike, NaiveDate};
use flate2::{Compression, write::GzEncoder};
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::rain::Rain;
use hatchbell::domain::weather::reading::Readings;
use hatchbell::feed::bulk::{BulkError, BulkLimits, BulkPart, WantedStations, read};
use hatchbell::feed::parse::parse;
use hatchbell::station_feed::dialect::Binding;
use hatchbell::station_feed::parsed::Element;
use hatchbell::station_feed::refusal::Why;
use hatchbell::station_feed::station_year::{FAILED, Packed, StationYear, UNKNOWN};
use hatchbell::store::Store;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;

const TODAY: &str = "2026-07-10";
const MEADOW: &str = "ZZ000000011";
const ORCHARD: &str = "ZZ000000022";
const STRANGER: &str = "ZZ000000033";
const CODES: [&str; 3] = [MEADOW, ORCHARD, STRANGER];

/// Two stations, meadow ("only") and its neighbour orchard, each with a code.
fn config() -> String {
    let orchard = format!(
        "[[station]]\nid = \"orchard\"\nname = \"Orchard\"\ndialect = \"ghcn-long\"\nfile = \"none.csv\"\ncode = \"{ORCHARD}\"\n"
    );
    let meadow = meadow() + "\nneighbours = [\"orchard\"]";
    config_with(&meadow, "console = true", &orchard)
}

fn meadow() -> String {
    format!("file = \"none.csv\"\ncode = \"{MEADOW}\"")
}

/// A by_year file of invented weather, by date and then by station.
fn by_year(year: i32) -> String {
    let mut text = String::new();
    let start = NaiveDate::from_ymd_opt(year, 1, 1).unwrap();
    for day in start.iter_days().take_while(|day| day.year() == year) {
        for (place, code) in (0..).zip(CODES) {
            text += &rows_of_a_day(day, place, code);
        }
    }
    text
}

fn rows_of_a_day(day: NaiveDate, place: i32, code: &str) -> String {
    let ordinal = day.ordinal0() as i32;
    let course = (ordinal - 182).abs();
    let max = 300 - course + 10 * place + day.year() % 7;
    let (min, rain) = (max - 120, (ordinal % 5) * 13);
    let date = day.format("%Y%m%d");
    format!(
        "{code},{date},TMAX,{max},,,S,\n{code},{date},TMIN,{min},,,S,\n{code},{date},PRCP,{rain},,,S,0700\n{code},{date},SNWD,0,,,S,\n"
    )
}

fn gzipped(text: &str) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(text.as_bytes()).unwrap();
    encoder.finish().unwrap()
}

/// A workshop with a configuration and these files.
fn workshop(files: &[(&str, &[u8])]) -> Workshop {
    let workshop = Workshop::new();
    workshop.write("hatchbell.toml", &config());
    for (name, bytes) in files {
        std::fs::write(workshop.path(name), bytes).unwrap();
    }
    workshop
}

fn bulk<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&["import", "--config", "hatchbell.toml", "--bulk"], more].concat()
}

type Days = (Readings, Rain);

fn stored(workshop: &Workshop, station: &str) -> Days {
    let store = Store::open_to_read(&workshop.path("hatchbell.db")).expect("it opens");
    let readings = store.readings(station).unwrap();
    (
        readings,
        store.rain_since(station, date("0001-01-01")).unwrap(),
    )
}

fn kept(workshop: &Workshop, code: &str) -> Days {
    let store = Store::open_to_read(&workshop.path("hatchbell.db")).expect("it opens");
    store.archived(code, i32::MIN).unwrap()
}

fn noted(database: &Path) -> Vec<String> {
    let connection = rusqlite::Connection::open(database).unwrap();
    let mut statement = connection
        .prepare("SELECT DISTINCT path FROM bulk_file ORDER BY path")
        .unwrap();
    let names = statement
        .query_map([], |row| row.get::<_, String>(0))
        .unwrap();
    names
        .map(|name| name.unwrap().rsplit('/').next().unwrap().to_owned())
        .collect()
}

#[test]
fn several_files_merge_into_every_configured_station_and_no_other() {
    let packed = gzipped(&by_year(2002));
    let workshop = workshop(&[
        ("2001.csv", by_year(2001).as_bytes()),
        ("2002.csv.gz", &packed),
    ]);
    let said = workshop.succeeds(&bulk(&["2001.csv", "2002.csv.gz"]));
    assert!(said.contains("2001.csv: 4380 rows"), "{said}");
    assert!(said.contains("orchard: 365 days added"), "{said}");
    for station in ["only", "orchard"] {
        let (readings, rain) = stored(&workshop, station);
        assert_eq!((readings.len(), rain.len()), (730, 730), "{station}");
    }
    let (readings, rain) = stored(&workshop, "orchard");
    let day = date("2001-01-03");
    assert_eq!(
        (readings[&day].max, readings[&day].min),
        (Some(13.6), Some(1.6))
    );
    assert_eq!(rain[&day], 2.6);
    let stations: i64 = rusqlite::Connection::open(workshop.path("hatchbell.db"))
        .unwrap()
        .query_row(
            "SELECT count(DISTINCT station) FROM reading_year",
            [],
            |row| row.get(0),
        )
        .unwrap();
    assert_eq!(stations, 2);
    assert_eq!(kept(&workshop, STRANGER), Days::default());
}

#[test]
fn the_result_is_that_of_the_single_file_import_of_the_same_rows() {
    let mut text = by_year(2001);
    // A swapped pair, a wild value, a failed one, no number, a day twice, rain that cannot be.
    for (line, bad) in [
        (
            "ZZ000000011,20010110,TMIN,",
            "ZZ000000011,20010110,TMIN,500,,,S,",
        ),
        (
            "ZZ000000011,20010210,TMAX,",
            "ZZ000000011,20010210,TMAX,-9998,,,S,",
        ),
        (
            "ZZ000000011,20010310,TMAX,",
            "ZZ000000011,20010310,TMAX,200,,I,S,",
        ),
        (
            "ZZ000000011,20010410,TMAX,",
            "ZZ000000011,20010410,TMAX,NaN,,,S,",
        ),
        (
            "ZZ000000011,20010510,TMAX,",
            "ZZ000000011,20010509,TMAX,1,,,S,",
        ),
        (
            "ZZ000000011,20010610,PRCP,",
            "ZZ000000011,20010610,PRCP,-5,,,S,",
        ),
        (
            "ZZ000000011,20010710,TMIN,",
            "ZZ000000011,20010732,TMIN,100,,,S,",
        ),
    ] {
        let start = text.find(line).expect(line);
        let end = start + text[start..].find('\n').unwrap();
        text.replace_range(start..end, bad);
    }
    let one = workshop(&[("2001.csv", text.as_bytes())]);
    let single = ["import", "--config", "hatchbell.toml", "--station", "only"];
    let said_single =
        one.succeeds(&[&single[..], &["--dialect", "ghcn-long", "2001.csv"]].concat());
    let many = workshop(&[("2001.csv", text.as_bytes())]);
    let said_bulk = many.succeeds(&bulk(&["2001.csv"]));
    assert_eq!(stored(&many, "only"), stored(&one, "only"));
    let refused = |said: &str| -> Vec<String> {
        let lines = said.lines().map(str::trim);
        let refused = lines.filter(|line| line.starts_with("refused, "));
        refused.map(str::to_owned).collect()
    };
    assert_eq!(refused(&said_single).len(), 7, "{said_single}");
    assert_eq!(refused(&said_bulk), refused(&said_single));
    assert!(
        said_bulk.contains("refused, no full date: line "),
        "{said_bulk}"
    );
}

#[test]
fn a_second_run_passes_over_finished_files_until_they_change() {
    let workshop = workshop(&[("2001.csv", by_year(2001).as_bytes())]);
    workshop.succeeds(&bulk(&["2001.csv"]));
    let again = workshop.succeeds(&bulk(&["2001.csv"]));
    assert_eq!(again, "2001.csv: imported before, passed over\n");
    let longer = by_year(2001) + &rows_of_a_day(date("2002-01-01"), 0, MEADOW);
    workshop.write("2001.csv", &longer);
    let changed = workshop.succeeds(&bulk(&["2001.csv"]));
    assert!(changed.contains("only: 1 day added"), "{changed}");
}

#[test]
fn a_station_that_is_new_is_found_in_files_that_were_finished_without_it() {
    let workshop = workshop(&[("2001.csv", by_year(2001).as_bytes())]);
    workshop.write(
        "hatchbell.toml",
        &config_with(&meadow(), "console = true", ""),
    );
    workshop.succeeds(&bulk(&["2001.csv"]));
    assert_eq!(stored(&workshop, "orchard"), Days::default());
    workshop.write("hatchbell.toml", &config());
    let said = workshop.succeeds(&bulk(&["2001.csv"]));
    assert!(said.contains("orchard: 365 days added"), "{said}");
    assert!(!said.contains("only: "), "{said}");
}

#[test]
fn a_truncated_gzip_file_is_refused_by_name_and_not_noted_and_the_others_are_taken() {
    let whole = gzipped(&by_year(2002));
    let workshop = workshop(&[
        ("2001.csv", by_year(2001).as_bytes()),
        ("2002.csv.gz", &whole[..whole.len() * 2 / 3]),
        ("2003.csv", by_year(2003).as_bytes()),
    ]);
    let files = bulk(&["--every-station", "2001.csv", "2002.csv.gz", "2003.csv"]);
    let output = workshop.run(&files);
    let said = both(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(
        said.contains("2002.csv.gz: the gzip file ends too early"),
        "{said}"
    );
    assert!(said.contains("1 of 3 files not taken in full"), "{said}");
    assert_eq!(
        noted(&workshop.path("hatchbell.db")),
        ["2001.csv", "2003.csv"]
    );
    let years = |days: &Days| -> Vec<i32> {
        let mut years: Vec<i32> = days.0.keys().map(Datelike::year).collect();
        years.dedup();
        years
    };
    assert_eq!(years(&stored(&workshop, "only")), [2001, 2003]);
    assert_eq!(years(&kept(&workshop, STRANGER)), [2001, 2003]);

    std::fs::write(workshop.path("2002.csv.gz"), &whole).unwrap();
    let said = workshop.succeeds(&files);
    assert!(said.contains("2001.csv: imported before"), "{said}");
    assert_eq!(years(&stored(&workshop, "only")), [2001, 2002, 2003]);
    assert_eq!(kept(&workshop, MEADOW), stored(&workshop, "only"));
}

#[test]
fn a_file_that_stops_in_mid_line_is_refused_and_not_noted() {
    let text = by_year(2001);
    let workshop = workshop(&[("2001.csv", &text.as_bytes()[..text.len() - 9])]);
    let output = workshop.run(&bulk(&["--every-station", "2001.csv"]));
    assert_eq!(output.status.code(), Some(1));
    assert!(both(&output).contains("2001.csv, line 4380: the file stops in mid-line"));
    assert_eq!(stored(&workshop, "only"), Days::default());
    assert_eq!(kept(&workshop, MEADOW), Days::default());
    assert!(noted(&workshop.path("hatchbell.db")).is_empty());
}

#[test]
fn an_import_that_is_killed_leaves_a_sound_database_and_the_next_one_completes() {
    let names: Vec<String> = (1990..2020).map(|year| format!("{year}.csv")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let texts: Vec<String> = (1990..2020).map(by_year).collect();
    let files: Vec<(&str, &[u8])> = names
        .iter()
        .copied()
        .zip(texts.iter().map(String::as_bytes))
        .collect();
    let whole = workshop(&files);
    let arguments = [&bulk(&["--every-station"])[..], &names].concat();
    whole.succeeds(&arguments);

    let killed = workshop(&files);
    let mut child = killed.start(&arguments);
    // Its first file is told when it is stored; there are thirty.
    while !killed.read("stdout").contains("1990.csv") {
        assert!(
            child
                .try_wait()
                .unwrap()
                .is_none_or(|status| status.success())
        );
        std::thread::yield_now();
    }
    child.kill().unwrap();
    child.wait().unwrap();

    let database = killed.path("hatchbell.db");
    let sound: String = rusqlite::Connection::open(&database)
        .unwrap()
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(sound, "ok");
    let finished = noted(&database);
    assert!(finished.contains(&"1990.csv".to_owned()));
    let (readings, _) = stored(&killed, "only");
    for name in &finished {
        let year: i32 = name[..4].parse().unwrap();
        let days = readings.keys().filter(|day| day.year() == year).count();
        assert!(days >= 365, "{name} is noted but has {days} days");
    }

    killed.succeeds(&arguments);
    assert_eq!(noted(&database).len(), 30);
    for code in CODES {
        assert_eq!(kept(&killed, code), kept(&whole, code));
    }
    for station in ["only", "orchard"] {
        assert_eq!(stored(&killed, station), stored(&whole, station));
    }
}

#[test]
fn a_value_that_failed_its_quality_check_is_not_taken_and_takes_back_a_stored_one() {
    let good = rows_of_a_day(date("2001-07-01"), 0, MEADOW);
    let failed = good.replacen(",,,S", ",,X,S", 1);
    let workshop = workshop(&[("a.csv", good.as_bytes()), ("b.csv", failed.as_bytes())]);
    workshop.succeeds(&bulk(&["--every-station", "a.csv"]));
    let day = date("2001-07-01");
    assert!(stored(&workshop, "only").0[&day].max.is_some());
    let said = workshop.succeeds(&bulk(&["--every-station", "b.csv"]));
    assert!(
        said.contains("refused, failed the publisher's own quality check: line 1"),
        "{said}"
    );
    assert!(said.contains("0 changed, 1 taken back"), "{said}");
    for days in [stored(&workshop, "only"), kept(&workshop, MEADOW)] {
        assert_eq!(days.0[&day].max, None);
        assert!(days.0[&day].min.is_some());
    }
}

#[test]
fn files_and_rows_out_of_order_give_the_same_result() {
    let years = [by_year(2001), by_year(2002)];
    let names = ["2001.csv", "2002.csv"];
    let in_order = workshop(&[
        (names[0], years[0].as_bytes()),
        (names[1], years[1].as_bytes()),
    ]);
    in_order.succeeds(&bulk(&["--every-station", "2001.csv", "2002.csv"]));
    // Every row in turn from the end and from the start.
    let shuffled = |text: &str| -> String {
        let mut lines: std::collections::VecDeque<&str> = text.lines().collect();
        let mut mixed = String::new();
        while let Some(line) = lines.pop_back() {
            mixed += &format!("{line}\n");
            if let Some(line) = lines.pop_front() {
                mixed += &format!("{line}\n");
            }
        }
        mixed
    };
    let texts = years.map(|text| shuffled(&text));
    let out_of_order = workshop(&[
        (names[0], texts[0].as_bytes()),
        (names[1], texts[1].as_bytes()),
    ]);
    out_of_order.succeeds(&bulk(&["--every-station", "2002.csv", "2001.csv"]));
    for station in ["only", "orchard"] {
        assert_eq!(stored(&out_of_order, station), stored(&in_order, station));
    }
    for code in CODES {
        assert_eq!(kept(&out_of_order, code), kept(&in_order, code));
    }
}

#[test]
fn of_two_files_with_different_values_the_one_named_later_counts() {
    let day = date("2001-07-01");
    let first = rows_of_a_day(day, 0, MEADOW);
    let second = rows_of_a_day(day, 1, MEADOW);
    let max = |order: [&str; 2]| {
        let workshop = workshop(&[("a.csv", first.as_bytes()), ("b.csv", second.as_bytes())]);
        workshop.succeeds(&bulk(&["--every-station", order[0], order[1]]));
        let days = stored(&workshop, "only");
        assert_eq!(kept(&workshop, MEADOW), days);
        days.0[&day].max
    };
    assert_eq!(max(["a.csv", "b.csv"]), Some(31.5));
    assert_eq!(max(["b.csv", "a.csv"]), Some(30.5));
}

#[test]
fn a_station_that_contradicts_what_is_stored_is_refused_alone_and_looked_for_again() {
    let workshop = workshop(&[("2001.csv", by_year(2001).as_bytes())]);
    workshop.succeeds(&bulk(&["2001.csv"]));
    // The same days of the meadow, 15 degrees warmer.
    let warmer: String = (1..=31)
        .map(|n| NaiveDate::from_ymd_opt(2001, 7, n).unwrap())
        .map(|day| rows_of_a_day(day, 15, MEADOW) + &rows_of_a_day(day, 1, ORCHARD))
        .collect();
    workshop.write("july.csv", &warmer);
    let before = stored(&workshop, "only");
    let output = workshop.run(&bulk(&["july.csv"]));
    let said = both(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(
        said.contains("nothing taken for only: 31 of the 31 days"),
        "{said}"
    );
    assert!(said.contains("orchard: 0 days added"), "{said}");
    assert_eq!(stored(&workshop, "only"), before);
    let again = both(&workshop.run(&bulk(&["july.csv"])));
    assert!(
        again.contains("nothing taken for only") && !again.contains("orchard"),
        "{again}"
    );
    // What is stored is no objection any more; the neighbour is, until somebody decides.
    let said = workshop.succeeds(&bulk(&["--replace", "july.csv"]));
    assert!(
        said.contains("only: 0 days to add, 62 stored values to change by 15.0 °C (median)"),
        "{said}"
    );
    assert!(
        said.contains("only: held out of sums: 62 values (62 no neighbour"),
        "{said}"
    );
    assert_eq!(stored(&workshop, "only"), before);
    let confirm = [
        "feed",
        "confirm",
        "only",
        "--all",
        "--config",
        "hatchbell.toml",
    ];
    workshop.succeeds(&confirm);
    assert_ne!(stored(&workshop, "only"), before);
}

#[test]
fn what_was_kept_of_every_station_serves_a_station_that_is_configured_later() {
    let workshop = workshop(&[("2001.csv", by_year(2001).as_bytes())]);
    workshop.write(
        "hatchbell.toml",
        &config_with(&meadow(), "console = true", ""),
    );
    workshop.succeeds(&bulk(&["--every-station", "2001.csv"]));
    workshop.write("hatchbell.toml", &config());
    let take = [
        "import",
        "--config",
        "hatchbell.toml",
        "--station",
        "orchard",
        "--kept",
    ];
    let said = workshop.succeeds(&take);
    assert!(said.contains("orchard: 365 days added"), "{said}");
    assert_eq!(stored(&workshop, "orchard"), kept(&workshop, ORCHARD));
}

#[test]
fn a_dry_run_says_what_there_is_and_stores_nothing() {
    let workshop = workshop(&[("2001.csv", by_year(2001).as_bytes())]);
    let said = workshop.succeeds(&bulk(&["--every-station", "--dry-run", "2001.csv"]));
    assert!(
        said.contains("4380 rows") && said.contains("nothing was stored"),
        "{said}"
    );
    assert!(!workshop.path("hatchbell.db").exists());
    workshop.succeeds(&bulk(&["2001.csv"]));
    let whole = stored(&workshop, "only");
    workshop.write("2002.csv", &by_year(2002));
    workshop.succeeds(&bulk(&["--dry-run", "2002.csv"]));
    assert_eq!(stored(&workshop, "only"), whole);
    assert_eq!(noted(&workshop.path("hatchbell.db")), ["2001.csv"]);
}

#[test]
fn what_is_quoted_of_a_refused_row_commands_no_terminal() {
    let text = "ZZW00000001,20260701,TMAX,\u{1b}[2J250,,,W,\n";
    let parts = parts(text, BulkLimits::of_each(1), vec![]).unwrap();
    let lines: Vec<String> = parts[0].harvest.refused.lines().collect();
    assert_eq!(lines, ["not a number: line 1 (\u{fffd}[2J250)"]);
}

#[test]
fn a_file_of_another_kind_is_refused_with_what_to_do() {
    let wide =
        "\"STATION\",\"DATE\",\"TMAX\",\"TMIN\"\n\"ZZ000000011\",\"2001-07-01\",\"250\",\"120\"\n";
    let workshop = workshop(&[("wide.csv", wide.as_bytes()), ("page.csv", b"<html>\n")]);
    let said = both(&workshop.run(&bulk(&["wide.csv", "page.csv"])));
    assert!(
        said.contains("wide.csv, line 1: neither a row ID,DATE"),
        "{said}"
    );
    assert!(said.contains("--station ID FILE"), "{said}");
    assert!(
        said.contains("page.csv, line 1: this is a web page"),
        "{said}"
    );
    let said = both(&workshop.run(&bulk(&["none.csv"])));
    assert!(said.contains("none.csv: there is no such file"), "{said}");
}

#[test]
fn a_file_of_garbage_is_refused_as_a_whole_even_for_the_archive() {
    let text =
        rows_of_a_day(date("2001-07-01"), 0, MEADOW) + &"ZZ000000011,2001,TMAX,1,,,S,\n".repeat(20);
    let workshop = workshop(&[("bad.csv", text.as_bytes())]);
    let output = workshop.run(&bulk(&["--every-station", "bad.csv"]));
    assert_eq!(output.status.code(), Some(1));
    assert!(both(&output).contains("20 of 24 rows make no sense: no full date: line 5 (2001)"));
    assert_eq!(kept(&workshop, MEADOW), Days::default());
}

fn long_rows() -> Binding {
    Binding {
        code: Some(MEADOW.to_owned()),
        ..binding("ghcn-long", Unit::TenthsCelsius)
    }
}

fn parts(
    text: &str,
    limits: BulkLimits,
    stations: Vec<&Binding>,
) -> Result<Vec<BulkPart>, BulkError> {
    let long = long_rows();
    let wanted = WantedStations {
        dialect: &long.dialect,
        stations,
        every_station: true,
        today: date(TODAY),
        limits,
    };
    let mut parts = Vec::new();
    read(text.as_bytes(), &wanted, &mut |part| {
        parts.push(part);
        Ok(())
    })?;
    Ok(parts)
}

/// Of a file of any length no more is held than the limits and one station's year.
#[test]
fn no_more_is_held_than_the_limits_say_and_no_day_is_torn_apart() {
    let long = long_rows();
    // By station: years of each station one after the other.
    let text: String = (0..40)
        .flat_map(|station| (2000..2006).map(move |year| (station, year)))
        .map(|(station, year)| {
            let day = NaiveDate::from_ymd_opt(year, 7, 1).unwrap();
            let code = if station % 2 == 0 {
                MEADOW.to_owned()
            } else {
                format!("ZZ{station:09}")
            };
            rows_of_a_day(day, 0, &code)
        })
        .collect();
    let limits = BulkLimits {
        batch_bytes: 300,
        station_years: 7,
    };
    let several = parts(&text, limits, vec![&long]).unwrap();
    assert!(several.len() > 10);
    let mut years = 0;
    for part in &several {
        assert!(part.harvest.len() <= 7);
        for (_, parsed) in &part.stations {
            let parsed = parsed.as_ref().unwrap();
            // Rows of at least 33 bytes, 4 a day: the limit is passed by no more than a day.
            assert!(parsed.rows <= 300 / 33 + 4, "{}", parsed.rows);
            assert!(
                parsed
                    .readings
                    .values()
                    .all(|reading| reading.extremes().is_some())
            );
        }
        for year in part.harvest.station_years() {
            assert!(year.pages.iter().all(Option::is_some), "{year:?}");
            years += 1;
        }
    }
    assert_eq!(years, 40 * 6);
    let one = parts(&text, BulkLimits::of_each(1), vec![&long]).unwrap();
    assert_eq!(one.len(), 1);
}

/// What is refused is counted; only the first rows of each reason are held.
#[test]
fn refused_rows_take_no_memory() {
    let good = by_year(2001);
    let flagged = "ZZ000000011,20010701,TMAX,1,,X,S,\n".repeat(5000);
    let parts = parts(&(good + &flagged), BulkLimits::of_each(1), vec![]).unwrap();
    let refused = &parts[0].harvest.refused;
    assert_eq!(refused.count(Why::Flagged), 5000);
    assert_eq!(
        refused.lines().collect::<Vec<_>>()[0]
            .matches("line ")
            .count(),
        5
    );
}

/// Days of a packed year, as a parsed file has them; failed values apart.
fn unpacked(years: &[StationYear], code: &str) -> (Readings, Rain, Vec<(NaiveDate, bool)>) {
    let (mut readings, mut rain, mut failed) = (Readings::new(), Rain::new(), Vec::new());
    for year in years.iter().filter(|year| year.code == code) {
        for (index, page) in year.pages.iter().enumerate() {
            let Some(page) = page else { continue };
            for (slot, value) in page
                .iter()
                .enumerate()
                .filter(|(_, value)| **value != UNKNOWN)
            {
                let day = NaiveDate::from_yo_opt(year.year, slot as u32 + 1).unwrap();
                let (_, packed) = Packed::NAMED[index];
                if *value == FAILED {
                    failed.push((day, packed == Packed::Max));
                    continue;
                }
                let value = f64::from(*value) / 10.0;
                match packed {
                    Packed::Max => readings.entry(day).or_default().max = Some(value),
                    Packed::Min => readings.entry(day).or_default().min = Some(value),
                    Packed::Rain => {
                        rain.insert(day, value);
                    }
                }
            }
        }
    }
    failed.sort_unstable();
    (readings, rain, failed)
}

/// A row of odd parts. The flag goes by day, element and station, so that one value has one.
fn row() -> impl Strategy<Value = String> {
    let dates = prop::sample::select(vec![
        "20010701", "20010702", "20010703", "20040229", "20010229", "20010732", "2001070",
        "20991231", "",
    ]);
    let elements = prop::sample::select(vec!["TMAX", "TMIN", "PRCP", "SNOW", "tmax"]);
    let values = prop::sample::select(vec![
        "250",
        "120",
        "-17",
        "0",
        "-9999",
        "",
        "600",
        "601",
        "-900",
        "-901",
        "20000",
        "20001",
        "99999",
        "123456789",
        "NaN",
        "inf",
        "1x",
        "-",
        "  42",
        "- 5",
    ]);
    let ends = prop::sample::select(vec!["S,", "S,0700", "S", "S,,"]);
    (0..2usize, dates, elements, values, ends).prop_map(|(station, date, element, value, end)| {
        let flag = match (date, element, station) {
            ("20010703", "TMAX", _) => "I",
            ("20010702", "PRCP", 1) => " X ",
            ("20040229", "TMIN", 0) => "null",
            _ => "",
        };
        format!(
            "{},{date},{element},{value},,{flag},{end}\n",
            CODES[station]
        )
    })
}

proptest! {
    /// The archive has a parser of its own for speed; it must refuse what the other refuses.
    #[test]
    fn the_archive_takes_and_refuses_what_the_parser_of_feeds_does(rows in prop::collection::vec(row(), 1..60)) {
        // Rows of another element keep the share of refused ones low.
        let padding = format!("{STRANGER},20010701,SNWD,0,,,S,\n").repeat(300);
        let text = padding + &rows.concat() + &format!("{STRANGER},20010701,SNWD,0,,,S,\n");
        let parts = parts(&text, BulkLimits::of_each(1), vec![]).unwrap();
        let years: Vec<StationYear> = parts[0].harvest.station_years().collect();
        let mut refused: BTreeMap<Why, usize> = BTreeMap::new();
        for code in CODES {
            let binding = Binding { code: Some(code.to_owned()), ..long_rows() };
            let mut expected = parse(text.as_bytes(), &binding, date(TODAY)).unwrap_or_default();
            let mut failed: Vec<(NaiveDate, bool)> = expected
                .failed
                .iter()
                .map(|(day, element)| (*day, *element == Element::Max))
                .collect();
            failed.sort_unstable();
            failed.dedup();
            expected.readings.retain(|_, reading| reading.max.is_some() || reading.min.is_some());
            let (readings, rain, packed_failed) = unpacked(&years, code);
            prop_assert_eq!(readings, expected.readings);
            prop_assert_eq!(rain, expected.rain);
            prop_assert_eq!(packed_failed, failed);
            for row in expected.refused {
                *refused.entry(row.why).or_default() += 1;
            }
        }
        for (why, count) in refused {
            prop_assert_eq!(parts[0].harvest.refused.count(why), count, "{}", why);
        }
    }
}
