//! The species' tables held against what extension services say of the calendar, at the mean course
//! of real stations: Milwaukee 1991-2020, cooled by its lake, and one near 41.6° N, 1991-2014.
//! Michigan, New York and Massachusetts lie between the two. Most sums were set from the same
//! statements, so this shows that the tables say what they were made from, not that they are right.

use crate::support::species::species;
use crate::support::{feeds, real_data};
use chrono::{Datelike, Days, NaiveDate};
use hatchbell::config::species_file;
use hatchbell::domain::phenology::milestone::Milestone;
use hatchbell::domain::phenology::species::Species;
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::extremes::Unit;
use std::ops::RangeInclusive;

fn day(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2025, month, day).unwrap()
}

/// Mean sum at the end of each day of a year without 29 February, °C·d.
struct MeanCourse(Vec<f64>);

impl MeanCourse {
    fn of(file: &str, dialect: &str, unit: Unit, years: RangeInclusive<i32>) -> Self {
        let bytes = real_data::read(file);
        let parsed = feeds::take(&bytes, &feeds::binding(dialect, unit), "2026-11-25").unwrap();
        let readings = DailyReadings::from(&parsed.readings);
        let model = species("japanese-beetle").model;
        let mut sum = 0.0;
        let mean_gain = |of: NaiveDate| {
            let gains: Vec<f64> = years
                .clone()
                .filter_map(|year| readings.extremes(of.with_year(year)?))
                .map(|extremes| model.degree_days(extremes, None))
                .collect();
            assert!(gains.len() > 15, "{file}: {of} has {} years", gains.len());
            gains.iter().sum::<f64>() / gains.len() as f64
        };
        let days = day(1, 1).iter_days().take(365);
        Self(
            days.map(|of| {
                sum += mean_gain(of);
                sum
            })
            .collect(),
        )
    }

    fn lake_cooled() -> Self {
        let file = "ghcn_replay_milwaukee/snapshot_last_af12cf0947.csv";
        Self::of(file, "ncei-export", Unit::Fahrenheit, 1991..=2020)
    }

    fn inland() -> Self {
        let file = "ghcn_coop/USC00124837.txt";
        Self::of(file, "ghcn-extract", Unit::TenthsCelsius, 1991..=2014)
    }

    fn reaches(&self, species: &Species, stage: &str) -> NaiveDate {
        let sum = species.stage(stage).expect("a stage").value;
        day(1, 1) + Days::new(self.0.partition_point(|reached| *reached < sum) as u64)
    }
}

/// European chafer. Flight rises in mid-June: University of Massachusetts, 7 June 2016; laying from
/// late June: the same, 19 August 2015; most eggs in July, hatch after about ten days: Michigan State
/// University Extension 2013; hatch in late July and early August: the ministry of agriculture of
/// Ontario; first instars in early August, second by mid-August, nearly all by 1 September, most in
/// the third by 1 October: extension text for Michigan and New York (web copy).
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn the_european_chafer_keeps_the_calendar_of_michigan_new_york_and_massachusetts() {
    let chafer = species("european-chafer");
    for (name, course) in [
        ("lake-cooled", MeanCourse::lake_cooled()),
        ("inland", MeanCourse::inland()),
    ] {
        for (stage, earliest, latest) in [
            ("first-flight", day(6, 8), day(6, 23)),
            ("first-eggs", day(6, 20), day(7, 7)),
            ("first-hatch", day(7, 8), day(7, 25)),
            ("peak-hatch", day(7, 23), day(8, 8)),
            ("second-instar", day(8, 8), day(8, 28)),
            ("third-instar", day(9, 5), day(9, 30)),
        ] {
            let on = course.reaches(&chafer, stage);
            println!("{name}: {stage} {on}");
            assert!((earliest..=latest).contains(&on), "{name}: {stage} {on}");
        }
    }
}

/// Japanese beetle. Laying from the second week of July in western Massachusetts; 60 % second instars
/// about 12 August 2015 there, with oriental beetle: University of Massachusetts. Most in the third
/// instar by mid-September: Rutgers 2008 (county copy), for New Jersey.
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn the_japanese_beetle_keeps_the_calendar_of_massachusetts_and_new_jersey() {
    let beetle = species("japanese-beetle");
    let course = MeanCourse::inland();
    let eggs = course.reaches(&beetle, "first-eggs");
    assert!((day(7, 5)..=day(7, 15)).contains(&eggs), "{eggs}");
    let grown = course.reaches(&beetle, "third-instar");
    assert!((day(9, 5)..=day(9, 20)).contains(&grown), "{grown}");
    let seen = course.0[day(8, 12).ordinal0() as usize];
    let (low, high) = beetle.stage("second-instar").unwrap().range.unwrap();
    println!("eggs {eggs}, third instar {grown}, 12 August {seen:.0} °C·d");
    assert!((low..=high).contains(&seen), "{seen}");
}

/// People are told of egg lay on the day flight has just begun: a range that begins before it would
/// be nonsense.
#[test]
fn no_egg_lay_range_begins_before_flight() {
    for (file, text) in species_file::BUILT_IN {
        let species = species_file::read(file, text).unwrap();
        let flight = species.threshold(Milestone::AdultFlight).value;
        let (low, _) = species.threshold(Milestone::EggLay).range.unwrap();
        assert!(low >= flight, "{file}: {low} is before {flight}");
    }
}
