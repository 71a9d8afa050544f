//! What a feed may do to the intake without making it silently wrong: every test plays a feed
//! through the engine, from a web server or a file, with a clock that is set. Tests whose names begin
//! with a number are of the defects listed in `tests/feeds/feed_defects/mod.rs`.

use crate::support::command::{both, config_with};
use crate::support::engine::Play;
use crate::support::http_server::{Reply, ScriptedServer};
use chrono::{Datelike, Days, NaiveDate};

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// °C of a plausible course of the year.
fn mean(day: NaiveDate) -> f64 {
    use chrono::Datelike;
    12.0 - 13.0 * (f64::from(day.ordinal0()) * 0.0172).cos()
}

/// Export rows in °C of the days from `from` through `to`.
fn rows(from: &str, to: &str) -> Vec<String> {
    let (from, to) = (date(from), date(to));
    (0..=(to - from).num_days() as u64)
        .map(|index| {
            let day = from + Days::new(index);
            let mean = mean(day);
            format!("ZZI00000009,{day},{:.1},{:.1}", mean + 5.0, mean - 5.0)
        })
        .collect()
}

fn file(rows: &[String]) -> String {
    format!("STATION,DATE,TMAX,TMIN\n{}\n", rows.join("\n"))
}

fn days(from: &str, to: &str) -> String {
    file(&rows(from, to))
}

/// The same days with another maximum on one of them.
fn days_with(from: &str, to: &str, day: &str, max: f64) -> String {
    let rows: Vec<String> = rows(from, to)
        .into_iter()
        .map(|row| {
            let mut fields: Vec<&str> = row.split(',').collect();
            let text = max.to_string();
            if fields[1] == day {
                fields[2] = &text;
            }
            fields.join(",")
        })
        .collect();
    file(&rows)
}

fn ok(body: impl Into<Vec<u8>>) -> Reply {
    Reply::of(200, &[], body)
}

/// A play of a feed that answers like this, one reply a fetch.
fn play(replies: Vec<Reply>) -> (Play, ScriptedServer) {
    let server = ScriptedServer::start(replies);
    let play = Play::new(&config(&format!("url = \"{}\"", server.url("/daily.csv"))));
    (play, server)
}

/// One station, one site, and its keeper as the operator.
fn config(origin: &str) -> String {
    config_with(origin, "console = true", "").replace(
        "database = \"hatchbell.db\"",
        "database = \"hatchbell.db\"\noperator = \"keeper\"",
    )
}

#[tokio::test]
async fn d04_a_truncated_file_that_is_valid_loses_no_day_and_is_told_once_as_is_its_end() {
    let whole = days("2015-01-01", "2026-06-07");
    let cut: String = whole
        .lines()
        .take(401)
        .map(|l| l.to_owned() + "\n")
        .collect();
    let (mut play, _server) = play(vec![
        ok(whole.clone()),
        ok(cut.clone()),
        ok(cut.clone()),
        ok(cut),
        ok(whole),
        ok(days("2015-01-01", "2026-06-09")),
    ]);
    play.cycle("2026-06-10T06:00:00Z").await;
    let before = play.days(|_, _| true);
    play.cycle("2026-06-10T12:00:00Z").await;
    play.restart();
    play.cycle("2026-06-10T18:00:00Z").await;
    assert_eq!(
        play.titles(),
        ["The only station: the feed's file went back in time"]
    );
    let text = play.newest_message();
    for words in [
        "newest whole day is 4 February 2016 (400 whole days in 400 rows)",
        "last good one reached 7 June 2026 with 4176 whole days",
        "Nothing stored is deleted",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(!text.to_lowercase().contains("caution"), "{text}");
    assert_eq!(play.days(|_, _| true), before);
    let status = play.status("2026-06-10");
    assert!(
        status.contains(
            "The only station, since 2026-06-10: The file's newest whole day is 4 February 2016"
        ),
        "{status}"
    );
    play.cycle("2026-06-11T06:00:00Z").await;
    play.cycle("2026-06-11T12:00:00Z").await;
    play.cycle("2026-06-12T12:00:00Z").await;
    assert_eq!(
        play.titles()[1..],
        ["The only station: the feed's file reaches as far as before"]
    );
    assert!(!play.status("2026-06-12").contains("since 2026-06-10"));
    assert_eq!(play.days(|_, _| true), before + 2);
    assert_eq!(play.count("SELECT count(*) FROM revision"), 0);
}

#[tokio::test]
async fn d05_an_older_copy_is_over_only_when_the_file_reaches_as_far_as_before() {
    let (mut play, _server) = play(vec![
        ok(days("2015-01-01", "2026-06-07")),
        ok(days("2015-01-01", "2026-05-30")),
        ok(days("2015-01-01", "2026-06-05")),
        ok(days("2015-01-01", "2026-06-09")),
    ]);
    play.cycle("2026-06-10T06:00:00Z").await;
    play.cycle("2026-06-11T06:00:00Z").await;
    play.cycle("2026-06-12T06:00:00Z").await;
    assert_eq!(
        play.titles(),
        ["The only station: the feed's file went back in time"]
    );
    assert_eq!(play.newest_day(), "2026-06-07");
    play.cycle("2026-06-13T06:00:00Z").await;
    assert_eq!(play.titles().len(), 2);
    assert_eq!(play.newest_day(), "2026-06-09");
}

#[tokio::test]
async fn d06_an_old_id_that_is_still_served_but_frozen_is_told_with_its_likely_cause() {
    let frozen = days("2015-01-01", "2026-04-28");
    let headers = [("ETag", "\"frozen\"")];
    let (mut play, _server) = play(vec![
        Reply::of(200, &headers, frozen.clone()),
        Reply::of(304, &headers, ""),
        Reply::of(304, &headers, ""),
        Reply::of(304, &headers, ""),
        Reply::of(304, &headers, ""),
        ok(days("2015-01-01", "2026-05-10")),
    ]);
    play.cycle("2026-05-01T06:00:00Z").await;
    // Six days are the usual lag, three are grace.
    play.cycle("2026-05-07T06:00:00Z").await;
    assert!(play.titles().is_empty(), "{:?}", play.titles());
    play.cycle("2026-05-08T06:00:00Z").await;
    assert_eq!(
        play.titles(),
        ["The only station: the feed is served but no longer grows"]
    );
    let status = play.status("2026-05-08");
    assert!(status.contains("renamed or retired"), "{status}");
    // The people of its sites hear four days later.
    play.cycle("2026-05-11T06:00:00Z").await;
    assert_eq!(play.titles().len(), 1, "{:?}", play.titles());
    play.cycle("2026-05-12T06:00:00Z").await;
    assert_eq!(play.titles().len(), 2, "{:?}", play.titles());
    let site = play.message("no new temperatures");
    assert!(
        site.contains("has sent no new day since 28 April 2026: The lawn"),
        "{site}"
    );
    let told = play.message("no longer grows");
    assert!(told.contains("28 April 2026, 10 days ago"), "{told}");
    assert!(told.contains("renamed or retired"), "{told}");
    play.cycle("2026-05-13T06:00:00Z").await;
    assert_eq!(
        play.titles()[2..],
        [
            "The only station: the feed grows again",
            "The only station sends temperatures again: The lawn"
        ]
    );
}

#[tokio::test]
async fn d07_a_retired_service_is_told_after_two_days_and_not_before() {
    let gone = Reply::of(404, &[], "no such file");
    let (mut play, _server) = play(vec![
        ok(days("2015-01-01", "2026-06-07")),
        gone.clone(),
        gone.clone(),
        gone.clone(),
        gone,
        ok(days("2015-01-01", "2026-06-12")),
    ]);
    for at in [
        "2026-06-10T06:00:00Z",
        "2026-06-10T12:00:00Z",
        "2026-06-12T06:00:00Z",
    ] {
        play.cycle(at).await;
    }
    assert!(play.titles().is_empty(), "{:?}", play.titles());
    play.cycle("2026-06-12T12:00:00Z").await;
    play.cycle("2026-06-13T12:00:00Z").await;
    assert_eq!(
        play.titles(),
        ["The only station: the feed has not arrived for two days"]
    );
    assert!(
        play.newest_message().contains("404"),
        "{}",
        play.newest_message()
    );
    assert_eq!(play.newest_day(), "2026-06-07");
    play.cycle("2026-06-14T06:00:00Z").await;
    assert_eq!(
        play.titles()[1..],
        ["The only station: the feed arrives again"]
    );
}

#[tokio::test]
async fn d12_a_switch_of_the_unit_is_refused_with_the_unit_that_fits_and_told_once() {
    let fahrenheit: Vec<String> = rows("2015-01-01", "2026-06-08")
        .iter()
        .map(|row| {
            let fields: Vec<&str> = row.split(',').collect();
            let turn = |text: &str| (text.parse::<f64>().unwrap() * 1.8 + 32.0).round();
            format!(
                "{},{},{},{}",
                fields[0],
                fields[1],
                turn(fields[2]),
                turn(fields[3])
            )
        })
        .collect();
    let (mut play, _server) = play(vec![
        ok(days("2015-01-01", "2026-06-07")),
        ok(file(&fahrenheit)),
        ok(file(&fahrenheit)),
        ok(days("2015-01-01", "2026-06-09")),
    ]);
    play.cycle("2026-06-10T06:00:00Z").await;
    play.cycle("2026-06-11T06:00:00Z").await;
    play.cycle("2026-06-12T06:00:00Z").await;
    assert_eq!(
        play.titles(),
        ["The only station: the feed's file is refused"]
    );
    let text = play.newest_message();
    assert!(
        text.contains("read as fahrenheit it agrees with what is stored"),
        "{text}"
    );
    assert_eq!(play.count("SELECT count(*) FROM revision"), 0);
    assert_eq!(play.newest_day(), "2026-06-07");
    play.cycle("2026-06-13T06:00:00Z").await;
    assert_eq!(
        play.titles()[1..],
        ["The only station: the feed's file is taken in again"]
    );
}

#[tokio::test]
async fn a_reordered_header_is_taken_in_and_noted_once() {
    let turned = |from: &str, to: &str| {
        let rows: Vec<String> = rows(from, to)
            .iter()
            .map(|row| {
                let fields: Vec<&str> = row.split(',').collect();
                format!(
                    "\"{}\",\"A place, far\",\"{}\",\"{}\",\"{}\"",
                    fields[1], fields[0], fields[3], fields[2]
                )
            })
            .collect();
        format!(
            "\"DATE\",\"NAME\",\"STATION\",\"TMIN\",\"TMAX\"\n{}\n",
            rows.join("\n")
        )
    };
    let (mut play, _server) = play(vec![
        ok(days("2015-01-01", "2026-06-07")),
        ok(turned("2015-01-01", "2026-06-08")),
        ok(turned("2015-01-01", "2026-06-09")),
    ]);
    play.cycle("2026-06-10T06:00:00Z").await;
    play.cycle("2026-06-11T06:00:00Z").await;
    play.cycle("2026-06-12T06:00:00Z").await;
    assert_eq!(
        play.titles(),
        ["The only station: the feed's header has changed"]
    );
    let text = play.newest_message();
    assert!(
        text.contains("columns are new (NAME), their order is another"),
        "{text}"
    );
    assert_eq!(play.newest_day(), "2026-06-09");
    assert_eq!(play.count("SELECT count(*) FROM revision"), 0);
    // Shown for two weeks.
    assert!(play.status("2026-06-20").contains("their order is another"));
    assert!(!play.status("2026-06-30").contains("their order is another"));
}

#[tokio::test]
async fn a_lost_column_is_refused_and_the_last_good_days_are_kept() {
    let lost: String = days("2015-01-01", "2026-06-08")
        .lines()
        .map(|line| line.rsplit_once(',').unwrap().0.to_owned() + "\n")
        .collect();
    let (mut play, _server) = play(vec![
        ok(days("2015-01-01", "2026-06-07")),
        ok(lost),
        ok(days("2015-01-01", "2026-06-09")),
    ]);
    play.cycle("2026-06-10T06:00:00Z").await;
    play.cycle("2026-06-11T06:00:00Z").await;
    assert_eq!(
        play.titles(),
        ["The only station: the feed's file is refused"]
    );
    let text = play.newest_message();
    assert!(text.contains("no column for the daily minimum"), "{text}");
    assert_eq!(play.newest_day(), "2026-06-07");
    assert_eq!(play.days(|_, reading| reading.min.is_none()), 0);
    play.cycle("2026-06-12T06:00:00Z").await;
    assert_eq!(play.titles().len(), 2);
    assert_eq!(play.newest_day(), "2026-06-09");
}

#[tokio::test]
async fn of_a_short_record_an_outlier_is_taken_in_when_still_said_a_day_later() {
    let strange = days_with("2019-01-01", "2026-05-03", "2026-05-03", 48.0);
    let headers = [("ETag", "\"strange\"")];
    let (mut play, server) = play(vec![
        ok(days("2019-01-01", "2026-05-01")),
        Reply::of(200, &headers, strange.clone()),
        Reply::of(200, &headers, strange.clone()),
        Reply::of(200, &headers, strange),
    ]);
    play.cycle("2026-05-04T06:00:00Z").await;
    play.cycle("2026-05-05T06:00:00Z").await;
    assert_eq!(
        play.titles(),
        ["The only station: unlikely temperatures are held"]
    );
    let text = play.newest_message();
    assert!(text.contains("maximum of 3 May 2026 48.0 °C"), "{text}");
    assert_eq!(play.newest_day(), "2026-05-02", "the day is not whole");
    assert_eq!(play.count("SELECT count(*) FROM held_value"), 1);
    // Twelve hours later the file still says it.
    play.restart();
    play.cycle("2026-05-05T18:00:00Z").await;
    assert_eq!(play.newest_day(), "2026-05-02");
    play.cycle("2026-05-06T06:00:00Z").await;
    assert_eq!(play.newest_day(), "2026-05-03");
    assert_eq!(play.count("SELECT count(*) FROM held_value"), 0);
    assert_eq!(
        play.titles()[1..],
        ["The only station: no temperature is held any more"]
    );
    let text = play.newest_message();
    assert!(
        text.contains("was held at 48.0 °C and is taken in at 48.0 °C"),
        "{text}"
    );
    assert_eq!(
        server.exchanges()[2].header("if-none-match"),
        None,
        "the file must come again while it is in question"
    );
}

#[tokio::test]
async fn an_outlier_that_is_corrected_never_counts() {
    let (mut play, _server) = play(vec![
        ok(days("2012-01-01", "2026-05-01")),
        ok(days_with("2012-01-01", "2026-05-03", "2026-05-03", 48.0)),
        ok(days("2012-01-01", "2026-05-04")),
    ]);
    play.cycle("2026-05-04T06:00:00Z").await;
    play.cycle("2026-05-05T06:00:00Z").await;
    play.cycle("2026-05-06T18:00:00Z").await;
    assert_eq!(play.titles().len(), 2);
    assert!(
        play.newest_message().contains("is taken in at 2"),
        "{}",
        play.newest_message()
    );
    assert_eq!(play.days(|_, reading| reading.max > Some(40.0)), 0);
    assert_eq!(play.count("SELECT count(*) FROM revision"), 0);
    assert_eq!(play.newest_day(), "2026-05-04");
}

#[tokio::test]
async fn an_outlier_in_place_of_a_good_value_leaves_the_good_one() {
    let (mut play, _server) = play(vec![
        ok(days("2012-01-01", "2026-05-03")),
        ok(days_with("2012-01-01", "2026-05-04", "2026-05-03", 48.0)),
    ]);
    play.cycle("2026-05-04T06:00:00Z").await;
    play.cycle("2026-05-05T06:00:00Z").await;
    assert_eq!(play.count("SELECT count(*) FROM held_value"), 1);
    assert_eq!(play.days(|_, reading| reading.max > Some(40.0)), 0);
    assert_eq!(play.days(|_, reading| reading.max.is_none()), 0);
}

/// Only the newest rows came in another unit: no step of the whole, and no weather either.
#[tokio::test]
async fn outliers_of_many_days_are_not_believed_however_long_they_are_said() {
    let mut rows = rows("2012-01-01", "2026-02-07");
    for row in rows.iter_mut().rev().take(6) {
        let fields: Vec<String> = row.split(',').map(str::to_owned).collect();
        *row = format!("{},{},41,33", fields[0], fields[1]);
    }
    let (mut play, _server) = play(vec![ok(days("2012-01-01", "2026-02-01")), ok(file(&rows))]);
    play.cycle("2026-02-04T06:00:00Z").await;
    for day in 8..15 {
        play.cycle(&format!("2026-02-{day:02}T06:00:00Z")).await;
    }
    assert_eq!(play.newest_day(), "2026-02-01");
    assert_eq!(play.count("SELECT count(*) FROM held_value"), 12);
    let held: Vec<String> = play
        .titles()
        .into_iter()
        .filter(|title| title.contains("held"))
        .collect();
    assert_eq!(held, ["The only station: unlikely temperatures are held"]);
}

#[tokio::test]
async fn a_rolling_file_is_not_taken_for_a_shrunken_one() {
    let mut replies = Vec::new();
    let newest = date("2026-04-01");
    for step in 0..30 {
        let to = newest + Days::new(step);
        let from = to - Days::new(60);
        replies.push(ok(days(&from.to_string(), &to.to_string())));
    }
    let (mut play, _server) = play(replies);
    for step in 0..30 {
        let at = newest + Days::new(step + 2);
        play.cycle(&format!("{at}T06:00:00Z")).await;
    }
    assert!(play.titles().is_empty(), "{:?}", play.titles());
    assert_eq!(play.days(|_, _| true), 90);
    assert_eq!(play.count("SELECT count(*) FROM finding"), 0);
}

#[tokio::test]
async fn days_gone_from_the_middle_are_told_and_become_usual_after_two_weeks() {
    let holey = |to: &str| {
        let rows: Vec<String> = rows("2015-01-01", to)
            .into_iter()
            .filter(|row| !row.contains(",2018-"))
            .collect();
        file(&rows)
    };
    let (mut play, _server) = play(vec![
        ok(days("2015-01-01", "2026-06-01")),
        ok(holey("2026-06-02")),
        ok(holey("2026-06-14")),
        ok(holey("2026-06-15")),
        ok(holey("2026-06-16")),
    ]);
    play.cycle("2026-06-03T06:00:00Z").await;
    play.cycle("2026-06-04T06:00:00Z").await;
    play.cycle("2026-06-16T06:00:00Z").await;
    assert_eq!(
        play.titles(),
        ["The only station: days are gone from the feed's file"]
    );
    let text = play.newest_message();
    assert!(text.contains("365 days are gone from the file"), "{text}");
    play.cycle("2026-06-18T06:00:00Z").await;
    play.cycle("2026-06-19T06:00:00Z").await;
    assert_eq!(
        play.titles()[1..],
        ["The only station: the feed's file is whole again"]
    );
    assert_eq!(
        play.days(|day, _| day.year() == 2018),
        365,
        "what was stored stays"
    );
}

#[tokio::test]
async fn revisions_of_a_tenth_are_counted_and_told_nobody() {
    let revised = days_with("2012-01-01", "2026-05-03", "2026-04-01", 16.0);
    let original = days_with("2012-01-01", "2026-05-02", "2026-04-01", 16.1);
    let (mut play, _server) = play(vec![ok(original), ok(revised)]);
    play.cycle("2026-05-04T06:00:00Z").await;
    play.cycle("2026-05-05T06:00:00Z").await;
    assert_eq!(play.count("SELECT count(*) FROM revision"), 1);
    assert!(play.titles().is_empty(), "{:?}", play.titles());
}

#[tokio::test]
async fn without_an_operator_findings_are_kept_and_shown_and_nobody_is_told() {
    let server = ScriptedServer::start(vec![
        ok(days("2015-01-01", "2026-06-07")),
        ok(days("2015-01-01", "2026-05-30")),
    ]);
    let origin = format!("url = \"{}\"", server.url("/daily.csv"));
    let mut play = Play::new(&config_with(&origin, "console = true", ""));
    play.cycle("2026-06-10T06:00:00Z").await;
    play.cycle("2026-06-11T06:00:00Z").await;
    assert!(play.titles().is_empty(), "{:?}", play.titles());
    assert!(
        play.status("2026-06-11")
            .contains("newest whole day is 30 May 2026")
    );
    let json = play.status_json("2026-06-11");
    let finding = &json["stations"][0]["findings"][0];
    assert_eq!(finding["trouble"], "went-back");
    assert_eq!(finding["since"], "2026-06-11T06:00:00Z");
}

#[tokio::test]
async fn a_file_that_is_read_as_another_one_is_held_against_nothing() {
    let mut play = Play::new(&config("file = \"one.csv\""));
    play.workshop
        .write("one.csv", &days("2015-01-01", "2026-06-07"));
    play.workshop
        .write("two.csv", &days("2026-01-01", "2026-06-05"));
    play.cycle("2026-06-08T06:00:00Z").await;
    play.reconfigure(&config("file = \"two.csv\""));
    play.cycle("2026-06-09T06:00:00Z").await;
    assert!(play.titles().is_empty(), "{:?}", play.titles());
}

/// The same days, all of them so many °C warmer.
fn warmer(from: &str, to: &str, by: f64) -> String {
    let rows: Vec<String> = rows(from, to)
        .iter()
        .map(|row| {
            let fields: Vec<&str> = row.split(',').collect();
            let turn = |text: &str| text.parse::<f64>().unwrap() + by;
            format!(
                "{},{},{:.1},{:.1}",
                fields[0],
                fields[1],
                turn(fields[2]),
                turn(fields[3])
            )
        })
        .collect();
    file(&rows)
}

/// A configuration whose station is read by a dialect of one's own, the built-in one's layout with
/// other words.
fn with_own_dialect(play: &Play, name: &str, edit: impl Fn(&str) -> String) -> String {
    let folder = play.workshop.path("dialects");
    std::fs::create_dir_all(&folder).unwrap();
    let built_in = include_str!("../../config/dialects/ncei-export.toml");
    let text = built_in.replace(
        "name = \"ncei-export\"",
        &format!("name = \"{name}\"\nadvice = \"read {name} with care\""),
    );
    play.workshop
        .write(&format!("dialects/{name}.toml"), &edit(&text));
    config("file = \"feed.csv\"")
        .replace(
            "database = \"hatchbell.db\"",
            "database = \"hatchbell.db\"\ndialect_dir = \"dialects\"",
        )
        .replace(
            "dialect = \"ncei-export\"",
            &format!("dialect = \"{name}\""),
        )
}

/// A feed that was read once by a dialect of one's own.
async fn read_once() -> Play {
    let mut play = Play::new(&config("file = \"feed.csv\""));
    play.workshop
        .write("feed.csv", &days("2015-01-01", "2026-06-07"));
    let text = with_own_dialect(&play, "own", str::to_owned);
    play.reconfigure(&text);
    play.cycle("2026-06-08T06:00:00Z").await;
    play
}

/// Serves a file 7 °C off and returns how many values it has changed.
async fn serve_7_off(play: &mut Play) -> i64 {
    play.workshop
        .write("feed.csv", &warmer("2015-01-01", "2026-06-08", 7.0));
    play.cycle("2026-06-09T06:00:00Z").await;
    play.count("SELECT count(*) FROM revision")
}

#[tokio::test]
async fn words_edited_in_dialect_station_and_site_disarm_no_guard() {
    let mut play = read_once().await;
    let text = with_own_dialect(&play, "renamed", |text| {
        text.replace("one row a day\"\nlayout", "one row a day.\"\nlayout")
            .replace("units = [\"celsius\", ", "units = [")
            .replace("[\"fahrenheit\", ", "[\"celsius\", \"fahrenheit\", ")
    });
    let text = text
        .replace("The only station", "The old station")
        .replace("latitude = 27.4", "latitude = 27.9");
    play.reconfigure(&text);
    assert_eq!(serve_7_off(&mut play).await, 0);
    assert_eq!(
        play.titles(),
        ["The old station: the feed's file is refused"]
    );
    assert_eq!(play.newest_day(), "2026-06-07");
}

#[tokio::test]
async fn another_layout_is_held_against_what_is_stored_all_the_same() {
    let mut play = read_once().await;
    let text = with_own_dialect(&play, "other", |text| {
        text.replace("\"NA\", ", "\"NA\", \"none\", ")
    });
    play.reconfigure(&text);
    assert_eq!(serve_7_off(&mut play).await, 0);
    let text = play.newest_message();
    assert!(
        text.contains("import --station only --replace FILE takes it"),
        "{text}"
    );
}

/// Databases of earlier programs hold fingerprints of another form.
#[tokio::test]
async fn a_fingerprint_of_the_first_form_disarms_no_guard_and_is_written_anew() {
    let mut play = read_once().await;
    let database = rusqlite::Connection::open(play.workshop.path("hatchbell.db")).unwrap();
    let today = &play.column("SELECT fingerprint FROM feed")[0];
    database
        .execute("UPDATE feed SET fingerprint = '1f2e3d4c'", [])
        .unwrap();
    assert_eq!(serve_7_off(&mut play).await, 0);
    assert_eq!(play.column("SELECT fingerprint FROM feed"), ["1f2e3d4c"]);
    play.workshop
        .write("feed.csv", &days("2015-01-01", "2026-05-30"));
    play.cycle("2026-06-10T06:00:00Z").await;
    assert_eq!(
        play.titles(),
        [
            "The only station: the feed's file is refused",
            "The only station: the feed's file went back in time (+1)",
        ],
        "the last good file is remembered too"
    );
    assert_eq!(&play.column("SELECT fingerprint FROM feed")[0], today);
}

#[tokio::test]
async fn imported_history_guards_the_first_fetch() {
    let mut play = Play::new(&config("file = \"feed.csv\""));
    let history = play
        .workshop
        .write("history.csv", &days("2015-01-01", "2026-06-07"));
    play.import(&["--station", "only", &history]);
    assert_eq!(serve_7_off(&mut play).await, 0);
    assert_eq!(
        play.titles(),
        ["The only station: the feed's file is refused"]
    );
    assert_eq!(play.newest_day(), "2026-06-07");
}

#[test]
fn an_operator_who_is_no_recipient_is_a_problem_with_its_place() {
    let play = Play::new(&config("file = \"one.csv\""));
    let text =
        config("file = \"one.csv\"").replace("operator = \"keeper\"", "operator = \"kepper\"");
    let path = play.workshop.write("wrong.toml", &text);
    let output = play.workshop.run(&["check", "--config", &path]);
    assert!(!output.status.success());
    let text = both(&output);
    assert!(
        text.contains("wrong.toml:7:12: error: operator names \"kepper\", which is no [[member.recipient]]; did you mean \"keeper\"?"),
        "{text}"
    );
}
