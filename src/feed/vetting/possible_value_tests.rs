use super::possible_values::refuse_impossible;
use super::tests::{binding, date, file, plain, read};
use super::*;
use crate::domain::weather::reading::Reading;
use crate::domain::weather::reading::Readings;
use chrono::Days;

#[test]
fn a_file_is_refused_if_three_values_and_more_than_one_in_a_hundred_are_no_air_temperatures() {
    let with_wild = |days: u64, wild: u64| {
        let text = file(days, |index| {
            if index < wild {
                ("99.9".into(), "10.0".into())
            } else {
                plain(20.0, 10.0)
            }
        });
        read(&text, &Readings::new())
    };
    // Two values a day.
    assert_eq!(with_wild(150, 3).unwrap().refused.len(), 3);
    let text = with_wild(149, 3).unwrap_err();
    assert!(
        text.contains("3 of 298 values are no air temperatures"),
        "{text}"
    );
    assert!(with_wild(10, 2).is_ok(), "two may stand in a short file");
    assert!(with_wild(10, 3).is_err());
}

/// What is said of so many days from a day on, all with the same mean, at a latitude.
fn at(latitude: Option<f64>, from: &str, days: u64, mean: f64) -> Result<(), String> {
    let reading = Reading {
        min: Some(mean - 5.0),
        max: Some(mean + 5.0),
    };
    let days = (0..days).map(|index| (date(from) + Days::new(index), reading));
    let parsed = Parsed {
        readings: days.collect(),
        rows: 1,
        ..Parsed::default()
    };
    let binding = Binding {
        latitude,
        ..binding(Unit::Celsius)
    };
    refuse_impossible(&parsed, &binding).map_err(|refused| refused.to_string())
}

const NORTH: Option<f64> = Some(32.0);
const SOUTH: Option<f64> = Some(-32.0);

#[test]
fn beyond_the_tropics_no_winter_month_is_warmer_than_20_degrees_nor_a_summer_month_colder_than_5() {
    assert_eq!(at(NORTH, "2026-01-01", 10, 20.0), Ok(()));
    let text = at(NORTH, "2026-01-01", 10, 20.5).unwrap_err();
    assert!(text.contains("mean of month 1 is 20.5 °C"), "{text}");
    assert!(text.contains("no winter is at latitude 32"), "{text}");
    assert_eq!(at(NORTH, "2026-07-01", 10, 5.0), Ok(()));
    let text = at(NORTH, "2026-07-01", 10, 4.5).unwrap_err();
    assert!(text.contains("mean of month 7 is 4.5 °C"), "{text}");
    assert!(text.contains("no summer is"), "{text}");
    // Too few days to tell, no latitude, and the tropics.
    assert_eq!(at(NORTH, "2026-01-01", 9, 30.0), Ok(()));
    assert_eq!(at(None, "2026-01-01", 31, 30.0), Ok(()));
    assert_eq!(at(Some(31.9), "2026-01-01", 31, 30.0), Ok(()));
}

#[test]
fn winter_is_december_to_february_and_summer_june_to_august_and_in_the_south_the_other_way_round() {
    let refused = |latitude, mean| -> Vec<u32> {
        let is_refused =
            |month: &u32| at(latitude, &format!("2026-{month:02}-01"), 20, mean).is_err();
        (1..=12).filter(is_refused).collect()
    };
    let (hot, icy) = (30.0, -10.0);
    assert_eq!(refused(NORTH, hot), [1, 2, 12]);
    assert_eq!(refused(NORTH, icy), [6, 7, 8]);
    assert_eq!(refused(SOUTH, hot), [6, 7, 8]);
    assert_eq!(refused(SOUTH, icy), [1, 2, 12]);
}

#[test]
fn where_the_other_hemisphere_would_fit_the_sign_of_the_latitude_is_to_be_checked_first() {
    let text = at(SOUTH, "2026-07-01", 20, 25.0).unwrap_err();
    assert!(
        text.contains("first check the sign of the site's latitude"),
        "{text}"
    );
    assert!(text.contains("32 would fit"), "{text}");
    // Both halves of the year are off: that is no slip of the sign.
    let text = at(SOUTH, "2026-01-01", 365, 30.0).unwrap_err();
    assert!(!text.contains("sign"), "{text}");
}
