//! A forecast's file: its wind, and how long what it says is used when the feed fails.

use crate::support::command::config_with;
use crate::support::engine::Play;
use crate::support::feeds::{binding, date, take};
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::forecast::Forecast;
use hatchbell::station_feed::refusal::Why;
use hatchbell::store::Store;
use std::sync::{Arc, Mutex};

const ABOUT_THE_PLACE: &str = "latitude,longitude\n41.8,-30.1\n\n";

fn file(wind_column: &str, rows: &[&str]) -> String {
    format!(
        "{ABOUT_THE_PLACE}time,temperature_2m_max (°C),temperature_2m_min (°C),precipitation_sum (mm),{wind_column}\n{}\n",
        rows.join("\n")
    )
}

/// Mile and knot by their definitions, 1,609.344 and 1,852 m.
#[test]
fn wind_is_read_in_every_unit_that_the_service_offers() {
    for (unit, speed) in [
        ("m/s", "5"),
        ("km/h", "18"),
        ("mp/h", "11.18468146"),
        ("kn", "9.71922246"),
    ] {
        let column = format!("wind_speed_10m_max ({unit})");
        let row = format!("2026-06-09,25.0,12.0,0.0,{speed}");
        let text = file(&column, &[&row]);
        let forecast = binding("open-meteo-daily", Unit::Celsius);
        let parsed = take(text.as_bytes(), &forecast, "2026-06-09").unwrap();
        let ms = parsed.wind[&date("2026-06-09")];
        assert!((ms - 5.0).abs() < 1e-6, "{unit}: {ms}");
    }
}

#[test]
fn wind_that_cannot_be_is_reported_and_spoils_nothing_else() {
    let rows = [
        "2026-06-09,25.0,12.0,1.0,-0.1",
        "2026-06-10,25.0,12.0,1.0,120.1",
        "2026-06-11,25.0,12.0,1.0,NaN",
        "2026-06-12,25.0,12.0,1.0,strong",
        "2026-06-13,25.0,12.0,1.0,",
        "2026-06-14,25.0,12.0,1.0,120",
    ];
    let text = file("wind_speed_10m_max (m/s)", &rows);
    let forecast = binding("open-meteo-daily", Unit::Celsius);
    let parsed = take(text.as_bytes(), &forecast, "2026-06-14").unwrap();
    assert_eq!((parsed.readings.len(), parsed.rain.len()), (6, 6));
    assert_eq!(parsed.wind, [(date("2026-06-14"), 120.0)].into());
    let refused: Vec<_> = parsed
        .refused
        .iter()
        .map(|row| (row.line, row.why))
        .collect();
    let due = [5, 6, 8].map(|line| (line, Why::Wind));
    assert_eq!(refused, due, "\"NaN\" is this dialect's word for no value");
}

fn play() -> Play {
    let origin = "file = \"days.csv\"\nforecast = { dialect = \"open-meteo-daily\", unit = \"celsius\", file = \"forecast.csv\" }";
    let play = Play::new(&config_with(origin, "console = true", ""));
    let mut days = String::from("STATION,DATE,TMAX,TMIN\n");
    for day in date("2026-01-01").iter_days().take(150) {
        days += &format!("ZZI00000009,{day},22.0,10.0\n");
    }
    play.workshop.write("days.csv", &days);
    play
}

fn forecast_on(play: &Play, day: &str) -> Option<Forecast> {
    let store = Store::open_to_read(&play.workshop.path("hatchbell.db")).unwrap();
    store.forecast("only", date(day)).unwrap()
}

fn days_to_come(rain: &str) -> String {
    let row = format!("2026-06-10,25.0,12.0,{rain},18.0");
    file("wind_speed_10m_max (km/h)", &[&row])
}

#[tokio::test]
async fn a_forecast_lapses_when_its_feed_breaks_and_a_new_one_takes_its_place() {
    let mut play = play();
    play.workshop.write("forecast.csv", &days_to_come("15.0"));
    play.cycle("2026-06-08T06:00:00Z").await;
    let taken_in = forecast_on(&play, "2026-06-08").expect("a forecast");
    assert_eq!(taken_in.issued.to_rfc3339(), "2026-06-08T06:00:00+00:00");
    assert_eq!(taken_in.rain, [(date("2026-06-10"), 15.0)].into());
    assert_eq!(taken_in.wind, [(date("2026-06-10"), 5.0)].into());
    for broken in ["", "ERROR: no such place\n", &days_to_come("15.0")[..150]] {
        play.workshop.write("forecast.csv", broken);
        play.cycle("2026-06-10T18:00:00Z").await;
        assert_eq!(forecast_on(&play, "2026-06-10").as_ref(), Some(&taken_in));
        assert_eq!(forecast_on(&play, "2026-06-11"), None, "{broken}");
    }
    play.workshop.write("forecast.csv", &days_to_come("7.0"));
    play.cycle("2026-06-11T06:00:00Z").await;
    assert_eq!(
        forecast_on(&play, "2026-06-11").expect("a new one").rain,
        [(date("2026-06-10"), 7.0)].into()
    );
}

#[tokio::test]
async fn a_file_that_stands_still_grows_old_however_often_it_is_read() {
    let mut play = play();
    play.workshop.write("forecast.csv", &days_to_come("15.0"));
    for day in ["2026-06-08", "2026-06-09", "2026-06-10", "2026-06-11"] {
        play.cycle(&format!("{day}T06:00:00Z")).await;
    }
    assert!(forecast_on(&play, "2026-06-10").is_some());
    assert_eq!(forecast_on(&play, "2026-06-11"), None);
}

/// The titles of messages about the forecast.
fn told(play: &Play) -> Vec<String> {
    let mut titles = play.titles();
    titles.retain(|title| title.contains("forecast"));
    titles
}

const GONE: &str = "The only station: there is no forecast any more";
const BACK: &str = "The only station: there is a forecast again";

fn play_with_operator() -> Play {
    let mut play = play();
    let config = play.workshop.read("hatchbell.toml");
    let operator = "database = \"hatchbell.db\"\noperator = \"keeper\"";
    play.reconfigure(&config.replace("database = \"hatchbell.db\"", operator));
    play
}

#[tokio::test]
async fn a_forecast_that_fails_for_longer_than_it_is_used_is_told_once_as_is_its_end() {
    let mut play = play_with_operator();
    play.workshop.write("forecast.csv", &days_to_come("15.0"));
    play.cycle("2026-06-08T06:00:00Z").await;
    play.workshop
        .write("forecast.csv", "ERROR: no such place\n");
    for at in ["2026-06-08T18:00:00Z", "2026-06-10T18:00:00Z"] {
        play.cycle(at).await;
        assert!(told(&play).is_empty(), "{at}: the last one is used");
    }
    for at in ["2026-06-11T06:00:00Z", "2026-06-12T06:00:00Z"] {
        play.cycle(at).await;
        play.restart();
        assert_eq!(told(&play), [GONE], "{at}");
    }
    let text = play.message("there is no forecast");
    for words in [
        "forecast.csv, line 1: the service answered with an error message",
        "The last forecast, of 8 June 2026, is no longer used.",
        "mend or remove the table [station.forecast] of only",
    ] {
        assert!(text.contains(words), "no {words:?} in {text}");
    }
    let status = play.status("2026-06-12");
    assert!(
        status.contains("The last forecast, of 8 June 2026"),
        "{status}"
    );
    play.workshop.write("forecast.csv", &days_to_come("7.0"));
    for at in ["2026-06-12T18:00:00Z", "2026-06-13T06:00:00Z"] {
        play.cycle(at).await;
        assert_eq!(told(&play), [GONE, BACK], "{at}");
    }
}

#[tokio::test]
async fn a_forecast_that_never_came_is_told_after_two_days() {
    let mut play = play_with_operator();
    for (at, is_told) in [
        ("2026-06-08T06:00:00Z", false),
        ("2026-06-10T05:59:59Z", false),
        ("2026-06-10T06:00:00Z", true),
        ("2026-06-11T06:00:00Z", true),
    ] {
        play.cycle(at).await;
        assert_eq!(told(&play).len(), usize::from(is_told), "{at}");
    }
    let text = play.message("there is no forecast");
    assert!(
        text.contains("No forecast has been taken in so far."),
        "{text}"
    );
}

#[tokio::test]
async fn a_forecast_that_stands_still_is_told_when_it_has_lapsed() {
    let mut play = play_with_operator();
    play.workshop.write("forecast.csv", &days_to_come("15.0"));
    for day in ["2026-06-08", "2026-06-10"] {
        play.cycle(&format!("{day}T06:00:00Z")).await;
        assert!(told(&play).is_empty());
    }
    play.cycle("2026-06-11T06:00:00Z").await;
    assert_eq!(told(&play), [GONE]);
    let text = play.message("there is no forecast");
    assert!(
        text.contains("says word for word what it said before"),
        "{text}"
    );
    // A broken one is no end of it.
    play.workshop.write("forecast.csv", "");
    play.cycle("2026-06-11T18:00:00Z").await;
    assert_eq!(told(&play), [GONE]);
}

/// A dialect of one's own for a model's file of several places.
#[tokio::test]
async fn a_forecast_of_a_file_of_several_places_is_found_by_its_code() {
    let mut play = play();
    std::fs::create_dir(play.workshop.path("dialects")).unwrap();
    let dialect = "name = \"village-model\"\ntitle = \"a model of our own\"\nmodel = true\nlayout = \"row-a-day\"\nheader = \"required\"\ndelimiter = \",\"\ndate_formats = [\"%Y-%m-%d\"]\nunits = [\"celsius\"]\nmissing = [\"\"]\n[columns]\nstation = [\"place\"]\ndate = [\"day\"]\ntmax = [\"warmest\"]\ntmin = [\"coldest\"]\n";
    play.workshop.write("dialects/village-model.toml", dialect);
    let rows = "place,day,warmest,coldest\nmill,2026-06-10,25.0,12.0\nquay,2026-06-10,19.0,11.0\n";
    play.workshop.write("forecast.csv", rows);
    let config = play.workshop.read("hatchbell.toml");
    let config = config
        .replace(
            "dialect = \"open-meteo-daily\", unit = \"celsius\"",
            "dialect = \"village-model\", code = \"quay\"",
        )
        .replace(
            "database = \"hatchbell.db\"",
            "database = \"hatchbell.db\"\ndialect_dir = \"dialects\"",
        );
    play.reconfigure(&config);
    play.cycle("2026-06-09T06:00:00Z").await;
    let forecast = forecast_on(&play, "2026-06-09").expect("a forecast");
    assert_eq!(forecast.days[&date("2026-06-10")].max, Some(19.0));
}

/// What a cycle logs, with the station's days up to 30 May (16 °C) and a forecast of these means from 31 May on.
async fn log_of_a_cycle(means: &[f64]) -> String {
    let rows: Vec<String> = date("2026-05-31")
        .iter_days()
        .zip(means)
        .map(|(day, mean)| format!("{day},{:.1},{:.1},0.0,18.0", mean + 6.0, mean - 6.0))
        .collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let mut play = play();
    play.workshop
        .write("forecast.csv", &file("wind_speed_10m_max (km/h)", &rows));
    let log = Arc::new(Mutex::new(Vec::new()));
    let into = Arc::clone(&log);
    let subscriber = tracing_subscriber::fmt()
        .with_ansi(false)
        .with_writer(move || Log(Arc::clone(&into)))
        .finish();
    let logging = tracing::subscriber::set_default(subscriber);
    play.cycle("2026-05-31T06:00:00Z").await;
    drop(logging);
    String::from_utf8(log.lock().unwrap().clone()).unwrap()
}

struct Log(Arc<Mutex<Vec<u8>>>);

impl std::io::Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[tokio::test]
async fn a_forecast_that_jumps_is_logged_with_the_day_when_it_arrives() {
    let said = |day: &str| format!("jumps by 15 °C or more to {day}");
    let log = log_of_a_cycle(&[18.0, 34.0, 34.0]).await;
    assert!(log.contains(&said("2026-06-01")), "{log}");
    let log = log_of_a_cycle(&[31.0, 31.0]).await;
    assert!(log.contains(&said("2026-05-31")), "{log}");
    let log = log_of_a_cycle(&[18.0, 30.0, 20.0]).await;
    assert!(log.contains("took in a forecast"), "{log}");
    assert!(!log.contains("jumps"), "{log}");
}
