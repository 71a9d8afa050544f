use super::outliers::{take_out, to_hold};
use super::tests::{date, instant, weather};
use super::*;
use crate::domain::weather::reading::Reading;
use crate::domain::weather::reading::Readings;
use crate::station_feed::parsed::Element;
use chrono::TimeDelta;

pub(super) fn unlikely_on(days: &[&str]) -> Vec<Unlikely> {
    days.iter()
        .map(|day| Unlikely {
            day: date(day),
            element: Element::Max,
            celsius: 45.0,
            known: (5.0, 28.0),
        })
        .collect()
}

#[test]
fn a_value_is_believed_after_a_day_unless_more_than_three_days_are_in_question() {
    let first = instant("2026-05-06");
    let days = ["2026-05-01", "2026-05-02", "2026-05-03", "2026-05-04"];
    let three = unlikely_on(&days[..3]);
    let held = to_hold(&three, &[], &[], first);
    assert_eq!(held.len(), 3);
    assert_eq!(to_hold(&three, &held, &[], instant("2026-05-07")), []);
    let soon = first + TimeDelta::hours(23);
    assert_eq!(to_hold(&three, &held, &[], soon), held);

    let four = unlikely_on(&days);
    let held = to_hold(&four, &[], &[], first);
    let later = to_hold(&four, &held, &[], instant("2026-06-30"));
    assert_eq!(later, held, "time alone speaks for none of them");
}

#[test]
fn another_value_of_the_same_day_is_held_anew() {
    let mut one = unlikely_on(&["2026-05-01"]);
    let held = to_hold(&one, &[], &[], instant("2026-05-06"));
    one[0].celsius = 45.1;
    assert_eq!(
        to_hold(&one, &held, &[], instant("2026-05-08")),
        [],
        "a late revision of a tenth is the same value"
    );
    one[0].celsius = 55.0;
    let anew = to_hold(&one, &held, &[], instant("2026-05-08"));
    assert_eq!(anew[0].since, instant("2026-05-08"));
}

#[test]
fn a_neighbour_that_is_near_speaks_for_a_value_at_once() {
    let one = unlikely_on(&["2026-05-01"]);
    let neighbour = |max: f64| {
        let reading = Reading {
            min: None,
            max: Some(max),
        };
        Readings::from([(date("2026-05-01"), reading)])
    };
    let now = instant("2026-05-02");
    for near in [45.0, 40.1, 49.9] {
        assert_eq!(to_hold(&one, &[], &[neighbour(near)], now), [], "{near}");
    }
    for far in [39.9, 50.1, 27.0] {
        let held = to_hold(&one, &[], &[neighbour(far)], now);
        assert_eq!(held.len(), 1, "{far}");
    }
}

#[test]
fn a_held_extreme_leaves_its_partner() {
    let mut readings = weather("2026-05-01", "2026-05-02");
    let held = to_hold(
        &unlikely_on(&["2026-05-01"]),
        &[],
        &[],
        instant("2026-05-03"),
    );
    take_out(&mut readings, &held);
    let reading = readings[&date("2026-05-01")];
    assert!(reading.max.is_none() && reading.min.is_some());
    assert_eq!(readings.len(), 2);
}

#[test]
fn of_two_extremes_of_a_day_only_the_one_that_is_held_is_told() {
    let max = unlikely_on(&["2026-05-01"])[0];
    let min = Unlikely {
        element: Element::Min,
        celsius: 35.0,
        ..max
    };
    let neighbour = Reading {
        min: Some(35.0),
        max: None,
    };
    let neighbours = [Readings::from([(max.day, neighbour)])];
    let mut readings = weather("2026-05-01", "2026-05-02");
    let now = instant("2026-05-03");
    let held_out = hold_out(&mut readings, &[max, min], &[], &neighbours, now);
    let what = held_out.finding.unwrap().what;
    assert!(what.contains("maximum of 1 May 2026"), "{what}");
    assert!(!what.contains("minimum"), "{what}");
}
