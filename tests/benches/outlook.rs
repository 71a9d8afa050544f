//! How long the outlook of a large install takes: 1,000 sites on 100 stations with 30 years of
//! history, one species each, all four milestones, once the readings are loaded.

use chrono::{Days, NaiveDate};
use criterion::{Criterion, criterion_group, criterion_main};
use hatchbell::config::species_file;
use hatchbell::domain::phenology::past_season::{PastSeason, past_seasons};
use hatchbell::domain::phenology::season::{MonthDay, Season};
use hatchbell::domain::phenology::season_days::Limits;
use hatchbell::domain::phenology::season_state::{Record, season_state};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::gaps::Estimates;
use hatchbell::domain::weather::reading::Reading;
use std::hint::black_box;

const STATIONS: u32 = 100;
const SITES: usize = 1000;
const YEARS: i32 = 30;

/// A station's invented weather: a course of the year and a wave of its own.
fn weather(station: u32, until: NaiveDate) -> DailyReadings {
    let first = NaiveDate::from_ymd_opt(2026 - YEARS, 1, 1).unwrap();
    let days = (until - first).num_days();
    (0..=days)
        .map(|index| {
            let turn = index as f64;
            let year = (turn * std::f64::consts::TAU / 365.25).cos();
            let wave = (turn * (0.31 + 0.001 * f64::from(station))).sin();
            let mean = 11.0 - 13.0 * year + 4.0 * wave;
            let reading = Reading {
                min: Some(mean - 5.0),
                max: Some(mean + 5.0),
            };
            (first + Days::new(index as u64), reading)
        })
        .collect()
}

fn bench(criterion: &mut Criterion) {
    let today = NaiveDate::from_ymd_opt(2026, 5, 15).unwrap();
    let start = MonthDay::parse("01-01").unwrap();
    let season = Season::containing(today, start);
    let (file, text) = species_file::BUILT_IN
        .iter()
        .find(|(file, _)| file.ends_with("/japanese-beetle.toml"))
        .unwrap();
    let species = species_file::read(file, text).unwrap();
    let limits = Limits::default();
    let none = Estimates::new();
    let stations: Vec<(DailyReadings, Vec<PastSeason>)> = (0..STATIONS)
        .map(|station| {
            let readings = weather(station, today);
            let past = past_seasons(&readings, &none, start, &season, limits);
            assert_eq!(past.len(), YEARS as usize);
            (readings, past)
        })
        .collect();
    criterion.bench_function(
        "outlook of 1,000 sites on 100 stations, 30 years",
        |bencher| {
            bencher.iter(|| {
                for site in 0..SITES {
                    let (readings, past) = &stations[site % stations.len()];
                    let record = Record {
                        borrowed: None,
                        readings,
                        estimates: &none,
                        past,
                        forecast: None,
                    };
                    black_box(season_state(&species, 41.8, record, today, limits));
                }
            });
        },
    );
}

criterion_group! {
    name = outlook;
    config = Criterion::default().sample_size(10);
    targets = bench
}
criterion_main!(outlook);
