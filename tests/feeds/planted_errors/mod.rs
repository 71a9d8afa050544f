//! How many errors the screening finds, measured by planting them into clean years of real stations, and how
//! many good days it holds in vain. Run by hand:
//! `HATCHBELL_REAL_DATA=/folder cargo test --release --test feeds planted -- --ignored --nocapture`

mod kinds;
mod region;

use crate::support::feeds::{binding, take, take_over};
use crate::support::real_data::read;
use chrono::{Datelike, NaiveDate};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::gaps::{Neighbour, complete, on_line};
use hatchbell::domain::weather::reading::{Reading, Readings};
use hatchbell::feed::vetting::hold_out;
use hatchbell::feed::vetting::screening::{NEIGHBOUR_DAYS, news, screen};
use hatchbell::station_feed::memory::HoldReason;
use kinds::{Dice, Kind, file_of};
use region::{Half, Region};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

const TODAY: &str = "2026-11-25";
/// Plants of each kind, unless TRIES says another number.
const TRIES: usize = 50;

fn tries() -> usize {
    let set = std::env::var("TRIES").ok();
    set.and_then(|tries| tries.parse().ok()).unwrap_or(TRIES)
}

/// The lower threshold of the sums, °C.
const BASE_C: f64 = 10.0;
/// The sum of the milestone that errors are turned into days at, °C·d.
const MILESTONE: f64 = 820.0;

/// What became of the plants of a kind.
#[derive(Debug, Clone, Default)]
struct Outcome {
    tries: usize,
    touched: usize,
    harmful: usize,
    harmful_touched: usize,
    harmless_now: usize,
    error: f64,
    left: f64,
    error_days: f64,
    left_days: f64,
}

impl Outcome {
    fn row(&self, name: &str) -> String {
        let share = |part: usize, of: usize| match of {
            0 => "-".to_owned(),
            _ => format!("{:.1} %", 100.0 * part as f64 / of as f64),
        };
        let each = |sum: f64| sum / self.harmful.max(1) as f64;
        format!(
            "| {name} | {} | {} | {} | {} | {:.1} → {:.1} | {:.1} → {:.1} |",
            share(self.touched, self.tries),
            self.harmful,
            share(self.harmful_touched, self.harmful),
            share(self.harmless_now, self.harmful),
            each(self.error),
            each(self.left),
            each(self.error_days),
            each(self.left_days),
        )
    }

    fn add(&mut self, more: &Self) {
        self.tries += more.tries;
        self.touched += more.touched;
        self.harmful += more.harmful;
        self.harmful_touched += more.harmful_touched;
        self.harmless_now += more.harmless_now;
        self.error += more.error;
        self.left += more.left;
        self.error_days += more.error_days;
        self.left_days += more.left_days;
    }
}

/// Degree-days of a day by the simple average, °C·d.
fn degree_days(reading: &Reading) -> Option<f64> {
    let mean = (reading.min? + reading.max?) / 2.0;
    Some((mean - BASE_C).max(0.0))
}

/// Plants one error into a clean year and sees what is left of it.
fn plant(
    region: &Region,
    half: Half,
    kind: Kind,
    with_neighbours: bool,
    dice: &mut Dice,
    outcome: &mut Outcome,
) {
    let stations = region.of(half);
    let (place, year, planted) = loop {
        let place = stations[dice.below(stations.len())];
        let station = &region.stations[place];
        if station.clean_years.is_empty() {
            continue;
        }
        let year = station.clean_years[dice.below(station.clean_years.len())];
        if let Some(planted) = kind.plant(region, place, year, dice) {
            break (place, year, planted);
        }
    };
    let station = &region.stations[place];
    let truth = year_of(&station.readings, year);
    // Raw text, as a file would have it: what cannot be read is refused.
    let text = file_of(&planted);
    let mut stored = station.readings.clone();
    stored.retain(|day, _| day.year() != year);
    let extract = binding("ghcn-extract", Unit::TenthsCelsius);
    let mut taken = match take_over(text.as_bytes(), &extract, TODAY, &stored) {
        Ok(parsed) => parsed.readings,
        Err(_) => Readings::new(),
    };
    let news = news(&taken, &stored, &[]);
    if let Some((first, _)) = news.first() {
        let neighbours: Vec<Readings> = if with_neighbours {
            let since = *first - NEIGHBOUR_DAYS;
            let all = station.neighbours.iter();
            all.map(|place| {
                region.stations[*place]
                    .readings
                    .range(since..)
                    .map(|(d, r)| (*d, *r))
                    .collect()
            })
            .collect()
        } else {
            Vec::new()
        };
        let suspects = screen(&news, &taken, &stored, &neighbours);
        hold_out(
            &mut taken,
            &suspects,
            &[],
            "2026-11-25T06:00:00Z".parse().unwrap(),
        );
    }
    let changed: Vec<NaiveDate> = planted
        .iter()
        .filter(|(day, values)| region::tenths(truth.get(day)) != **values)
        .map(|(day, _)| *day)
        .collect();
    let touched = changed.iter().any(|day| {
        let values = planted[day];
        let raw = Reading {
            max: values.0.map(|v| f64::from(v) / 10.0),
            min: values.1.map(|v| f64::from(v) / 10.0),
        };
        let got = taken.get(day).copied().unwrap_or_default();
        raw.max.is_some() && got.max.is_none() || raw.min.is_some() && got.min.is_none()
    });
    let mut error = 0.0;
    for (day, reading) in &truth {
        let Some(due) = degree_days(reading) else {
            continue;
        };
        let (max, min) = planted[day];
        let raw = Reading {
            max: max.map(|v| f64::from(v) / 10.0),
            min: min.map(|v| f64::from(v) / 10.0),
        };
        error += degree_days(&raw).unwrap_or(due) - due;
    }
    let rate = station.rate(year);
    outcome.tries += 1;
    outcome.touched += usize::from(touched);
    if error.abs() < rate {
        return;
    }
    let completed = estimated(region, place, &stored, &taken, year, with_neighbours);
    let left: f64 = truth
        .iter()
        .filter_map(|(day, reading)| Some((day, degree_days(reading)?)))
        .map(|(day, due)| completed.get(day).and_then(degree_days).unwrap_or(0.0) - due)
        .sum();
    outcome.harmful += 1;
    outcome.harmful_touched += usize::from(touched);
    outcome.harmless_now += usize::from(left.abs() < rate);
    outcome.error += error.abs();
    outcome.left += left.abs();
    outcome.error_days += (error / rate).abs();
    outcome.left_days += (left / rate).abs();
    if !touched && std::env::var_os("SHOW_MISSED").is_some() {
        println!(
            "missed {kind:?} {} {year} {error:.1} {:?}",
            station.name,
            changed.first()
        );
    }
}

fn year_of(readings: &Readings, year: i32) -> Readings {
    let of = readings.iter().filter(|(day, _)| day.year() == year);
    of.map(|(day, reading)| (*day, *reading)).collect()
}

/// The year with its missing days estimated as the service estimates them.
fn estimated(
    region: &Region,
    place: usize,
    stored: &Readings,
    taken: &Readings,
    year: i32,
    with_neighbours: bool,
) -> Readings {
    let near = |day: &NaiveDate| (day.year() - year).abs() <= 6;
    let daily = |readings: &Readings| -> DailyReadings {
        readings
            .iter()
            .filter(|(day, _)| near(day))
            .map(|(day, reading)| (*day, *reading))
            .collect()
    };
    let mut whole = stored.clone();
    whole.extend(taken.iter().map(|(day, reading)| (*day, *reading)));
    let own = daily(&whole);
    let station = &region.stations[place];
    let around: Vec<DailyReadings> = match with_neighbours {
        true => station
            .neighbours
            .iter()
            .map(|place| daily(&region.stations[*place].readings))
            .collect(),
        false => Vec::new(),
    };
    let neighbours: Vec<Neighbour<'_>> = around
        .iter()
        .map(|readings| Neighbour {
            readings,
            height_above_m: None,
        })
        .collect();
    let completed = complete(&own, &neighbours, 10).readings;
    let mut days: Readings = completed.iter().collect();
    let known: Vec<NaiveDate> = days
        .iter()
        .filter(|(_, r)| r.extremes().is_some())
        .map(|(d, _)| *d)
        .collect();
    for ends in known.windows(2) {
        let [before, after] = [ends[0], ends[1]].map(|day| (day, days[&day].extremes().unwrap()));
        for day in before
            .0
            .iter_days()
            .skip(1)
            .take_while(|day| *day < after.0)
        {
            let alone = days.get(&day).copied().unwrap_or_default();
            if let Some(extremes) = on_line(before, after, day, alone) {
                days.insert(
                    day,
                    Reading {
                        max: Some(extremes.max()),
                        min: Some(extremes.min()),
                    },
                );
            }
        }
    }
    year_of(&days, year)
}

/// Held days of whole first loads, in clean years and in all, by reason.
fn false_alarms(region: &Region, half: Half, with_neighbours: bool) -> String {
    let (mut clean, mut all, mut held_clean, mut held_all) = (0usize, 0usize, 0usize, 0usize);
    let mut reasons: BTreeMap<HoldReason, usize> = BTreeMap::new();
    for place in region.of(half) {
        let station = &region.stations[place];
        let none = Readings::new();
        let neighbours: Vec<Readings> = match with_neighbours {
            true => station
                .neighbours
                .iter()
                .map(|place| region.stations[*place].readings.clone())
                .collect(),
            false => Vec::new(),
        };
        let suspects = screen(
            &news(&station.readings, &none, &[]),
            &station.readings,
            &none,
            &neighbours,
        );
        let mut days: BTreeMap<NaiveDate, HoldReason> = BTreeMap::new();
        for suspect in &suspects {
            days.entry(suspect.day).or_insert(suspect.reason);
        }
        all += station.readings.len();
        held_all += days.len();
        let is_clean = |day: &NaiveDate| station.clean_years.contains(&day.year());
        clean += station.readings.keys().filter(|day| is_clean(day)).count();
        for (day, reason) in days.iter().filter(|(day, _)| is_clean(day)) {
            held_clean += 1;
            *reasons.entry(*reason).or_default() += 1;
            if std::env::var_os("SHOW_HELD").is_some() {
                let of: Vec<_> = suspects
                    .iter()
                    .filter(|s| s.day == *day)
                    .map(|s| (s.element, s.celsius, s.expected))
                    .collect();
                println!("held {} {day} {reason:?} {of:.1?}", station.name);
            }
        }
    }
    format!(
        "{held_clean} of {clean} days of clean years held in vain, one in {}; {held_all} of all {all} days; {reasons:?}",
        clean / held_clean.max(1)
    )
}

fn measure(region: &Region, half: Half, with_neighbours: bool) -> (Outcome, Vec<(Kind, Outcome)>) {
    let run = |kinds: &[Kind]| -> Vec<(Kind, Outcome)> {
        kinds
            .iter()
            .map(|kind| {
                let mut outcome = Outcome::default();
                let mut dice = Dice::new(1 + *kind as u64);
                for _ in 0..tries() {
                    plant(
                        region,
                        half,
                        *kind,
                        with_neighbours,
                        &mut dice,
                        &mut outcome,
                    );
                }
                (*kind, outcome)
            })
            .collect()
    };
    let (one, two) = Kind::ALL.split_at(Kind::ALL.len() / 2);
    let outcomes: Vec<(Kind, Outcome)> = std::thread::scope(|scope| {
        let other = scope.spawn(|| run(two));
        let mut outcomes = run(one);
        outcomes.extend(other.join().unwrap());
        outcomes
    });
    let mut all = Outcome::default();
    for (_, outcome) in &outcomes {
        all.add(outcome);
    }
    (all, outcomes)
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA; about a minute with --release"]
fn planted_errors_are_held_and_clean_days_are_not() {
    let region = Region::read();
    let half = match std::env::var("HALF").as_deref() {
        Ok("choosing") => Half::Choosing,
        _ => Half::HeldOut,
    };
    println!("{}", region.in_words(half));
    for with_neighbours in [false, true] {
        let start = std::time::Instant::now();
        let words = if with_neighbours {
            "with three neighbours"
        } else {
            "without neighbours"
        };
        println!(
            "\n{words}: {}\n",
            false_alarms(&region, half, with_neighbours)
        );
        let (all, outcomes) = measure(&region, half, with_neighbours);
        println!(
            "| planted | held or refused | worth a day or more | of these held or refused | of these less than a day now | their error, °C·d | in days |"
        );
        println!("|---|---|---|---|---|---|---|");
        for (kind, outcome) in &outcomes {
            println!("{}", outcome.row(kind.name()));
        }
        println!("{}", all.row("all"));
        println!("{:?}", start.elapsed());
    }
}

/// The record of Milwaukee, 88 years, as a first load, and one more day of it.
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn a_long_record_is_screened_at_once_and_a_new_day_costs_little() {
    let bytes = read("ghcn_replay_milwaukee/snapshot_last_af12cf0947.csv");
    let fahrenheit = binding("ncei-export", Unit::Fahrenheit);
    let record = take(&bytes, &fahrenheit, TODAY).unwrap().readings;
    let none = Readings::new();
    let start = std::time::Instant::now();
    let all = news(&record, &none, &[]);
    let suspects = screen(&all, &record, &none, &[]);
    let whole = start.elapsed();
    for suspect in &suspects {
        println!("{suspect:?}");
    }
    // The publisher's own checks have been through it.
    let days: BTreeSet<NaiveDate> = suspects.iter().map(|suspect| suspect.day).collect();
    assert!(
        days.len() * 20_000 <= 2 * record.len(),
        "{} days",
        days.len()
    );
    let mut stored = record.clone();
    stored.pop_last();
    let start = std::time::Instant::now();
    let one = news(&record, &stored, &[]);
    assert!(screen(&one, &record, &stored, &[]).is_empty());
    let day = start.elapsed();
    println!("{} days {whole:?}, one new day {day:?}", record.len());
    assert!(
        whole < LONGEST_LOAD && day < LONGEST_DAY,
        "{whole:?}, {day:?}"
    );
}

/// Without optimisation, on a busy machine.
const LONGEST_LOAD: Duration = Duration::from_secs(2);
const LONGEST_DAY: Duration = Duration::from_millis(100);
