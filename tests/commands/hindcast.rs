//! `hatchbell hindcast`: which seasons count as whole, and what is said of the others.

use crate::support::command::{Workshop, both, config_with_station};
use chrono::{Datelike, Days, NaiveDate};
use hatchbell::domain::weather::forecast::Forecast;
use hatchbell::domain::weather::reading::Reading;
use hatchbell::store::Store;

/// Rows of an extract from 1 January 1990 through a day, warm enough for the sum, but for the days
/// that are left out.
fn rows(through: &str, is_left_out: impl Fn(NaiveDate) -> bool) -> String {
    let from = NaiveDate::from_ymd_opt(1990, 1, 1).unwrap();
    let through: NaiveDate = through.parse().unwrap();
    from.iter_days()
        .take_while(|day| *day <= through)
        .filter(|day| !is_left_out(*day))
        .map(|day| {
            let course = 170 - (day.ordinal0() as i32 - 190).abs() + day.year() % 5;
            format!(
                "{}\t{}\t{}\t0\n",
                day.format("%Y%m%d"),
                course + 120,
                course
            )
        })
        .collect()
}

const SCORE: [&str; 5] = ["hindcast", "--threshold", "300", "--seasons", "4"];

#[test]
fn days_cut_off_at_a_year_s_end_are_missing_and_what_is_left_out_is_named_with_why() {
    let workshop = Workshop::new();
    workshop.write("whole.txt", &rows("1996-12-31", |_| false));
    // 1994 lacks its last 20 days, 1996 ends on 10 December.
    let cut = |day: NaiveDate| day.year() == 1994 && day.ordinal() > 345;
    workshop.write("cut.txt", &rows("1996-12-10", cut));
    workshop.write("short.txt", &rows("1992-12-31", |_| false));
    let files = ["whole.txt", "cut.txt", "short.txt"];
    let printed = workshop.shows(60, &[&SCORE[..], &files].concat());
    assert!(printed.contains("2 stations, 12 seasons"), "{printed}");
    let (_, left_out) = printed.split_once("left out, ").expect("a list");
    assert!(
        left_out.lines().all(|line| line.chars().count() <= 60),
        "{printed}"
    );
    let plain = left_out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(
        plain,
        "with the days that each year lacks (more than 10, or too long a gap): \
         cut: 1994 (20: ends 11 December), 1996 (21: ends 10 December) \
         short: all, 3 whole seasons only"
    );
    // Those who allow so many days have the years.
    let more = [&SCORE[..], &["--missing", "21"], &files].concat();
    let printed = workshop.succeeds(&more);
    assert!(printed.contains("2 stations, 14 seasons"), "{printed}");
    let json = workshop.succeeds(&[&SCORE[..], &["--json"], &files].concat());
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let year = &json["left_out"][0]["years"][0];
    assert_eq!(
        (&year["year"], &year["missing_days"], &year["cut_off_after"]),
        (&1994.into(), &20.into(), &"1994-12-11".into())
    );
}

#[test]
fn where_no_station_has_enough_seasons_each_is_named_with_how_many_it_has() {
    let workshop = Workshop::new();
    workshop.write("short.txt", &rows("1992-12-31", |_| false));
    let output = workshop.run(&[&SCORE[..], &["short.txt"]].concat());
    assert!(!output.status.success());
    let said = both(&output);
    assert!(said.contains("short: all, 3 whole seasons only"), "{said}");
}

/// Five years that are all alike, with forecasts kept in the last of them that were 2 °C too warm on every
/// day.
fn with_forecasts_kept() -> Workshop {
    let workshop = without_forecasts();
    let mut store = Store::open(&workshop.path("hatchbell.db")).unwrap();
    for issued_on in NaiveDate::from_ymd_opt(2025, 3, 1)
        .unwrap()
        .iter_days()
        .take(120)
    {
        let days = (0..=3).map(|lead| {
            let day = issued_on + Days::new(lead);
            let mean = mean(day) + 2.0;
            let reading = Reading {
                min: Some(mean - 5.0),
                max: Some(mean + 5.0),
            };
            (day, reading)
        });
        let forecast = Forecast {
            issued: issued_on.and_hms_opt(6, 0, 0).unwrap().and_utc(),
            days: days.collect(),
            rain: Default::default(),
            wind: Default::default(),
        };
        store.replace_forecast("only", &forecast).unwrap();
    }
    workshop
}

fn mean(day: NaiveDate) -> f64 {
    f64::from(25 - (day.ordinal0() as i32 - 190).abs() / 8 + day.year() % 3)
}

fn without_forecasts() -> Workshop {
    let workshop = Workshop::new();
    let config = config_with_station("file = \"days.csv\"");
    let config = workshop.write("hatchbell.toml", &config);
    let mut days = String::from("STATION,DATE,TMAX,TMIN\n");
    for day in NaiveDate::from_ymd_opt(2021, 1, 1)
        .unwrap()
        .iter_days()
        .take(5 * 365 + 1)
    {
        let mean = mean(day);
        days += &format!("ZZI00000009,{day},{:.1},{:.1}\n", mean + 5.0, mean - 5.0);
    }
    let days = workshop.write("days.csv", &days);
    workshop.succeeds(&["import", "--config", &config, "--station", "only", &days]);
    workshop
}

const FORECASTS: [&str; 7] = [
    "hindcast",
    "--forecasts",
    "--threshold",
    "300",
    "--seasons",
    "5",
    "--config",
];

#[test]
fn kept_forecasts_are_scored_by_days_ahead_and_by_what_they_bring() {
    let workshop = with_forecasts_kept();
    let printed = workshop.shows(60, &[&FORECASTS[..], &["hatchbell.toml"]].concat());
    assert!(
        printed.lines().all(|line| line.chars().count() <= 60),
        "{printed}"
    );
    assert!(
        printed.starts_with("1 station, 120 forecasts kept, 2025-03-01 to 2025-06-28\n"),
        "{printed}"
    );
    for lead in 1..=3 {
        let row = format!("{lead:>4}     120   2.00   2.00   0.00");
        assert!(printed.contains(&row), "{printed}");
    }
    let json = [&FORECASTS[..], &["hatchbell.toml", "--json"]].concat();
    let json: serde_json::Value = serde_json::from_str(&workshop.succeeds(&json)).unwrap();
    assert_eq!(json["days_ahead"][2]["forecasts"]["bias_c"], 2.0);
    let outlooks = json["outlooks"].as_array().unwrap();
    assert!(!outlooks.is_empty());
    assert!(outlooks.iter().all(|one| one["cases"] == 1), "{json}");
}

#[test]
fn without_kept_forecasts_it_says_that_there_are_none() {
    let workshop = without_forecasts();
    let printed = workshop.succeeds(&[&FORECASTS[..], &["hatchbell.toml"]].concat());
    assert!(
        printed.starts_with("No forecast of the configured stations has been kept yet."),
        "{printed}"
    );
}
