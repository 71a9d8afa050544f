//! A clock that was wrong is found out, and what it left behind holds nothing up.

use crate::support::command::{Workshop, both, config_with_station};
use chrono::{DateTime, Days, NaiveDate, Utc};
use hatchbell::clock::Clock;
use hatchbell::domain::weather::reading::{Reading, Readings};
use hatchbell::store::Store;

/// A workshop whose service has run once under the machine's own clock.
fn that_has_run() -> (Workshop, String) {
    let workshop = Workshop::new();
    workshop.write("days.csv", "DATE,TMAX,TMIN\n2026-01-01,25.0,15.0\n");
    let config = workshop.write(
        "hatchbell.toml",
        &config_with_station("file = \"days.csv\""),
    );
    workshop.succeeds(&["run", "--once", "--config", &config]);
    (workshop, config)
}

/// Stores days, and a last cycle, as under a clock that shows another time.
fn store_days(workshop: &Workshop, days: impl Iterator<Item = NaiveDate>, cycle: DateTime<Utc>) {
    let mut store = Store::open(&workshop.path("hatchbell.db")).unwrap();
    let warm = Reading {
        min: Some(15.0),
        max: Some(25.0),
    };
    let readings: Readings = days.map(|day| (day, warm)).collect();
    store.merge("only", &readings, cycle).unwrap();
    store.note_cycle(cycle).unwrap();
}

#[test]
fn a_day_of_the_future_left_by_a_clock_that_was_ahead_is_taken_back_and_holds_nothing() {
    let (workshop, config) = that_has_run();
    let future: NaiveDate = "2100-01-02".parse().unwrap();
    let then = "2100-01-04T06:00:00Z".parse().unwrap();
    store_days(&workshop, [future].into_iter(), then);
    workshop.succeeds(&["run", "--once", "--config", &config]);
    let store = Store::open(&workshop.path("hatchbell.db")).unwrap();
    let newest = store.newest_day("only").unwrap();
    assert_eq!(newest.unwrap().to_string(), "2026-01-01");
    assert_eq!(
        store.revisions("only").unwrap(),
        2,
        "the values stay on record"
    );
    assert!(store.last_cycle().unwrap().unwrap() < then);
}

#[test]
fn a_clock_behind_a_month_of_measured_days_is_named_and_takes_nothing_back() {
    let (workshop, config) = that_has_run();
    let now = Clock::Machine.now();
    let last = now.date_naive() + Days::new(30);
    let days = now.date_naive().iter_days().take_while(|day| *day <= last);
    store_days(&workshop, days, now + Days::new(32));
    let refused = workshop.run(&["run", "--once", "--config", &config]);
    assert!(!refused.status.success());
    let said = both(&refused);
    assert!(
        said.contains(&format!("has measured {last} already")),
        "{said}"
    );
    let store = Store::open(&workshop.path("hatchbell.db")).unwrap();
    assert_eq!(store.newest_day("only").unwrap(), Some(last));
}
