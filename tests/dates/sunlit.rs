//! Sensors in the sun: known by a daily range that is wider than a neighbour's.

use crate::support::feeds::date;

use chrono::{Datelike, Days, NaiveDate};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::reading::Reading;
use hatchbell::domain::weather::sunlit::sunlit;

/// Sixty days to 30 June of a minimum and a maximum.
fn days(min: f64, max: f64) -> DailyReadings {
    date("2026-05-02")
        .iter_days()
        .take(60)
        .map(|day| (day, reading(min, max)))
        .collect()
}

fn reading(min: f64, max: f64) -> Reading {
    Reading {
        min: Some(min),
        max: Some(max),
    }
}

fn of(min: f64, max: f64) -> Option<(usize, f64)> {
    let found = sunlit(
        &days(min, max),
        &days(12.0, 24.0),
        date("2026-06-30"),
        false,
    )?;
    Some((found.days, found.wider_by_c))
}

#[test]
fn maxima_far_above_a_neighbour_s_with_minima_alike_are_the_sun_s() {
    assert_eq!(of(12.0, 30.0), Some((60, 6.0)));
    assert_eq!(of(12.0, 28.0), None, "a warm garden");
    assert_eq!(of(8.0, 24.0), None, "a frost hollow");
    assert_eq!(of(17.0, 29.0), None, "a warmer place, by day and night");
}

#[test]
fn once_known_it_is_over_only_when_the_range_is_clearly_less_wide() {
    let again = |max: f64| {
        let (own, other) = (days(12.0, max), days(12.0, 24.0));
        sunlit(&own, &other, date("2026-06-30"), true).is_some()
    };
    assert!(again(27.5) && !again(27.0));
    assert_eq!(of(12.0, 27.5), None, "not known before");
}

#[test]
fn a_few_days_say_nothing() {
    let mut own = days(12.0, 31.0);
    own.truncate_after(date("2026-05-21"));
    let today = date("2026-06-30");
    assert!(
        sunlit(&own, &days(12.0, 24.0), today, false).is_some(),
        "twenty"
    );
    own.truncate_after(date("2026-05-20"));
    assert!(sunlit(&own, &days(12.0, 24.0), today, false).is_none());
    assert!(
        sunlit(
            &days(12.0, 31.0),
            &days(12.0, 24.0),
            date("2026-08-20"),
            false
        )
        .is_none()
    );
}

/// Each of the stations beside the next one, wherever that is, at the end of each June; then the same with
/// a third of the daily range added to the maximum, as a sensor on a sunny wall has it.
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn screened_stations_raise_no_alarm_and_the_same_ones_in_the_sun_do() {
    let stations = crate::borrowing::stations();
    let (mut looked, mut screened, mut in_sun) = (0, 0, 0);
    for pair in stations.windows(2) {
        let (own, other) = (&pair[0], &pair[1]);
        let sunny: DailyReadings = own
            .iter()
            .map(|(day, known)| match known.extremes() {
                Some(of) => (
                    day,
                    reading(of.min(), of.max() + (of.max() - of.min()) / 2.0),
                ),
                None => (day, known),
            })
            .collect();
        for year in 1986..2014 {
            let today = NaiveDate::from_ymd_opt(year, 6, 30).unwrap();
            let known = |days: &DailyReadings| days.between(today - Days::new(59), today).count();
            if known(own) < 60 || known(other) < 60 {
                continue;
            }
            looked += 1;
            screened += usize::from(sunlit(own, other, today, false).is_some());
            in_sun += usize::from(sunlit(&sunny, other, today, false).is_some());
        }
    }
    println!("{looked} summers: {screened} alarms, in the sun {in_sun}");
    assert!(looked > 1000 && stations[0].first_day().unwrap().year() == 1985);
    assert!(screened * 200 < looked, "{screened} of {looked}");
    assert!(in_sun * 10 > looked * 6, "{in_sun} of {looked}");
}
