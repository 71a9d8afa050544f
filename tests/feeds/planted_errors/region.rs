//! The stations that errors are planted at: 72 of Illinois and Indiana, 1985 to 2014.

use super::{BASE_C, MILESTONE, TODAY, degree_days};
use crate::support::feeds::{binding, take};
use crate::support::real_data::folder;
use chrono::{Datelike, NaiveDate};
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::reading::{Reading, Readings};
use std::collections::BTreeMap;

/// Stations whose differences go into the thresholds, and those that are reported.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Half {
    Choosing,
    HeldOut,
}

/// Neighbours of each station.
const NEIGHBOURS: usize = 3;
/// Missing days of a clean year.
const MOST_MISSING: usize = 10;
/// Farthest, °C, that a day of a clean year lies from the region's median of the day or one beside
/// it, less the station's usual difference of the month.
const CLEAN_WITHIN_C: f64 = 11.0;

pub struct Station {
    pub name: String,
    pub readings: Readings,
    pub clean_years: Vec<i32>,
    pub neighbours: Vec<usize>,
}

impl Station {
    /// Degree-days a day around the day on which the milestone is reached, °C·d.
    pub fn rate(&self, year: i32) -> f64 {
        let mut sum = 0.0;
        let days: Vec<f64> = self
            .readings
            .iter()
            .filter(|(day, _)| day.year() == year)
            .filter_map(|(_, reading)| degree_days(reading))
            .collect();
        let reached = days.iter().position(|day| {
            sum += day;
            sum >= MILESTONE
        });
        let at = reached.unwrap_or(days.len() / 2);
        let around = &days[at.saturating_sub(5)..(at + 6).min(days.len())];
        (around.iter().sum::<f64>() / around.len() as f64).max(20.0 - BASE_C)
    }
}

pub struct Region {
    pub stations: Vec<Station>,
}

/// A day as its file has it: maximum and minimum in tenths of °C.
pub fn tenths(reading: Option<&Reading>) -> (Option<i32>, Option<i32>) {
    let reading = reading.copied().unwrap_or_default();
    let whole = |celsius: f64| (celsius * 10.0).round() as i32;
    (reading.max.map(whole), reading.min.map(whole))
}

impl Region {
    pub fn read() -> Self {
        let extract = binding("ghcn-extract", Unit::TenthsCelsius);
        let mut paths: Vec<_> = std::fs::read_dir(folder().join("ghcn_coop"))
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        paths.sort();
        let mut stations: Vec<Station> = paths
            .iter()
            .map(|path| Station {
                name: path.file_stem().unwrap().to_string_lossy().into_owned(),
                readings: take(&std::fs::read(path).unwrap(), &extract, TODAY)
                    .unwrap()
                    .readings,
                clean_years: Vec::new(),
                neighbours: Vec::new(),
            })
            .collect();
        let means: Vec<BTreeMap<NaiveDate, f64>> =
            stations.iter().map(|s| anomalies(&s.readings)).collect();
        let medians = [0, 1].map(|slot| medians(&stations, slot));
        for place in 0..stations.len() {
            let mut near: Vec<(usize, f64)> = (0..stations.len())
                .filter(|other| *other != place)
                .map(|other| (other, correlation(&means[place], &means[other])))
                .collect();
            near.sort_by(|a, b| b.1.total_cmp(&a.1));
            stations[place].neighbours = near
                .iter()
                .take(NEIGHBOURS)
                .map(|(other, _)| *other)
                .collect();
            stations[place].clean_years = clean_years(&stations[place].readings, &medians);
        }
        Self { stations }
    }

    /// The stations of a half: every other one by name.
    pub fn of(&self, half: Half) -> Vec<usize> {
        let odd = usize::from(half == Half::HeldOut);
        (0..self.stations.len())
            .filter(|place| place % 2 == odd)
            .collect()
    }

    pub fn in_words(&self, half: Half) -> String {
        let of = self.of(half);
        let years: usize = of
            .iter()
            .map(|place| self.stations[*place].clean_years.len())
            .sum();
        format!("{half:?}: {} stations, {years} clean years", of.len())
    }
}

fn value(reading: &Reading, slot: usize) -> Option<f64> {
    if slot == 0 { reading.max } else { reading.min }
}

/// The region's median of each day.
fn medians(stations: &[Station], slot: usize) -> BTreeMap<NaiveDate, f64> {
    let mut days: BTreeMap<NaiveDate, Vec<f64>> = BTreeMap::new();
    for station in stations {
        for (day, reading) in &station.readings {
            days.entry(*day).or_default().extend(value(reading, slot));
        }
    }
    days.into_iter()
        .filter(|(_, values)| values.len() > 10)
        .map(|(day, mut values)| {
            values.sort_by(f64::total_cmp);
            (day, values[values.len() / 2])
        })
        .collect()
}

fn clean_years(readings: &Readings, medians: &[BTreeMap<NaiveDate, f64>; 2]) -> Vec<i32> {
    let mut usual = [[(0.0, 0.0); 12]; 2];
    for (day, reading) in readings {
        for slot in [0, 1] {
            if let Some((own, median)) = value(reading, slot).zip(medians[slot].get(day)) {
                let month = &mut usual[slot][day.month0() as usize];
                *month = (month.0 + own - median, month.1 + 1.0);
            }
        }
    }
    let mut years: BTreeMap<i32, (usize, bool)> = BTreeMap::new();
    for (day, reading) in readings {
        let year = years.entry(day.year()).or_insert((0, true));
        year.0 += usize::from(reading.extremes().is_some());
        for slot in [0, 1] {
            let month = usual[slot][day.month0() as usize];
            let Some(own) = value(reading, slot) else {
                continue;
            };
            let beside = [day.pred_opt(), Some(*day), day.succ_opt()];
            let apart = beside
                .iter()
                .flatten()
                .filter_map(|day| medians[slot].get(day))
                .map(|median| (own - median - month.0 / month.1).abs())
                .fold(f64::INFINITY, f64::min);
            year.1 &= apart <= CLEAN_WITHIN_C;
        }
    }
    years
        .into_iter()
        .filter(|(_, (days, near))| *near && *days + MOST_MISSING >= 365)
        .map(|(year, _)| year)
        .collect()
}

/// Daily means less the mean of their month of all years.
fn anomalies(readings: &Readings) -> BTreeMap<NaiveDate, f64> {
    let mut months = [(0.0, 0.0); 12];
    let mean = |reading: &Reading| Some((reading.max? + reading.min?) / 2.0);
    for (day, reading) in readings {
        if let Some(mean) = mean(reading) {
            let month = &mut months[day.month0() as usize];
            *month = (month.0 + mean, month.1 + 1.0);
        }
    }
    readings
        .iter()
        .filter_map(|(day, reading)| {
            let month = months[day.month0() as usize];
            Some((*day, mean(reading)? - month.0 / month.1))
        })
        .collect()
}

fn correlation(a: &BTreeMap<NaiveDate, f64>, b: &BTreeMap<NaiveDate, f64>) -> f64 {
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (day, a) in a {
        if let Some(b) = b.get(day) {
            ab += a * b;
            aa += a * a;
            bb += b * b;
        }
    }
    ab / (aa * bb).sqrt()
}
