use super::header::{HeaderChange, header_change};
use super::stored_days::as_published;
use super::*;
use crate::config::dialect_file;
use crate::domain::place::site::Station;
use crate::domain::telling::feed_trouble::Trouble;
use crate::domain::weather::observation_day::DayShift;
use crate::domain::weather::reading::{Reading, Readings};
use crate::feed::parse::parse;
use crate::station_feed::memory::FileProfile;
use crate::station_feed::origin::Origin;
use chrono::{DateTime, Datelike, Days, Utc};

pub(super) fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

pub(super) fn instant(text: &str) -> DateTime<Utc> {
    format!("{text}T06:00:00Z").parse().unwrap()
}

pub(super) fn binding(unit: Unit) -> Binding {
    let (file, text) = dialect_file::BUILT_IN
        .iter()
        .find(|(file, _)| file.ends_with("/ghcn-access.toml"))
        .unwrap();
    Binding {
        dialect: dialect_file::read(file, text).unwrap(),
        unit,
        code: None,
        latitude: None,
    }
}

/// Days of a plausible course of the year.
pub(super) fn weather(from: &str, to: &str) -> Readings {
    let (from, to) = (date(from), date(to));
    (0..=(to - from).num_days() as u64)
        .map(|index| {
            let day = from + Days::new(index);
            let mean = 11.0 - 14.0 * (f64::from(day.ordinal0()) * 0.0172).cos();
            let reading = Reading {
                min: Some(mean - 5.0),
                max: Some(mean + 5.0),
            };
            (day, reading)
        })
        .collect()
}

/// Stored days of the station and nothing else.
pub(super) fn known(stored: &Readings) -> Yardstick {
    Yardstick {
        stored: stored.clone(),
        command: "hatchbell import --station hill --replace FILE".into(),
        ..Yardstick::default()
    }
}

fn refuse_other_unit(
    parsed: &Parsed,
    binding: &Binding,
    stored: &Readings,
) -> Result<(), Rejection> {
    let shared = Shared::of(&parsed.readings, stored);
    stored_days::refuse_other_unit(parsed, &shared, binding, &known(stored))
}

fn profile(readings: &Readings) -> FileProfile {
    let parsed = Parsed {
        readings: readings.clone(),
        rows: readings.len(),
        ..Parsed::default()
    };
    FileProfile::of(&parsed, names("DATE,TMAX,TMIN"))
}

fn names(header: &str) -> Vec<String> {
    header.split(',').map(str::to_owned).collect()
}

/// Troubles found in a file after another one.
fn after(old: &Readings, new: &Readings) -> Vec<Trouble> {
    let comparison = compare(
        new,
        profile(new),
        Some(&profile(old)),
        &binding(Unit::TenthsCelsius),
        None,
        instant("2026-06-20"),
    );
    comparison.findings.iter().map(|f| f.trouble).collect()
}

#[test]
fn the_first_file_is_held_against_nothing() {
    let readings = weather("2026-01-01", "2026-06-10");
    let comparison = compare(
        &readings,
        profile(&readings),
        None,
        &binding(Unit::TenthsCelsius),
        None,
        instant("2026-06-20"),
    );
    assert!(comparison.findings.is_empty());
    assert_eq!(comparison.keep.days, 161);
    assert_eq!(comparison.keep.newest, Some(date("2026-06-10")));
}

#[test]
fn a_file_that_grows_is_fine() {
    let old = weather("2020-01-01", "2026-06-10");
    assert_eq!(after(&old, &weather("2020-01-01", "2026-06-13")), []);
    assert_eq!(after(&old, &old), []);
}

#[test]
fn a_moving_window_is_not_a_smaller_file() {
    let old = weather("2025-06-10", "2026-06-10");
    for (from, to) in [
        ("2025-06-11", "2026-06-11"),
        ("2025-06-17", "2026-06-17"),
        // The oldest day goes before the newest has come.
        ("2025-06-12", "2026-06-10"),
    ] {
        assert_eq!(after(&old, &weather(from, to)), [], "{from} to {to}");
    }
}

#[test]
fn a_file_of_a_new_year_or_month_is_not_a_smaller_file() {
    let old = weather("2025-01-01", "2025-12-31");
    assert_eq!(after(&old, &weather("2026-01-01", "2026-01-03")), []);
    // The service was off over the turn of the year.
    assert_eq!(after(&old, &weather("2026-01-01", "2026-03-20")), []);
    // What begins before the last one's end has lost days.
    assert_eq!(
        after(&old, &weather("2025-10-01", "2026-01-03")),
        [Trouble::Shrunk]
    );
    let old = weather("2026-05-01", "2026-05-31");
    assert_eq!(after(&old, &weather("2026-06-01", "2026-06-02")), []);
}

#[test]
fn a_file_that_lost_its_beginning_or_middle_is_smaller() {
    let old = weather("2020-01-01", "2026-06-10");
    let late = weather("2023-03-05", "2026-06-12");
    assert_eq!(after(&old, &late), [Trouble::Shrunk]);
    let mut holey = weather("2020-01-01", "2026-06-12");
    holey.retain(|day, _| !(date("2024-02-01")..=date("2024-02-04")).contains(day));
    assert_eq!(after(&old, &holey), [Trouble::Shrunk]);
    // Three days are what a publisher voids now and then.
    holey.extend(weather("2024-02-01", "2024-02-01"));
    assert_eq!(after(&old, &holey), []);
}

#[test]
fn an_older_newest_day_is_a_step_back_but_for_a_single_day() {
    let old = weather("2020-01-01", "2026-06-10");
    assert_eq!(
        after(&old, &weather("2020-01-01", "2026-06-08")),
        [Trouble::WentBack]
    );
    assert_eq!(after(&old, &weather("2020-01-01", "2026-06-09")), []);
    assert_eq!(after(&old, &Readings::new()), [Trouble::WentBack]);
}

#[test]
fn the_larger_file_stays_the_one_to_hold_against_until_the_smaller_one_has_settled() {
    let old = weather("2020-01-01", "2026-06-10");
    let new = weather("2023-03-05", "2026-06-25");
    let since = instant("2026-06-12");
    let on = |now: &str| {
        compare(
            &new,
            profile(&new),
            Some(&profile(&old)),
            &binding(Unit::TenthsCelsius),
            Some(since),
            instant(now),
        )
    };
    let early = on("2026-06-25");
    assert_eq!(early.findings[0].trouble, Trouble::Shrunk);
    assert_eq!(early.keep, profile(&old));
    let settled = on("2026-06-26");
    assert!(settled.findings.is_empty());
    assert_eq!(settled.keep, profile(&new));
}

#[test]
fn new_columns_are_a_remark_and_lost_flags_are_named() {
    let binding = binding(Unit::TenthsCelsius);
    let old = names("STATION,DATE,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES");
    let wider = names("STATION,DATE,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES,WT01");
    let change = header_change(&old, &wider, &binding);
    assert!(matches!(change, HeaderChange::Added(names) if names == "WT01"));
    let bare = names("STATION,DATE,TMAX,TMIN");
    let HeaderChange::Other(what) = header_change(&old, &bare, &binding) else {
        panic!("flags are gone");
    };
    assert!(what.contains("quality flags"), "{what}");
    let turned = names("DATE,STATION,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES");
    let HeaderChange::Other(what) = header_change(&old, &turned, &binding) else {
        panic!("the order is another");
    };
    assert!(!what.contains("quality flags"), "{what}");
    let unnamed = vec![String::new(); 6];
    let change = header_change(&old, &unnamed, &binding);
    assert!(matches!(change, HeaderChange::Other(what) if what.contains("no header any more")));
}

/// What a file of `unit` says once it is read in `bound`.
pub(super) fn misread(readings: &Readings, unit: Unit, bound: Unit) -> Readings {
    let turn = |celsius: f64| bound.to_celsius(as_published(unit, celsius).round());
    readings
        .iter()
        .map(|(day, reading)| {
            let reading = Reading {
                min: reading.min.map(turn),
                max: reading.max.map(turn),
            };
            (*day, reading)
        })
        .collect()
}

#[test]
fn every_switch_of_unit_is_recognised_by_the_unit_that_fits() {
    let stored = weather("2026-04-01", "2026-06-10");
    for (_, bound) in Unit::NAMED {
        for (name, unit) in Unit::NAMED {
            let parsed = Parsed {
                readings: misread(&stored, unit, bound),
                ..Parsed::default()
            };
            let mut binding = binding(bound);
            binding.dialect.units = Unit::NAMED.map(|(_, unit)| unit).to_vec();
            let result = refuse_other_unit(&parsed, &binding, &stored);
            if unit == bound {
                assert_eq!(result, Ok(()), "{name}");
            } else {
                let text = result.unwrap_err().to_string();
                assert!(text.contains(&format!("set unit = \"{name}\"")), "{text}");
            }
        }
    }
}

/// GHCN-Daily comes in tenths of °C, so the station's table has no other unit to set.
#[test]
fn a_switch_to_a_unit_that_the_dialect_does_not_have_points_to_another_dialect() {
    let stored = weather("2026-04-01", "2026-06-10");
    let bound = Unit::TenthsCelsius;
    let parsed = Parsed {
        readings: misread(&stored, Unit::Fahrenheit, bound),
        ..Parsed::default()
    };
    let text = refuse_other_unit(&parsed, &binding(bound), &stored)
        .unwrap_err()
        .to_string();
    assert!(text.contains("read as fahrenheit it agrees"), "{text}");
    assert!(text.contains("units = [\"fahrenheit\"]"), "{text}");
    assert!(!text.contains("set unit"), "{text}");
}

/// An export file in °C of the days from 1 April 2026 on.
pub(super) fn file(days: u64, row: impl Fn(u64) -> (String, String)) -> String {
    let rows = (0..days).map(|index| {
        let (max, min) = row(index);
        format!("{},{max},{min}\n", date("2026-04-01") + Days::new(index))
    });
    format!("DATE,TMAX,TMIN\n{}", rows.collect::<String>())
}

pub(super) fn read(text: &str, stored: &Readings) -> Result<Parsed, String> {
    let mut binding = binding(Unit::Celsius);
    binding.dialect.units = vec![Unit::Celsius];
    let today = date("2026-09-01");
    parse(text.as_bytes(), &binding, today)
        .and_then(|parsed| vet(&parsed, &binding, &known(stored)).map(|()| parsed))
        .map_err(|refused| refused.to_string())
}

pub(super) fn plain(max: f64, min: f64) -> (String, String) {
    (format!("{max:.1}"), format!("{min:.1}"))
}

#[test]
fn a_file_is_refused_if_more_than_a_quarter_of_its_rows_make_no_sense() {
    let with_bad = |days: u64, bad: u64| {
        file(days, |index| {
            if index < bad {
                ("warm".into(), String::new())
            } else {
                plain(20.0, 10.0)
            }
        })
    };
    let stored = Readings::new();
    assert_eq!(read(&with_bad(100, 25), &stored).unwrap().refused.len(), 25);
    let text = read(&with_bad(100, 26), &stored).unwrap_err();
    assert!(text.contains("26 of 100 rows make no sense"), "{text}");
    // So few may be in a short file.
    assert!(read(&with_bad(10, 7), &stored).is_ok());
    assert!(read(&with_bad(10, 8), &stored).is_err());
}

#[test]
fn a_file_is_refused_if_more_than_a_hundredth_of_its_values_are_no_air_temperatures() {
    let with_wild = |wild: u64| {
        file(150, |index| {
            let max = if index < wild { 75.0 } else { 20.0 };
            plain(max, 10.0)
        })
    };
    let stored = Readings::new();
    assert_eq!(read(&with_wild(2), &stored).unwrap().refused.len(), 2);
    assert_eq!(read(&with_wild(3), &stored).unwrap().refused.len(), 3);
    let text = read(&with_wild(5), &stored).unwrap_err();
    assert!(text.contains("are no air temperatures"), "{text}");
}

#[test]
fn a_mean_daily_range_below_two_degrees_is_of_no_station_on_land() {
    let of_range = |days: u64, range: f64| file(days, |_| plain(10.0 + range, 10.0));
    let stored = Readings::new();
    assert!(read(&of_range(30, 2.0), &stored).is_ok());
    let text = read(&of_range(30, 1.9), &stored).unwrap_err();
    assert!(text.contains("only 1.9 °C apart"), "{text}");
    assert!(read(&of_range(29, 1.9), &stored).is_ok());
}

#[test]
fn a_file_that_changes_more_than_a_fifth_of_the_stored_days_is_refused() {
    let with_changed = |days: u64, changed: u64, by: f64| {
        file(days, |index| {
            let by = if index < changed { by } else { 0.0 };
            plain(20.0 + by, 10.0 + by)
        })
    };
    let stored = read(&with_changed(50, 0, 0.0), &Readings::new())
        .unwrap()
        .readings;
    assert!(read(&with_changed(50, 50, 1.0), &stored).is_ok());
    assert!(read(&with_changed(50, 10, 3.0), &stored).is_ok());
    for by in [3.0, -3.0] {
        let text = read(&with_changed(50, 11, by), &stored).unwrap_err();
        for words in [
            "11 of the 50 days that are stored already differ by 3.0 °C (median) and up to 3.0",
            "first on 1 April 2026, last on 11 April 2026",
            "hatchbell import --station hill --replace FILE takes it",
        ] {
            assert!(text.contains(words), "{words}: {text}");
        }
    }
    // Too few days in common to tell.
    assert!(read(&with_changed(9, 9, 3.0), &stored).is_ok());
    assert!(read(&with_changed(10, 10, 3.0), &stored).is_err());
}

#[test]
fn a_feed_is_frozen_once_its_newest_day_is_later_than_usual_and_nobody_brings_it_by_hand() {
    let station = Station {
        id: "hill".into(),
        name: "The hill".into(),
        usual_lag_days: 6,
        elevation_m: None,
        neighbours: Vec::new(),
        day_shift: DayShift::default(),
    };
    let on = |origin: &Origin, today: &str| {
        frozen(&station, origin, Some(date("2026-05-01")), date(today)).map(|found| found.what)
    };
    let server = Origin::Url("https://feeds.example/hill.csv".parse().unwrap());
    assert_eq!(on(&server, "2026-05-10"), None);
    let what = on(&server, "2026-05-11").unwrap();
    assert!(what.contains("1 May 2026, 10 days ago; up to 9 are usual"));
    assert!(what.contains("renamed or retired"), "{what}");
    let what = on(&Origin::File("hill.csv".into()), "2026-05-11").unwrap();
    assert!(what.contains("writes the file"), "{what}");
    assert_eq!(on(&Origin::ByHand, "2026-05-11"), None);
    assert_eq!(frozen(&station, &server, None, date("2026-05-11")), None);
}

#[test]
fn a_smaller_file_is_held_against_the_last_good_one_and_its_header_against_its_own() {
    let old = weather("2020-01-01", "2026-06-10");
    let new = weather("2023-03-05", "2026-06-12");
    let wider = FileProfile {
        header: names("DATE,TMAX,TMIN,WT01"),
        ..profile(&new)
    };
    let comparison = compare(
        &new,
        wider.clone(),
        Some(&profile(&old)),
        &binding(Unit::TenthsCelsius),
        None,
        instant("2026-06-20"),
    );
    assert_eq!(comparison.remark.as_deref(), Some("new columns: WT01"));
    let keep = FileProfile {
        header: wider.header,
        ..profile(&old)
    };
    assert_eq!(comparison.keep, keep);
}
