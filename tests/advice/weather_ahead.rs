//! What the weather ahead says, where a forecast feed is configured: in a plan and in what people are
//! told, as long as the forecast has not lapsed.

use crate::support::command::config_with_station;
use crate::support::engine::Play;
use serde_json::Value;

/// The demonstration's days up to a day, and the options of a site that treats every year.
fn garden(forecast: &str) -> Play {
    let origin = "file = \"days.csv\"\ncode = \"ZZI00000001\"\nforecast = { dialect = \"open-meteo-daily\", unit = \"celsius\", file = \"forecast.csv\" }";
    let choice = "latitude = 41.8\npreventives = \"every-year\"\noptions = [\"diamide\"]";
    let config = config_with_station(origin)
        .replace("ncei-export\"\nunit = \"celsius\"", "ghcn-access\"")
        .replace("latitude = 27.4", choice);
    let play = Play::new(&config);
    let days = include_str!("../../fixtures/demo/harbour-meadow.csv");
    let known = days
        .lines()
        .take_while(|row| !row.contains("\"2026-05-17\""));
    let known: String = known.map(|row| format!("{row}\n")).collect();
    play.workshop.write("days.csv", &known);
    play.workshop.write(
        "forecast.csv",
        &format!(
            "latitude,longitude\n41.8,-30.1\n\ntime,temperature_2m_max (°C),temperature_2m_min (°C),precipitation_sum (mm),wind_speed_10m_max (km/h)\n{forecast}"
        ),
    );
    play
}

const RAIN_ON_THURSDAY: &str = "2026-05-18,20.0,10.0,0.0,10.0\n2026-05-19,20.0,10.0,1.0,27.0\n2026-05-20,20.0,10.0,0.0,10.0\n2026-05-21,18.0,9.0,15.0,10.0\n";

fn plan(play: &Play, day: &str, form: &[&str]) -> String {
    let plan = ["plan", "lawn", "--config", "hatchbell.toml", "--date", day];
    play.workshop.succeeds(&[&plan, form].concat())
}

fn plan_json(play: &Play, day: &str) -> Value {
    serde_json::from_str(&plan(play, day, &["--json"])).expect("JSON")
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

const WORDS: &str = "Wind of up to 8 m/s is forecast for Tuesday 19 May: do not spray above about 4.5 m/s, granules drift less; Wednesday 20 May is calmer. About 15 mm of rain on Thursday 21 May would water in chlorantraniliprole: spread on Wednesday 20 May. If it does not come, irrigate. The forecast is a model's, of 18 May.";

#[tokio::test]
async fn a_plan_and_a_message_name_the_rain_that_will_water_an_application_in() {
    let mut play = garden(RAIN_ON_THURSDAY);
    play.cycle("2026-05-18T06:00:00Z").await;
    let text = flat(&plan(&play, "2026-05-18", &[]));
    assert!(text.contains(&format!("Weather: {WORDS}")), "{text}");
    let plan = plan_json(&play, "2026-05-18");
    let due = serde_json::json!({
        "option": "chlorantraniliprole", "day": "2026-05-21", "mm": 15.0, "spread_on": "2026-05-20"
    });
    assert_eq!(plan["rain_ahead"], due);
    assert_eq!(plan["weather"].as_array().map(Vec::len), Some(3));
    assert_eq!(plan["forecast"]["is_used"], true);
    let told = play.message("The lawn");
    assert!(
        told.contains("About 15 mm of rain on Thursday 21 May"),
        "{told}"
    );
}

#[tokio::test]
async fn a_forecast_that_has_lapsed_is_named_and_not_used() {
    let mut play = garden("2026-05-18,20.0,10.0,0.0,9.0\n2026-05-22,20.0,10.0,15.0,9.0\n");
    play.cycle("2026-05-18T06:00:00Z").await;
    assert_eq!(
        plan_json(&play, "2026-05-20")["rain_ahead"]["day"],
        "2026-05-22"
    );
    let lapsed = plan_json(&play, "2026-05-21");
    assert_eq!(lapsed["rain_ahead"], Value::Null);
    assert_eq!(lapsed["weather"], serde_json::json!([]));
    assert_eq!(lapsed["forecast"]["is_used"], false);
    let text = flat(&plan(&play, "2026-05-21", &[]));
    let due = "Weather: The newest forecast is of 18 May: too old, it is not used.";
    assert!(text.contains(due), "{text}");
    let before = flat(&plan(&play, "2026-05-16", &[]));
    assert!(
        !before.contains("Weather:"),
        "nobody knew it then: {before}"
    );
}

#[tokio::test]
async fn where_nothing_is_called_for_no_day_to_spread_is_named() {
    let mut play = garden(RAIN_ON_THURSDAY);
    play.cycle("2026-05-18T06:00:00Z").await;
    let config = play.workshop.read("hatchbell.toml");
    play.reconfigure(&config.replace("every-year", "never"));
    let plan = plan_json(&play, "2026-05-18");
    assert_eq!(plan["treat"], "nothing");
    assert_eq!(plan["rain_ahead"], Value::Null);
    assert_eq!(plan["weather"], serde_json::json!([]));
}
