//! A garden's own sensor beside a station nearby: in the sun it is told to the operator, shows in `status`, and is
//! over once it hangs in the shade; and `check --data` says what the station lends it.

use crate::support::command::{both, config_with};
use crate::support::engine::Play;
use chrono::{Datelike, Days, NaiveDate};

/// A garden's own sensor with the weir as its neighbour; the garden's keeper is the operator.
fn garden() -> Play {
    let weir = "[[station]]\nid = \"weir\"\nname = \"The weir\"\ndialect = \"ncei-export\"\nunit = \"celsius\"\nfile = \"weir.csv\"\n\n[[member]]\nid";
    let text = config_with(
        "file = \"own.csv\"\nneighbours = [\"weir\"]",
        "console = true",
        "",
    );
    let operator = "database = \"hatchbell.db\"\noperator = \"keeper\"";
    let text = text
        .replacen("[[member]]\nid", weir, 1)
        .replace("database = \"hatchbell.db\"", operator);
    Play::new(&text)
}

/// Days of May and later to a day, with maxima that are so much higher up to another.
fn days(to: &str, raised: f64, until: &str) -> String {
    let (to, until): (NaiveDate, NaiveDate) = (to.parse().unwrap(), until.parse().unwrap());
    let first = NaiveDate::from_ymd_opt(2026, 5, 1).unwrap();
    let days = (0..).map(|index| first + Days::new(index));
    days.take_while(|day| *day <= to).enumerate().fold(
        String::from("DATE,TMAX,TMIN\n"),
        |text, (index, day)| {
            // No two days in a row are the same.
            let mean = 15.0 + (index % 3) as f64;
            let above = if day <= until { raised } else { 0.0 };
            text + &format!("{day},{:.1},{:.1}\n", mean + 6.0 + above, mean - 6.0)
        },
    )
}

const TOLD: &str = "The only station: the sensor looks as if it hung in the sun";
const OVER: &str = "The only station: the sensor hangs in the shade again";

#[tokio::test]
async fn it_is_told_once_shows_in_status_and_is_over_once_it_hangs_in_the_shade() {
    let mut play = garden();
    let feeds = |play: &Play, to: &str, raised: f64, until: &str| {
        play.workshop.write("own.csv", &days(to, raised, until));
        play.workshop.write("weir.csv", &days(to, 0.0, to));
    };
    for (to, at) in [
        ("2026-06-10", "2026-06-11T06:00:00Z"),
        // Both are taken in: the neighbour's days are known now.
        ("2026-06-11", "2026-06-12T06:00:00Z"),
        ("2026-06-12", "2026-06-13T06:00:00Z"),
    ] {
        feeds(&play, to, 5.0, "2026-06-15");
        play.cycle(at).await;
    }
    let of_sun = |play: &Play| -> Vec<String> {
        let mut titles = play.titles();
        titles.retain(|title| title.contains("sun") || title.contains("shade"));
        titles
    };
    assert_eq!(of_sun(&play), [TOLD]);
    let status = play.status("2026-06-13");
    let what = "its maxima were 5.0 °C above those of The weir";
    assert!(status.contains(what), "{status}");
    // Moved into the shade in the middle of June: sixty days later nothing of the sun is left.
    for (to, at) in [
        ("2026-07-20", "2026-07-21T06:00:00Z"),
        ("2026-08-20", "2026-08-21T06:00:00Z"),
    ] {
        feeds(&play, to, 5.0, "2026-06-15");
        play.cycle(at).await;
    }
    assert_eq!(of_sun(&play), [TOLD, OVER]);
    assert!(!play.status("2026-08-21").contains(what));
}

#[tokio::test]
async fn a_sensor_in_the_shade_is_not_told() {
    let mut play = garden();
    for (to, at) in [
        ("2026-06-10", "2026-06-11T06:00:00Z"),
        ("2026-06-11", "2026-06-12T06:00:00Z"),
    ] {
        play.workshop.write("own.csv", &days(to, 2.0, to));
        play.workshop.write("weir.csv", &days(to, 0.0, to));
        play.cycle(at).await;
    }
    assert!(!play.titles().iter().any(|title| title.contains("sun")));
}

/// Thirty days in June, 3 °C warmer: half of it is believed of the year, and of June half of the rest more
/// (30 days count as much as the assumption of no difference).
#[tokio::test]
async fn what_a_neighbour_lends_a_new_sensor_and_how_it_is_moved_is_listed() {
    let mut play = garden();
    let weir = |from: &str, above: f64| {
        let first: NaiveDate = from.parse().unwrap();
        let days = (0..).map(|index| first + Days::new(index));
        let days = days.take_while(|day| *day <= NaiveDate::from_ymd_opt(2026, 6, 30).unwrap());
        days.fold(String::from("DATE,TMAX,TMIN\n"), |text, day| {
            // As in days of the one and the other, no two in a row are the same.
            let mean = 15.0 + f64::from(day.ordinal0() % 3) + above;
            text + &format!("{day},{:.1},{:.1}\n", mean + 6.0, mean - 6.0)
        })
    };
    play.workshop.write("weir.csv", &weir("2025-06-01", 0.0));
    play.workshop.write("own.csv", &weir("2026-06-01", 3.0));
    play.cycle("2026-07-01T06:00:00Z").await;
    // Whose day is that of the last cycle.
    let demo = "[demo]
starts = \"2026-07-01T06:00:00Z\"
seconds_per_day = 1.0
published_lag_days = 0
";
    let text = play.workshop.read("hatchbell.toml") + demo;
    play.workshop.write("demo.toml", &text);
    let check = ["check", "--data", "--config", "demo.toml"];
    let said = play.workshop.run(&check);
    let said = both(&said);
    let due =
        "  365 days before 2026-06-01 come from The weir, minimum and maximum moved by month, °C:
    Jan +1.5 +1.5  Feb +1.5 +1.5  Mar +1.5 +1.5  Apr +1.5 +1.5
    May +1.5 +1.5  Jun +2.2 +2.2  Jul +1.5 +1.5  Aug +1.5 +1.5
    Sep +1.5 +1.5  Oct +1.5 +1.5  Nov +1.5 +1.5  Dec +1.5 +1.5
";
    assert!(said.contains(due), "{said}");
}
