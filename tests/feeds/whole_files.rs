//! Whole files in a wrong unit or of a wrong station, and right ones, cut from the 72 stations of the
//! folder of real data (GHCN-Daily extracts of Illinois and Indiana, 1985 to 2014, unchecked values
//! among them) and read as the service and its commands read them. The draws have a seed.

use crate::support::feeds::binding;
use crate::support::real_data;
use chrono::{Datelike, Days, NaiveDate, TimeDelta};
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::reading::{Reading, Readings};
use hatchbell::feed::Rejection;
use hatchbell::feed::parse::parse;
use hatchbell::feed::vetting::{OtherStation, Yardstick, vet, wanted_of_others};
use hatchbell::station_feed::dialect::Binding;
use std::collections::BTreeMap;
use std::fmt::Write;

/// Draws of each kind.
const DRAWS: usize = 5_000;
/// Days of a file.
const LENGTHS: [i64; 6] = [30, 31, 45, 90, 180, 365];
/// Part of a file's days, and of the days stored before it, that must be there.
const MOSTLY: f64 = 0.8;

/// Draws with a seed (Knuth's MMIX constants, upper bits).
struct Draw(u64);

impl Draw {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % bound
    }

    fn of<T: Copy>(&mut self, all: &[T]) -> T {
        all[self.below(all.len())]
    }
}

struct RealStation {
    id: String,
    readings: Readings,
}

/// The stations as an import without any vetting would store them.
fn stations() -> Vec<RealStation> {
    let folder = real_data::folder().join("ghcn_coop");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .expect("the folder is there")
        .map(|file| file.expect("a file").path())
        .collect();
    files.sort();
    let extract = binding("ghcn-extract", Unit::TenthsCelsius);
    files
        .iter()
        .map(|path| {
            let bytes = std::fs::read(path).expect("it is read");
            let parsed = parse(&bytes, &extract, date(2026, 1, 1)).expect("it is parsed");
            RealStation {
                id: path.file_stem().unwrap().to_str().unwrap().to_owned(),
                readings: parsed.readings,
            }
        })
        .collect()
}

fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

fn days_of(readings: &Readings, first: NaiveDate, last: NaiveDate) -> Readings {
    let days = readings.range(first..=last);
    days.map(|(day, reading)| (*day, *reading)).collect()
}

/// A file's text in a unit, with the digits that such files have.
fn written(readings: &Readings, unit: Unit) -> String {
    let value = |celsius: Option<f64>| match (celsius, unit) {
        (None, _) => String::new(),
        (Some(celsius), Unit::Celsius) => format!("{celsius:.1}"),
        (Some(celsius), Unit::Fahrenheit) => format!("{:.0}", celsius * 1.8 + 32.0),
        (Some(celsius), Unit::TenthsCelsius) => format!("{:.0}", celsius * 10.0),
    };
    let mut text = String::from("STATION,DATE,TMAX,TMIN\n");
    for (day, reading) in readings {
        let (max, min) = (value(reading.max), value(reading.min));
        writeln!(text, "ZZI00000009,{day},{max},{min}").unwrap();
    }
    text
}

fn unit_of(unit: Unit) -> Binding {
    Binding {
        latitude: Some(40.0),
        ..binding("ncei-export", unit)
    }
}

/// What is stored of a station, and a file of it.
struct Try {
    station: usize,
    stored: Readings,
    first: NaiveDate,
    last: NaiveDate,
    shares_days: bool,
}

/// A station with three to ten years stored, and the days of a file: from the day after the stored
/// ones, or all of them stored already.
fn try_of(draw: &mut Draw, stations: &[RealStation]) -> Try {
    loop {
        let station = draw.below(stations.len());
        let years = 3 + draw.below(8) as i64;
        let length = draw.of(&LENGTHS);
        let latest = date(2014, 12, 31) - TimeDelta::days(length);
        let earliest = date(1985, 1, 1) + TimeDelta::days(366 * years);
        let span = (latest - earliest).num_days() as usize;
        let end = earliest + Days::new(draw.below(span) as u64);
        let shares_days = draw.below(2) == 0;
        let readings = &stations[station].readings;
        let since = NaiveDate::from_ymd_opt(end.year() - years as i32, end.month(), 1).unwrap();
        let first = if shares_days {
            end - TimeDelta::days(length - 1)
        } else {
            end + TimeDelta::days(1)
        };
        let last = first + TimeDelta::days(length - 1);
        let stored = days_of(readings, since, end);
        let file = days_of(readings, first, last);
        let there = |readings: &Readings, days: f64| {
            let whole = readings.values().filter(|r| r.extremes().is_some()).count();
            whole as f64 >= MOSTLY * days
        };
        if there(&stored, (end - since).num_days() as f64) && there(&file, length as f64) {
            return Try {
                station,
                stored,
                first,
                last,
                shares_days,
            };
        }
    }
}

/// Reads a text as the service does, with what is stored of the station and of others.
fn take(
    text: &str,
    bound: Unit,
    stored: &Readings,
    others: &[(&RealStation, bool)],
) -> Result<(), Rejection> {
    let binding = unit_of(bound);
    let parsed = parse(text.as_bytes(), &binding, date(2026, 1, 1))?;
    let mut known = Yardstick {
        stored: stored.clone(),
        ..Yardstick::default()
    };
    if let Some(wanted) = wanted_of_others(&parsed, &binding, stored) {
        for (other, is_neighbour) in others {
            if wanted.neighbours_only && !is_neighbour {
                continue;
            }
            known.others.push(OtherStation {
                id: other.id.clone(),
                is_neighbour: *is_neighbour,
                elevation_m: None,
                readings: days_of(&other.readings, wanted.first, wanted.last),
            });
        }
    }
    vet(&parsed, &binding, &known)
}

/// Counts by kind: tries, and those in question.
type Counts = BTreeMap<String, (usize, usize)>;

fn count(counts: &mut Counts, kind: String, in_question: bool) {
    let (all, some) = counts.entry(kind).or_default();
    *all += 1;
    *some += usize::from(in_question);
}

fn total(counts: &Counts) -> usize {
    counts.values().map(|(_, some)| some).sum()
}

fn shared(one: &Try) -> &'static str {
    if one.shares_days { "shared" } else { "new" }
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn no_file_in_a_wrong_unit_is_taken_where_three_years_are_stored() {
    let stations = stations();
    let mut draw = Draw(4);
    let mut taken = Counts::new();
    for index in 0..DRAWS {
        let one = try_of(&mut draw, &stations);
        let unit = draw.of(&Unit::NAMED).1;
        let bound = loop {
            let other = draw.of(&Unit::NAMED).1;
            if other != unit {
                break other;
            }
        };
        let readings = &stations[one.station].readings;
        let mut days = days_of(readings, one.first, one.last);
        // Every fourth file has one of the two extremes only.
        match index % 8 {
            0 => days.values_mut().for_each(|day| day.max = None),
            4 => days.values_mut().for_each(|day| day.min = None),
            _ => {}
        }
        let result = take(&written(&days, unit), bound, &one.stored, &[]);
        if result.is_ok() {
            eprintln!(
                "taken: {} {unit} as {bound} {} to {}, {} stored, kind {}",
                stations[one.station].id,
                one.first,
                one.last,
                one.stored.len(),
                index % 8
            );
        }
        let kind = format!("{unit} read as {bound}, {} days", shared(&one));
        count(&mut taken, kind, result.is_ok());
    }
    println!("in a wrong unit: tries and taken by kind {taken:#?}");
    assert_eq!(total(&taken), 0);
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn no_file_of_a_wrong_station_is_taken_where_either_one_s_days_are_stored() {
    let stations = stations();
    let mut draw = Draw(5);
    let (mut taken, mut unknowable) = (Counts::new(), Counts::new());
    let mut unnamed = 0;
    while taken.values().map(|(all, _)| all).sum::<usize>() < DRAWS {
        let one = try_of(&mut draw, &stations);
        let other = draw.below(stations.len());
        let days = days_of(&stations[other].readings, one.first, one.last);
        let whole = days.values().filter(|r| r.extremes().is_some()).count();
        if other == one.station || whole < 30 {
            continue;
        }
        let unit = draw.of(&Unit::NAMED).1;
        let is_configured = draw.below(2) == 0;
        let others = [
            (&stations[other], false),
            (&stations[(other + 1) % 72], false),
        ];
        let others = if is_configured { &others[..] } else { &[] };
        let result = take(&written(&days, unit), unit, &one.stored, others);
        let configured = if is_configured { "stored" } else { "unknown" };
        let kind = format!("{} days, the other {configured}", shared(&one));
        let named = |rejection: &Rejection| rejection.what.contains(&stations[other].id);
        unnamed += usize::from(is_configured && result.as_ref().is_err_and(|r| !named(r)));
        if one.shares_days || is_configured {
            if result.is_ok() {
                eprintln!(
                    "taken: {} for {} {} to {}, {kind}",
                    stations[other].id, stations[one.station].id, one.first, one.last
                );
            }
            count(&mut taken, kind, result.is_ok());
        } else {
            count(&mut unknowable, kind, result.is_ok());
        }
    }
    println!("of a wrong station: tries and taken by kind {taken:#?}");
    println!("of those where the other's days are stored, not named: {unnamed}");
    println!("with no day of either: {unknowable:#?}");
    assert_eq!(total(&taken), 0);
}

/// A right file as it comes: whole degrees here and there, late revisions, lost days.
fn as_it_comes(draw: &mut Draw, days: &mut Readings) {
    for reading in days.values_mut() {
        match draw.below(100) {
            0 => *reading = Reading::default(),
            1 => reading.max = reading.max.map(|max| max + 0.6),
            2 => reading.min = reading.min.map(|min| min - 2.8),
            _ => {}
        }
    }
    days.retain(|_, reading| *reading != Reading::default());
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn hardly_a_right_file_is_refused() {
    let stations = stations();
    let mut draw = Draw(6);
    let mut refused = Counts::new();
    for index in 0..DRAWS {
        let one = try_of(&mut draw, &stations);
        let unit = draw.of(&Unit::NAMED).1;
        let readings = &stations[one.station].readings;
        let overlap = [0, 5, 40][index % 3];
        let first = one.first - TimeDelta::days(overlap);
        let mut days = days_of(readings, first, one.last);
        as_it_comes(&mut draw, &mut days);
        if index % 4 == 3 {
            days.values_mut().for_each(|day| day.max = None);
        }
        let others: Vec<(&RealStation, bool)> = (0..4)
            .map(|place| (draw.below(stations.len()), place < 2))
            .filter(|(other, _)| *other != one.station)
            .map(|(other, is_neighbour)| (&stations[other], is_neighbour && index % 2 == 0))
            .collect();
        let result = take(&written(&days, unit), unit, &one.stored, &others);
        if let Err(rejection) = &result {
            eprintln!(
                "refused: {} {} to {}: {rejection}",
                stations[one.station].id, first, one.last
            );
        }
        let kind = format!(
            "{} days, {} of all neighbours",
            shared(&one),
            (index + 1) % 2
        );
        count(&mut refused, kind, result.is_err());
    }
    println!("right: tries and refused by kind {refused:#?}");
    assert!(total(&refused) <= 5, "{}", total(&refused));
}

/// The three stations whose maxima of 2005 go best with a station's.
fn neighbours_of(station: usize, stations: &[RealStation]) -> Vec<usize> {
    let (first, last) = (date(2005, 1, 1), date(2005, 12, 31));
    let here = days_of(&stations[station].readings, first, last);
    let mut others: Vec<(f64, usize)> = (0..stations.len())
        .filter(|other| *other != station)
        .filter_map(|other| {
            let mut differences: Vec<f64> = here
                .iter()
                .filter_map(|(day, reading)| {
                    let there = stations[other].readings.get(day)?;
                    Some(reading.max? - there.max?)
                })
                .collect();
            differences.sort_by(f64::total_cmp);
            let middle = *differences.get(differences.len() / 2)?;
            let spread: f64 = differences.iter().map(|by| (by - middle).abs()).sum();
            (differences.len() > 200).then(|| (spread / differences.len() as f64, other))
        })
        .collect();
    others.sort_by(|one, two| one.0.total_cmp(&two.0));
    others.into_iter().take(3).map(|(_, other)| other).collect()
}

/// New days that have moved by one, and right ones, held against neighbours. Whether a moved file shows
/// depends on how near they are; a right one is not refused for it.
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn a_file_moved_by_a_day_shows_against_neighbours_and_a_right_one_does_not() {
    let stations = stations();
    let mut draw = Draw(9);
    let mut near: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    let (mut moved, mut right) = ((0, 0), (0, 0));
    while moved.0 < DRAWS / 5 {
        let one = try_of(&mut draw, &stations);
        if one.shares_days {
            continue;
        }
        let neighbours = near
            .entry(one.station)
            .or_insert_with(|| neighbours_of(one.station, &stations));
        let others: Vec<(&RealStation, bool)> = neighbours
            .iter()
            .map(|other| (&stations[*other], true))
            .collect();
        let by = if draw.below(2) == 0 { 1 } else { -1 };
        let readings = &stations[one.station].readings;
        let days = days_of(readings, one.first, one.last);
        let off: Readings = days
            .iter()
            .map(|(day, reading)| (*day + TimeDelta::days(by), *reading))
            .filter(|(day, _)| (one.first..=one.last).contains(day))
            .collect();
        let refused = |days: &Readings| {
            let text = written(days, Unit::Celsius);
            take(&text, Unit::Celsius, &one.stored, &others).is_err()
        };
        moved = (moved.0 + 1, moved.1 + usize::from(refused(&off)));
        right = (right.0 + 1, right.1 + usize::from(refused(&days)));
    }
    println!("moved by a day: {} of {} refused", moved.1, moved.0);
    println!("right: {} of {} refused", right.1, right.0);
    assert!(moved.1 > moved.0 / 2, "{moved:?}");
    assert!(right.1 <= right.0 / 200, "{right:?}");
}
