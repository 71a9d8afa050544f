//! Sites with several stations: their mean or the first that has the day, and what people see of
//! it.

use crate::support::command::{both, config_with};
use crate::support::engine::Play;
use chrono::{Days, NaiveDate};

/// Export rows from 1 January 2026 that add `gain` °C·d a day over base 10.
fn days(count: u64, gain: f64) -> String {
    let start = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
    (0..count).fold(String::from("DATE,TMAX,TMIN\n"), |text, index| {
        let day = start + Days::new(index);
        text + &format!("{day},{:.1},{:.1}\n", 15.0 + gain, 5.0 + gain)
    })
}

/// Two stations, and a site on them.
fn config(site: &str) -> String {
    let second = "[[station]]\nid = \"second\"\nname = \"The second station\"\n\
        dialect = \"ncei-export\"\nunit = \"celsius\"\nfile = \"second.csv\"\n";
    config_with("file = \"first.csv\"", "console = true", second)
        .replace("station = \"only\"", site)
}

fn play(site: &str, first: &str, second: &str) -> Play {
    let play = Play::new(&config(site));
    play.workshop.write("first.csv", first);
    play.workshop.write("second.csv", second);
    play
}

const FALLBACK: &str = "stations = [\"only\", \"second\"]\norder = \"fallback\"";

#[tokio::test]
async fn the_second_station_gives_the_days_that_the_first_one_lacks_and_is_named() {
    let mut play = play(FALLBACK, &days(53, 10.0), &days(54, 8.0));
    play.cycle("2026-02-24T06:00:00Z").await;
    play.workshop.write("second.csv", &days(57, 8.0));
    play.cycle("2026-02-27T06:00:00Z").await;
    // 53 days of 10 °C·d and then days of 8: 560 is passed on the 57th.
    let told = play.message("flight has begun");
    assert!(told.contains("has begun (26 February)"), "{told}");
    assert!(!told.contains("in part from"), "{told}");
    let json = play.status_json("2026-02-27");
    let site = &json["sites"][0];
    assert_eq!(site["degree_days"], 562.0);
    assert_eq!(site["data_through"], "2026-02-26");
    assert_eq!(site["newest_days_from"][0]["days"], 6);
    assert_eq!(site["newest_days_from"][1]["station"], "second");
    assert_eq!(site["newest_days_from"][1]["days"], 4);
    let status = play.lawn_status("2026-02-27");
    assert!(
        status.contains("last 10 days:") && status.contains("only 6"),
        "{status}"
    );
}

#[tokio::test]
async fn a_mean_is_weighted_and_goes_on_with_the_station_that_is_left() {
    let site = "stations = [{ id = \"only\", weight = 3.0 }, \"second\"]";
    let mut play = play(site, &days(40, 10.0), &days(50, 6.0));
    play.cycle("2026-02-20T06:00:00Z").await;
    let json = play.status_json("2026-02-20");
    // 40 days of (3·10 + 6) / 4 = 9 and ten days of 6.
    assert_eq!(json["sites"][0]["degree_days"], 420.0);
    assert_eq!(json["sites"][0]["newest_days_from"][0]["days"], 0);
}

#[tokio::test]
async fn a_site_is_quiet_only_when_none_of_its_stations_sends_days() {
    let mut play = play(FALLBACK, &days(30, 5.0), &days(50, 5.5));
    play.cycle("2026-02-20T06:00:00Z").await;
    play.cycle("2026-02-22T06:00:00Z").await;
    assert!(play.titles().is_empty(), "{:?}", play.titles());
    let json = play.status_json("2026-02-22");
    assert_eq!(json["sites"][0]["stale_since"], serde_json::Value::Null);
    play.cycle("2026-03-05T06:00:00Z").await;
    assert_eq!(play.titles().len(), 1, "{:?}", play.titles());
    let told = play.message("no new temperatures");
    assert!(
        told.contains("The second station has sent no new day since 19 February 2026: The lawn"),
        "the station whose newest day it is: {told}"
    );
}

#[tokio::test]
async fn a_single_station_goes_on_as_before_and_names_no_parts() {
    let mut play = play("station = \"only\"", &days(50, 9.0), &days(50, 1.0));
    play.cycle("2026-02-20T06:00:00Z").await;
    let json = play.status_json("2026-02-20");
    assert_eq!(json["sites"][0]["degree_days"], 450.0);
    assert_eq!(json["sites"][0]["newest_days_from"], serde_json::json!([]));
    assert_eq!(
        play.count("SELECT count(*) FROM reading_year WHERE station = 'second'"),
        0,
        "a station that no site uses is not asked"
    );
}

#[test]
fn what_is_wrong_with_several_stations_is_said_with_its_place() {
    let play = Play::new(&config(FALLBACK));
    let cases = [
        (
            "station = \"only\"\nstations = [\"only\"]",
            "give station or stations, not both",
        ),
        (
            "stations = [\"only\", \"secnod\"]",
            "there is no [[station]] \"secnod\"; did you mean \"second\"?",
        ),
        ("stations = [\"only\", \"only\"]", "\"only\" is there twice"),
        ("stations = []", "stations is empty"),
        (
            "stations = [{ id = \"only\", weight = 2.0 }, \"second\"]\norder = \"fallback\"",
            "weights are for a mean",
        ),
        (
            "stations = [{ id = \"only\", weight = 0.0 }]",
            "weight must be",
        ),
        (
            "station = \"only\"\norder = \"fallback\"",
            "order is for a site with stations",
        ),
        ("stations = [{ weight = 2.0 }]", "needs id"),
        ("stations = \"only\"", "a list of texts or tables"),
    ];
    for (site, due) in cases {
        let path = play.workshop.write("wrong.toml", &config(site));
        let output = play.workshop.run(&["check", "--config", &path]);
        assert!(!output.status.success(), "{site}");
        let text = both(&output);
        assert!(
            text.contains(due) && text.contains("wrong.toml:"),
            "{site}: {text}"
        );
    }
}

/// A station that lacks 10 and 11 February, on which its neighbour was 5 °C warmer than otherwise.
fn play_of_neighbours(count: u64) -> Play {
    let second = "[[station]]\nid = \"second\"\nname = \"The second station\"\n\
        dialect = \"ncei-export\"\nunit = \"celsius\"\nfile = \"second.csv\"\n";
    let origin = "file = \"first.csv\"\nneighbours = [\"second\"]";
    let play = Play::new(&config_with(origin, "console = true", second));
    write_neighbours(&play, count);
    play
}

fn write_neighbours(play: &Play, count: u64) {
    let (mut first, mut second) = (days(count, 10.0), days(count, 8.0));
    for day in ["2026-02-10", "2026-02-11"] {
        first = first.replace(&format!("{day},25.0,15.0\n"), "");
        let warmer = format!("{day},28.0,18.0\n");
        second = second.replace(&format!("{day},23.0,13.0\n"), &warmer);
    }
    play.workshop.write("first.csv", &first);
    play.workshop.write("second.csv", &second);
}

#[tokio::test]
async fn a_neighbour_that_is_no_site_s_own_station_is_read_and_gives_the_missing_days() {
    let mut play = play_of_neighbours(50);
    play.cycle("2026-02-20T06:00:00Z").await;
    let json = play.status_json("2026-02-20");
    let site = &json["sites"][0];
    assert_eq!(site["estimated_days"], 2);
    assert_eq!(site["degree_days"], 510.0);
    assert_eq!(
        site["estimated_by"],
        serde_json::json!({
            "neighbours": 2,
            "neighbour_days": [{"station": "second", "days": 2}],
            "straight_line": 0,
            "other_years": 0,
        })
    );
    let status = play.lawn_status("2026-02-20");
    assert!(status.contains("2 days est."), "{status}");
    assert!(status.contains("by second 2"), "{status}");
}

#[tokio::test]
async fn a_message_counts_the_estimated_days_and_status_names_the_neighbours_that_gave_them() {
    let mut play = play_of_neighbours(50);
    play.cycle("2026-02-20T06:00:00Z").await;
    write_neighbours(&play, 57);
    play.cycle("2026-02-27T06:00:00Z").await;
    let told = play.message("flight has begun");
    assert!(
        told.contains("The day is an estimate, in part from estimated temperatures."),
        "{told}"
    );
    let json = play.status_json("2026-02-27");
    assert_eq!(
        json["sites"][0]["estimated_by"]["neighbour_days"],
        serde_json::json!([{"station": "second", "days": 2}])
    );
}

/// A station by hand is waited for by nobody; the one that is fetched says when days are late.
#[tokio::test]
async fn a_site_whose_first_station_is_brought_by_hand_is_quiet_when_the_other_stops() {
    let first = "dialect = \"ncei-export\"\nunit = \"celsius\"\nfile = \"first.csv\"";
    let by_hand = config(FALLBACK).replace(first, "dialect = \"midas-daily\"");
    let mut play = Play::new(&by_hand);
    play.workshop.write("second.csv", &days(30, 7.0));
    play.cycle("2026-01-31T06:00:00Z").await;
    assert!(play.titles().is_empty(), "{:?}", play.titles());
    play.cycle("2026-02-20T06:00:00Z").await;
    let told = play.message("no new temperatures");
    assert!(
        told.contains("The second station has sent no new day since 30 January"),
        "{told}"
    );
    assert_eq!(
        play.status_json("2026-02-20")["sites"][0]["stale_since"],
        "2026-01-30"
    );
}
