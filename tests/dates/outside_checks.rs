//! The main job, and the ranges of counts, against libraries and an open dataset that are not ours: xclim, scipy and the
//! Seattle record of vega_datasets, by way of tests/outside/reference.py. See
//! tests/outside/README.md for what stands beside what.

use crate::support::command::{Workshop, config_with_station};
use crate::support::reference::reference;
use hatchbell::domain::scouting::{Count, SampleArea, chance_of_at_most};
use hatchbell::domain::weather::degree_day::{Cutoff, Method, Model};
use hatchbell::domain::weather::extremes::Extremes;
use serde_json::Value;

/// Both sides are exact to rounding; the integrals are refused beyond an error of 1e-9.
const EXACT: f64 = 1e-6;

fn rows(part: &str, fewest: usize) -> Vec<Vec<f64>> {
    let rows: Vec<Vec<f64>> = reference()[part]
        .as_array()
        .unwrap_or_else(|| panic!("no part {part}"))
        .iter()
        .map(|row| {
            row.as_array()
                .unwrap()
                .iter()
                .map(|v| v.as_f64().unwrap())
                .collect()
        })
        .collect();
    assert!(rows.len() >= fewest, "{part} has {} rows", rows.len());
    rows
}

fn agrees(method: Method, lower: f64, upper: Option<(f64, Cutoff)>, row: &[f64], due: f64) {
    let model = Model::new(lower, upper, method).unwrap();
    let day = Extremes::new(row[0], row[1]).unwrap();
    let got = model.degree_days(day, None);
    assert!(
        (got - due).abs() < EXACT,
        "{method:?} {upper:?} {row:?}: {got}"
    );
}

#[test]
#[ignore = "needs xclim and scipy; run through tests/run"]
fn sine_and_triangle_agree_with_numerical_integration_by_scipy() {
    for (part, method) in [
        ("sine", Method::SingleSine),
        ("triangle", Method::SingleTriangle),
    ] {
        for row in rows(part, 200) {
            agrees(method, row[2], None, &row, row[3]);
        }
    }
}

#[test]
#[ignore = "needs xclim and scipy; run through tests/run"]
fn upper_cutoffs_agree_with_numerical_integration_by_scipy() {
    for (part, method) in [
        ("sine_upper", Method::SingleSine),
        ("triangle_upper", Method::SingleTriangle),
    ] {
        for row in rows(part, 200) {
            let (lower, upper) = (row[2], row[3]);
            let cutoffs = [Cutoff::Horizontal, Cutoff::Intermediate, Cutoff::Vertical];
            for (cutoff, due) in cutoffs.into_iter().zip(&row[4..7]) {
                agrees(method, lower, Some((upper, cutoff)), &row, *due);
            }
        }
    }
}

#[test]
#[ignore = "needs xclim and scipy; run through tests/run"]
fn ranges_and_chances_of_patchy_counts_agree_with_scipy() {
    for row in rows("patchy_counts", 12) {
        let (samples, larvae, mean) = (row[0] as u32, row[2] as u32, row[3]);
        let area = SampleArea::from_m2(row[1]).unwrap();
        let density = Count::new(samples, area, larvae, None).unwrap().density();
        let chance = chance_of_at_most(f64::from(larvae), samples, mean);
        for (got, due) in [
            (chance, row[4]),
            (density.low_per_m2, row[5]),
            (density.high_per_m2, row[6]),
        ] {
            let off = (got - due).abs();
            assert!(off <= 1e-8 * due.abs(), "{row:?}: {got}, scipy {due}");
        }
    }
}

/// The whole way from a station file through import and store to the sum that `status` shows,
/// against xclim's growing_degree_days on the same record.
#[test]
#[ignore = "needs xclim and scipy; run through tests/run"]
fn the_sum_that_status_shows_for_seattle_is_xclim_s() {
    let workshop = Workshop::new();
    let mut csv = String::from("\"STATION\",\"DATE\",\"TMAX\",\"TMIN\"\n");
    let days = reference()["seattle"]["days"].as_array().unwrap();
    assert_eq!(days.len(), 1461);
    for day in days {
        let date = day[0].as_str().unwrap();
        csv += &format!("\"SEATTLE\",\"{date}\",\"{}\",\"{}\"\n", day[2], day[1]);
    }
    let file = workshop.write("seattle.csv", &csv);
    let config = workshop.write(
        "hatchbell.toml",
        &config_with_station("file = \"seattle.csv\""),
    );
    workshop.succeeds(&["import", "--config", &config, "--station", "only", &file]);
    let years = reference()["seattle"]["xclim_gdd10_by_year"]
        .as_object()
        .unwrap();
    assert_eq!(years.len(), 4);
    for (year, due) in years {
        let date = format!("{year}-12-31");
        let output = workshop.succeeds(&["status", "--config", &config, "--json", "--date", &date]);
        let status: Value = serde_json::from_str(&output).expect("status prints JSON");
        let site = &status["sites"][0];
        let got = site["degree_days"].as_f64().unwrap();
        let due = due.as_f64().unwrap();
        assert!((got - due).abs() < 1e-3, "{year}: {got}, xclim {due}");
        assert_eq!(site["data_through"], date.as_str());
        assert_eq!(site["estimated_days"], 0);
    }
}
