//! How long it takes to plan for a site: when larvae hatch in each course its season may take, how
//! much of the hatch an option meets on each day, and all options ranked. Invented weather of 30
//! years, 15 May.

use chrono::{Days, NaiveDate};
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use hatchbell::config::{option_file, species_file};
use hatchbell::domain::phenology::past_season::past_seasons;
use hatchbell::domain::phenology::season::{MonthDay, Season};
use hatchbell::domain::phenology::season_days::Limits;
use hatchbell::domain::phenology::season_state::{Record, SeasonSoFar};
use hatchbell::domain::phenology::soil_course::SoilCourse;
use hatchbell::domain::treatment::choice::Choice;
use hatchbell::domain::treatment::hatching::Hatching;
use hatchbell::domain::treatment::need::{Evidence, Ground, Need};
use hatchbell::domain::treatment::option::TreatmentOption;
use hatchbell::domain::treatment::site_need::SpeciesNeed;
use hatchbell::domain::treatment::site_plan::{PlanScope, SiteFacts, SitePlan};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::gaps::Estimates;
use hatchbell::domain::weather::reading::Reading;
use std::hint::black_box;

const YEARS: i32 = 30;
const LATITUDE: f64 = 41.8;

/// A course of the year and a wave that goes through the years.
fn weather(until: NaiveDate) -> DailyReadings {
    let first = NaiveDate::from_ymd_opt(2026 - YEARS, 1, 1).unwrap();
    let days = (until - first).num_days();
    (0..=days)
        .map(|index| {
            let turn = index as f64;
            let year = (turn * std::f64::consts::TAU / 365.25).cos();
            let mean = 11.0 - 13.0 * year + 4.0 * (turn * 0.31).sin();
            let reading = Reading {
                min: Some(mean - 5.0),
                max: Some(mean + 5.0),
            };
            (first + Days::new(index as u64), reading)
        })
        .collect()
}

fn options() -> Vec<TreatmentOption> {
    option_file::BUILT_IN
        .iter()
        .map(|(file, text)| option_file::read(file, text).unwrap())
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
    let readings = weather(today);
    let none = Estimates::new();
    let past = past_seasons(&readings, &none, start, &season, limits);
    assert_eq!(past.len(), YEARS as usize);
    let record = || Record {
        borrowed: None,
        readings: &readings,
        estimates: &none,
        past: &past,
        forecast: None,
    };
    let hatching = || Hatching::of_record(&species, LATITUDE, record(), today, limits).unwrap();
    criterion.bench_function("hatching of a season, 30 past ones", |bencher| {
        bencher.iter(|| black_box(hatching()));
    });

    // What was worked out is remembered with a hatching, so every run has one of its own.
    let season = hatching();
    let options = options();
    let option = |id: &str| options.iter().find(|option| option.id == id).unwrap();
    for id in ["chlorantraniliprole", "heterorhabditis-bacteriophora"] {
        let option = option(id);
        assert!(season.clone().coverage(option).window().is_some(), "{id}");
        criterion.bench_function(&format!("window of {id}"), |bencher| {
            let window = |fresh: Hatching| black_box(fresh.coverage(black_box(option)).window());
            bencher.iter_batched(|| season.clone(), window, BatchSize::LargeInput);
        });
    }

    let choice = Choice::default();
    let evidence = Evidence {
        this_brood: None,
        last_brood: None,
        damaged: None,
    };
    let soil = SoilCourse::of(
        &SeasonSoFar::of(
            &species.model,
            species.season_on(today, LATITUDE),
            record(),
            today,
            limits,
        ),
        &past,
    );
    let plan = |hatching: &Hatching| {
        let needs = [SpeciesNeed {
            species: &species,
            evidence: &evidence,
            tolerance: (86.0, 161.0),
            need: Need::Preventive(Ground::StandingDecision),
            hatching: Some(hatching),
        }];
        let facts = SiteFacts {
            day: today,
            species: &needs,
            choice: &choice,
            area: None,
            spread: &[],
            spread_before: &[],
            soil: Some(&soil),
        };
        SitePlan::of(facts, options.iter(), PlanScope::All)
            .options
            .len()
    };
    let count = plan(&season.clone());
    assert!(count >= 3, "{count} options");
    criterion.bench_function(&format!("plan of a site with {count} options"), |bencher| {
        let planned = |fresh: Hatching| black_box(plan(&fresh));
        bencher.iter_batched(|| season.clone(), planned, BatchSize::LargeInput);
    });
}

criterion_group! {
    name = planning;
    config = Criterion::default().sample_size(20);
    targets = bench
}
criterion_main!(planning);
