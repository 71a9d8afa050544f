//! Kept forecasts of known error, made up: what is learnt from them, and what they bring.

use crate::outlook::model;
use crate::support::chance::Chance;
use crate::support::species::date;
use chrono::{Datelike, NaiveDate};
use hatchbell::domain::phenology::hindcast::with_forecasts::{ForecastGain, with_forecasts};
use hatchbell::domain::phenology::hindcast::{HindcastPlan, PastUsed};
use hatchbell::domain::phenology::past_season::{PastSeason, whole_seasons};
use hatchbell::domain::phenology::season::{MonthDay, Season};
use hatchbell::domain::phenology::season_days::Limits;
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::forecast_score::score_forecasts;
use hatchbell::domain::weather::forecast_skill::{ForecastSkill, KeptForecast};
use hatchbell::domain::weather::gaps::Estimates;
use hatchbell::domain::weather::reading::{Reading, Readings};
use std::f64::consts::TAU;

/// What the made-up forecasts have too much, °C.
const BIAS: f64 = 1.5;

/// Their error about it on every day, °C.
const ERROR: f64 = 2.0;

/// Nearly normal, mean 0 and variance 1: twelve even numbers added up.
fn normal(chance: &mut Chance) -> f64 {
    let sum: i64 = (0..12).map(|_| chance.within(0..1_000_000)).sum();
    sum as f64 / 1e6 - 6.0
}

fn reading(mean: f64) -> Reading {
    Reading {
        min: Some(mean - 6.0),
        max: Some(mean + 6.0),
    }
}

/// 30 years of a cycle of the year with anomalies of 4 °C, of which each day keeps three quarters.
fn weather(chance: &mut Chance) -> Readings {
    let mut anomaly = 0.0;
    date("1990-01-01")
        .iter_days()
        .take_while(|day| day.year() < 2020)
        .map(|day| {
            anomaly = 0.75 * anomaly + 4.0 * (1.0_f64 - 0.5625).sqrt() * normal(chance);
            let cycle = 11.0 - 13.0 * (TAU * (f64::from(day.ordinal0()) - 20.0) / 365.25).cos();
            (day, reading(cycle + anomaly))
        })
        .collect()
}

/// How made-up forecasts err.
#[derive(Clone, Copy)]
struct Errors {
    bias: f64,
    /// About the bias, on the day after the issue, °C.
    first: f64,
    /// More with each day farther ahead, °C.
    growth: f64,
    /// How much of a day's error the next day of the same forecast has too, 0 to 1.
    persists: f64,
}

/// The same on each day, each for itself.
fn even(bias: f64, first: f64) -> Errors {
    Errors {
        bias,
        first,
        growth: 0.0,
        persists: 0.0,
    }
}

/// A forecast of seven days every day of the years from 2000 on.
fn archive(came: &Readings, errors: Errors, chance: &mut Chance) -> Vec<KeptForecast> {
    let days = came.keys().filter(|day| day.year() >= 2000);
    days.map(|issued_on| {
        let mut error = 0.0;
        let ahead = issued_on.iter_days().zip(0..8);
        let days = ahead.filter_map(|(day, lead)| {
            let Errors {
                bias,
                first,
                growth,
                persists,
            } = errors;
            let kept = if lead == 0 { 0.0 } else { persists };
            error = kept * error + (1.0 - kept * kept).sqrt() * normal(chance);
            let spread = first + growth * f64::from((lead - 1).max(0));
            let mean = came.get(&day)?.extremes()?.mean();
            Some((day, reading(mean + bias + spread * error)))
        });
        KeptForecast {
            issued_on: *issued_on,
            days: days.collect(),
        }
    })
    .collect()
}

struct Simulated {
    came: DailyReadings,
    seasons: Vec<PastSeason>,
    kept: Vec<KeptForecast>,
}

fn simulated(errors: Errors) -> Simulated {
    simulated_by(Chance(20), errors)
}

fn simulated_by(mut chance: Chance, errors: Errors) -> Simulated {
    let readings = weather(&mut chance);
    let kept = archive(&readings, errors, &mut chance);
    let came = DailyReadings::from(&readings);
    let start = MonthDay::parse("01-01").unwrap();
    let after = Season::starting_in(2020, start);
    let none = Estimates::new();
    let seasons = whole_seasons(&came, &none, start, &after, Limits::default());
    assert_eq!(seasons.len(), 30);
    Simulated {
        came,
        seasons,
        kept,
    }
}

fn gains(of: &Simulated) -> Vec<ForecastGain> {
    let plan = HindcastPlan {
        model: model(),
        thresholds: vec![560.0],
        leads: vec![60, 30, 14, 7],
        lag: 0,
        past: PastUsed::Others,
    };
    with_forecasts(&of.seasons, &of.kept, &of.came, &plan)
}

fn change(gain: &ForecastGain) -> f64 {
    gain.by_year.change().unwrap()
}

#[test]
fn a_year_of_forecasts_teaches_their_bias_and_error_and_the_scores_show_them() {
    let of = simulated(even(BIAS, ERROR));
    let year = &of.kept[of.kept.len() - 365..];
    let skill = ForecastSkill::learnt(year, &of.came);
    for lead in 1..=7_u32 {
        let learnt = skill.at(i64::from(lead));
        let error = learnt.variance(16.0).sqrt();
        assert!(
            (learnt.bias() - BIAS).abs() < 0.3,
            "{lead}: {}",
            learnt.bias()
        );
        assert!((error - ERROR).abs() < 0.25, "{lead}: {error}");
    }
    let scores = score_forecasts(&of.kept, &of.came);
    assert_eq!(
        scores.keys().copied().collect::<Vec<u32>>(),
        [1, 2, 3, 4, 5, 6, 7]
    );
    for (lead, score) in &scores {
        let days = 20 * 365 + 5 - *lead as usize;
        assert_eq!(score.forecast.cases, days, "{lead}");
        let (bias, error) = (
            score.forecast.bias().unwrap(),
            score.forecast.error().unwrap(),
        );
        assert!((bias - BIAS).abs() < 0.1, "{lead}: {bias}");
        assert!((error - ERROR).abs() < 0.1, "{lead}: {error}");
        // The mean of 29 other years of anomalies of 4 °C: 4 √(1 + 1/29).
        let other = score.other_years.error().unwrap();
        assert!((other - 4.07).abs() < 0.2, "{lead}: {other}");
    }
}

#[test]
fn forecasts_of_known_error_make_the_dates_better_the_nearer_and_the_better_they_are() {
    let real = gains(&simulated(even(BIAS, ERROR)));
    for gain in &real {
        assert_eq!(gain.with.cases, 20, "the years that have forecasts");
        println!(
            "{} d: {:.2} against {:.2} days",
            gain.lead,
            gain.with.mean_absolute_error(),
            gain.without.mean_absolute_error()
        );
    }
    let [_, month, fortnight, week] = real.as_slice() else {
        panic!("four leads");
    };
    assert!(change(month) < 0.0 && change(fortnight) < -10.0 && change(week) < -20.0);
    let perfect = gains(&simulated(even(0.0, 0.0)));
    assert!(change(&perfect[3]) < change(week));
    let blind = gains(&simulated(even(0.0, 30.0)));
    for gain in &blind {
        assert!(change(gain).abs() < 5.0, "{}", change(gain));
    }
}

/// Errors that grow from 1.6 to 3.4 °C in a week and of which each day keeps seven tenths, as a front that is
/// foretold too late errs for days: 200 seasons.
#[test]
fn errors_that_persist_from_day_to_day_leave_a_gain_and_an_honest_range() {
    let errors = Errors {
        bias: 0.5,
        first: 1.6,
        growth: 0.3,
        persists: 0.7,
    };
    let mut all: Vec<ForecastGain> = Vec::new();
    for seed in 1..=10 {
        let found = gains(&simulated_by(Chance(seed), errors));
        match all.as_mut_slice() {
            [] => all = found,
            known => known
                .iter_mut()
                .zip(&found)
                .for_each(|(known, one)| known.add(one)),
        }
    }
    for gain in &all {
        println!(
            "{} d: {:.2} against {:.2} days, range {:.0} against {:.0} %, {} seasons",
            gain.lead,
            gain.with.mean_absolute_error(),
            gain.without.mean_absolute_error(),
            100.0 * gain.with.coverage(),
            100.0 * gain.without.coverage(),
            gain.with.cases
        );
        // Of 200 seasons 80 % is found as 74 to 86 (two standard errors); a wider range is no lie.
        let held = gain.with.coverage();
        assert!((0.74..0.92).contains(&held), "{} d: {held}", gain.lead);
    }
    let [_, month, fortnight, week] = all.as_slice() else {
        panic!("four leads");
    };
    assert!(change(month) < -8.0 && change(fortnight) < -20.0 && change(week) < -40.0);
}

/// With one season's forecasts alone: what came after its threshold was reached changes nothing, what came
/// before the outlooks were issued does.
#[test]
fn only_what_was_known_by_then_is_learnt_from() {
    let with = |is_warm: fn(&NaiveDate) -> bool| {
        let mut of = simulated(even(0.0, ERROR));
        of.kept.retain(|one| one.issued_on.year() == 2004);
        for one in of.kept.iter_mut().filter(|one| is_warm(&one.issued_on)) {
            for day in one.days.values_mut() {
                *day = reading(day.extremes().unwrap().mean() + 8.0);
            }
        }
        let gains = gains(&of);
        assert!(gains.iter().all(|gain| gain.with.cases == 1));
        gains.iter().map(|gain| gain.with).collect::<Vec<_>>()
    };
    let as_issued = with(|_| false);
    assert_eq!(with(|day| day.month() > 6), as_issued);
    assert_ne!(with(|day| day.month() < 3), as_issued);
}
