//! What must hold whatever a feed sends and whatever stands in a configuration file. The fuzz
//! targets and `tests/feeds/fuzz_smoke.rs` call these; a property that does not hold panics.
#![allow(dead_code, reason = "each fuzz target uses a part of it")]

use chrono::{Datelike, Days, NaiveDate};
use hatchbell::config::problem::{Problem, Severity};
use hatchbell::config::{dialect_file, load, species_file};
use hatchbell::domain::weather::extremes::is_plausible;
use hatchbell::domain::weather::rain::is_plausible_rain;
use hatchbell::domain::weather::reading::Reading;
use hatchbell::domain::weather::wind::is_plausible_wind;
use hatchbell::feed::Rejection;
use hatchbell::feed::bulk::{self, BulkError, BulkLimits, WantedStations};
use hatchbell::feed::parse::parse;
use hatchbell::feed::station_list::{BadLines, inventory, station_list};
use hatchbell::feed::vetting::{Yardstick, vet, vet_alone};
use hatchbell::station_feed::dialect::{Binding, Dialect};
use hatchbell::station_feed::parsed::Parsed;
use hatchbell::station_feed::station_year::{FAILED, SLOTS, StationYear};
use std::path::Path;
use std::sync::LazyLock;

/// The day on which every file is read.
const TODAY: NaiveDate = NaiveDate::from_ymd_opt(2026, 7, 10).unwrap();
/// No thermometer was read before, so a day before it is a wrong date.
const EARLIEST_YEAR: i32 = 1700;
/// Longest text about one line of a file, characters.
const LONGEST_TEXT: usize = 600;
/// The station whose rows are asked for, where one is.
const OUR_CODE: &str = "ZZW00000001";

/// Every built-in dialect in every unit it comes in, for one station and for any.
static BINDINGS: LazyLock<Vec<Binding>> = LazyLock::new(|| {
    let dialects = dialect_file::BUILT_IN
        .iter()
        .map(|(file, text)| dialect_file::read(file, text).expect("a built-in dialect loads"));
    dialects.flat_map(|dialect| bindings(&dialect)).collect()
});

/// Small sound files, to try a dialect on that came out of a fuzzed file.
const SAMPLES: [&str; 3] = [
    "STATION,DATE,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\nZZW00000001,2026-07-01,254,\",,W\",121,\",,W\"\n",
    "ZZW00000001,20260701,TMAX,254,,,W,\nZZW00000001,20260701,TMIN,121,,,W,\n",
    "preamble\n\ntime;high;low\n01.07.2026;25,4;12.1\n",
];

/// Any bytes, read as a file of each built-in dialect.
pub fn of_a_feed_file(bytes: &[u8]) {
    for binding in BINDINGS.iter() {
        of_a_file_of(binding, bytes);
    }
    of_a_file_of_many_stations(bytes);
}

/// Any bytes, read as a file of many stations, with so little held that it comes in parts.
fn of_a_file_of_many_stations(bytes: &[u8]) {
    let Some(binding) = BINDINGS
        .iter()
        .find(|binding| binding.dialect.name == "ghcn-long" && binding.code.is_some())
    else {
        panic!("no binding of long rows");
    };
    let wanted = WantedStations {
        dialect: &binding.dialect,
        stations: vec![binding],
        every_station: true,
        today: TODAY,
        limits: BulkLimits {
            batch_bytes: 200,
            station_years: 2,
        },
    };
    let lines = 1 + bytes.iter().filter(|byte| **byte == b'\n').count() as u64;
    let mut rows_packed = 0;
    let read = bulk::read(bytes, &wanted, &mut |part| {
        rows_packed += part.harvest.rows as u64;
        for line in part.harvest.refused.lines() {
            has_no_control(&line);
        }
        for year in part.harvest.station_years() {
            is_fit_to_print(&year.code);
            is_packed_right(&year);
        }
        for (_, parsed) in part.stations {
            match parsed {
                Ok(parsed) => {
                    for (day, reading) in &parsed.readings {
                        is_possible(*day, reading);
                    }
                    for row in &parsed.refused {
                        assert!((1..=lines).contains(&row.line), "{row}");
                    }
                }
                Err(rejection) => can_be_told(&rejection, lines),
            }
        }
        Ok(())
    });
    match read {
        Ok(rows) => assert_eq!(rows, rows_packed, "a row was lost between two parts"),
        Err(BulkError::Refused(rejection)) => can_be_told(&rejection, lines),
        Err(BulkError::Read(error)) => panic!("{error}"),
    }
}

/// Every packed value is one that can be, and no minimum is above its maximum.
fn is_packed_right(year: &StationYear) {
    assert!(year.year >= EARLIEST_YEAR, "{year:?}");
    let value = |page: usize, slot: usize| {
        let page = year.pages[page].as_ref()?;
        (page[slot] > FAILED).then(|| f64::from(page[slot]) / 10.0)
    };
    for slot in 0..SLOTS {
        let (max, min) = (value(0, slot), value(1, slot));
        assert!(max.is_none_or(is_plausible) && min.is_none_or(is_plausible));
        assert!(value(2, slot).is_none_or(is_plausible_rain));
        if let (Some(min), Some(max)) = (min, max) {
            assert!(min <= max, "{min} above {max}");
        }
    }
}

/// Any bytes, read as a station list and as an inventory.
pub fn of_a_station_file(bytes: &[u8]) {
    let lines = 1 + bytes.iter().filter(|byte| **byte == b'\n').count() as u64;
    let list = station_list(bytes);
    assert_eq!(station_list(bytes), list, "the same bytes, read again");
    match &list {
        Ok(list) => {
            are_counted(&list.bad, list.stations.len(), lines);
            for station in &list.stations {
                assert_eq!(station.code.len(), 11, "{station:?}");
                is_fit_to_print(&station.name);
                assert!(!station.name.is_empty(), "{station:?}");
                assert!(station.place.latitude().abs() <= 90.0, "{station:?}");
                assert!(station.place.longitude().abs() <= 180.0, "{station:?}");
                let elevation = station.elevation_m.unwrap_or_default();
                assert!((-450.0..=9000.0).contains(&elevation), "{station:?}");
            }
        }
        Err(rejection) => can_be_told(rejection, lines),
    }
    let spans = inventory(bytes);
    assert_eq!(inventory(bytes), spans, "the same bytes, read again");
    match &spans {
        Ok(inventory) => {
            are_counted(&inventory.bad, inventory.spans.len(), lines);
            for spans in inventory.spans.values() {
                assert!(spans.maximum.is_some() || spans.minimum.is_some());
                for years in [spans.maximum, spans.minimum].into_iter().flatten() {
                    assert!(years.first <= years.last, "{years:?}");
                    assert!(years.last <= inventory.newest_year, "{years:?}");
                    assert!(years.first >= EARLIEST_YEAR, "{years:?}");
                }
            }
        }
        Err(rejection) => can_be_told(rejection, lines),
    }
    let both = list.is_ok() && spans.is_ok();
    assert!(!both, "a file is a station list and an inventory at once");
}

fn are_counted(bad: &BadLines, good: usize, lines: u64) {
    assert!((good + bad.count) as u64 <= lines);
    assert_eq!(bad.count > 0, bad.first.is_some());
    if let Some((line, text)) = &bad.first {
        assert!((1..=lines).contains(line), "line {line} of {lines}");
        is_fit_to_print(text);
    }
}

/// Any text, read as a configuration, as a species file and as a dialect file.
pub fn of_a_config_file(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let folder = Path::new("/nonexistent");
    let read = || load::from_text("fuzzed.toml", text, folder);
    match read() {
        Ok(loaded) => {
            places_are_in(text, &loaded.warnings);
            assert!(
                loaded
                    .warnings
                    .iter()
                    .all(|p| p.severity == Severity::Warning)
            );
            names_are_known(&loaded.config);
            let again = read().expect("the same text is a configuration again");
            assert_eq!(
                format!("{:?}", again.config),
                format!("{:?}", loaded.config)
            );
        }
        Err(problems) => {
            there_is_an_error_in(text, &problems);
            assert_eq!(
                read().expect_err("the same text is refused again"),
                problems
            );
        }
    }
    match species_file::read("fuzzed.toml", text) {
        Ok(species) => assert_eq!(species_file::read("fuzzed.toml", text), Ok(species)),
        Err(problems) => there_is_an_error_in(text, &problems),
    }
    match dialect_file::read("fuzzed.toml", text) {
        Ok(dialect) => {
            for binding in bindings(&dialect) {
                for sample in SAMPLES {
                    of_a_file_of(&binding, sample.as_bytes());
                }
            }
        }
        Err(problems) => there_is_an_error_in(text, &problems),
    }
}

fn bindings(dialect: &Dialect) -> Vec<Binding> {
    let bind = |unit, code: Option<&str>, latitude| Binding {
        dialect: dialect.clone(),
        unit,
        code: code.map(str::to_owned),
        latitude,
    };
    let units = dialect.units.iter();
    units
        .flat_map(|unit| {
            [
                bind(*unit, None, Some(41.8)),
                bind(*unit, Some(OUR_CODE), None),
            ]
        })
        .collect()
}

/// A file is refused with a reason, or what it gives is possible.
fn of_a_file_of(binding: &Binding, bytes: &[u8]) {
    let lines = 1 + bytes.iter().filter(|byte| **byte == b'\n').count() as u64;
    let parsed = parse(bytes, binding, TODAY);
    assert_eq!(
        parse(bytes, binding, TODAY),
        parsed,
        "the same bytes, read again"
    );
    let parsed = match parsed {
        Ok(parsed) => parsed,
        Err(rejection) => return can_be_told(&rejection, lines),
    };
    for (day, reading) in &parsed.readings {
        is_possible(*day, reading);
    }
    for (day, mm) in &parsed.rain {
        is_within_records(*day);
        assert!(is_plausible_rain(*mm), "{day}: {mm} mm");
    }
    for (day, ms) in &parsed.wind {
        is_within_records(*day);
        assert!(is_plausible_wind(*ms), "{day}: {ms} m/s");
    }
    for row in &parsed.refused {
        assert!(
            (1..=lines).contains(&row.line),
            "line {} of {lines}",
            row.line
        );
        is_fit_to_print(&row.to_string());
    }
    let counted = (parsed.readings.len(), parsed.rows, parsed.values);
    assert!(parsed.readings.len() <= parsed.rows, "{counted:?}");
    assert!(parsed.values <= 2 * parsed.rows, "{counted:?}");
    is_vetted_alike(&parsed, binding, lines);
}

/// A file never contradicts itself: with its own days stored it is judged as with none.
fn is_vetted_alike(parsed: &Parsed, binding: &Binding, lines: u64) {
    let alone = vet_alone(parsed, binding);
    let known = Yardstick {
        stored: parsed.readings.clone(),
        ..Yardstick::default()
    };
    assert_eq!(vet(parsed, binding, &known), alone);
    if let Err(rejection) = alone {
        can_be_told(&rejection, lines);
    }
}

fn is_within_records(day: NaiveDate) {
    assert!(
        day.year() >= EARLIEST_YEAR,
        "{day} is before any thermometer"
    );
    assert!(day <= TODAY + Days::new(1), "{day} is in the future");
}

fn is_possible(day: NaiveDate, reading: &Reading) {
    is_within_records(day);
    for value in [reading.min, reading.max].into_iter().flatten() {
        assert!(value.is_finite() && is_plausible(value), "{day}: {value}");
    }
    assert!(
        reading.min.is_some() || reading.max.is_some(),
        "{day} is empty"
    );
    if let (Some(min), Some(max)) = (reading.min, reading.max) {
        assert!(min <= max, "{day}: {min} above {max}");
        assert!(reading.extremes().is_some(), "{day} makes no day");
    }
}

fn can_be_told(rejection: &Rejection, lines: u64) {
    if let Some(line) = rejection.line {
        assert!((1..=lines).contains(&line), "line {line} of {lines}");
    }
    assert!(!rejection.what.is_empty() && !rejection.remedy.is_empty());
    is_fit_to_print(&rejection.to_string());
}

/// Words of a stranger's file go into logs, terminals and mails.
fn is_fit_to_print(text: &str) {
    has_no_control(text);
    let length = text.chars().count();
    assert!(length <= LONGEST_TEXT, "{length} characters about a line");
}

fn has_no_control(text: &str) {
    let control = text.chars().find(|c| c.is_control());
    assert_eq!(control, None, "{text:?} holds a control character");
}

fn there_is_an_error_in(text: &str, problems: &[Problem]) {
    let errors = problems.iter().filter(|p| p.severity == Severity::Error);
    assert!(errors.count() > 0, "refused without an error: {problems:?}");
    places_are_in(text, problems);
}

/// Every problem has a line and a column inside the file it names, and something to say.
fn places_are_in(text: &str, problems: &[Problem]) {
    let lines: Vec<&str> = text.split('\n').collect();
    for problem in problems {
        assert!(!problem.text.is_empty());
        if problem.file != "fuzzed.toml" {
            assert_eq!((problem.line, problem.column), (1, 1), "{problem}");
            continue;
        }
        let line = problem.line.checked_sub(1).and_then(|line| lines.get(line));
        let Some(line) = line else {
            panic!("{problem:?} is on none of {} lines", lines.len());
        };
        let columns = 1..=line.chars().count() + 1;
        assert!(
            columns.contains(&problem.column),
            "{problem:?} is beyond {line:?}"
        );
    }
}

/// What is named is there, so that nothing is looked up in vain later.
fn names_are_known(config: &hatchbell::config::Config) {
    for feed in config.stations.values() {
        for neighbour in &feed.station.neighbours {
            assert!(
                config.station(neighbour).is_some(),
                "no station {neighbour}"
            );
        }
        assert!(feed.station.elevation_m.is_none_or(f64::is_finite));
    }
    for (_, site) in config.sites() {
        assert!(
            config.station(&site.station).is_some(),
            "no station {}",
            site.station
        );
        assert!((-90.0..=90.0).contains(&site.latitude), "{}", site.latitude);
        for species in &site.species {
            assert!(config.species.contains_key(species), "no species {species}");
        }
    }
    for recipient in config.members.iter().flat_map(|member| &member.recipients) {
        assert!(
            config.addresses.contains_key(&recipient.id),
            "no way to {}",
            recipient.id
        );
    }
}
