//! Rain comes in with the temperatures, in millimetres, and what is wrong with it spoils nothing.

use crate::support::feeds::{binding, date, take};
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::rain::Rain;
use hatchbell::station_feed::refusal::Why;
use hatchbell::store::Store;

const TODAY: &str = "2026-07-10";

fn rain(dialect: &str, unit: Unit, text: &str) -> Rain {
    take(text.as_bytes(), &binding(dialect, unit), TODAY)
        .expect("this file must be taken")
        .rain
}

#[test]
fn every_built_in_dialect_with_rain_gives_millimetres() {
    let day = date("2026-07-01");
    let half_an_inch: Rain = [(day, 12.7)].into();
    let cases = [
        (
            "ghcn-access",
            Unit::TenthsCelsius,
            "STATION,DATE,PRCP,PRCP_ATTRIBUTES,TMAX,TMIN\nZZI00000009,2026-07-01,  127,\",,1,2400\",250,120\n",
        ),
        (
            "ghcn-long",
            Unit::TenthsCelsius,
            "ZZI00000009,20260701,PRCP,127,,,1,\nZZI00000009,20260701,TMAX,250,,,1,\nZZI00000009,20260701,TMIN,120,,,1,\n",
        ),
        (
            "ghcn-extract",
            Unit::TenthsCelsius,
            "20260701\t 250\t 120\t  127\n",
        ),
        (
            "ncei-export",
            Unit::Celsius,
            "STATION,DATE,PRCP,TMAX,TMIN\nZZI00000009,2026-07-01,12.7,25.0,12.0\n",
        ),
        (
            "ncei-export",
            Unit::Fahrenheit,
            "STATION,DATE,PRCP,TMAX,TMIN\nZZI00000009,2026-07-01,0.50,77,54\n",
        ),
        (
            "open-meteo-daily",
            Unit::Celsius,
            "latitude\n41\n\ntime,temperature_2m_max (°C),temperature_2m_min (°C),precipitation_sum (inch)\n2026-07-01,25.0,12.0,0.5\n",
        ),
        (
            "open-meteo-daily",
            Unit::Celsius,
            "latitude\n41\n\ntime,temperature_2m_max (°C),temperature_2m_min (°C),precipitation_sum (mm)\n2026-07-01,25.0,12.0,12.7\n",
        ),
    ];
    for (dialect, unit, text) in cases {
        assert_eq!(rain(dialect, unit, text), half_an_inch, "{dialect}, {unit}");
    }
}

#[test]
fn an_extract_may_lack_rain_of_a_day_or_altogether() {
    let four =
        "20260701\t 250\t 120\t    0\n20260702\t 250\t 120\t-9999\n20260703\t 250\t 120\t     \n";
    let extract = |text| rain("ghcn-extract", Unit::TenthsCelsius, text);
    assert_eq!(extract(four), [(date("2026-07-01"), 0.0)].into());
    assert!(extract("20260701\t250\t120\n").is_empty());
}

#[test]
fn a_day_without_an_amount_is_unknown_and_a_flagged_one_is_left_out() {
    let text = "STATION,DATE,PRCP,PRCP_ATTRIBUTES,TMAX,TMIN\n\
        ZZI00000009,2026-07-01,,,250,120\n\
        ZZI00000009,2026-07-02,900,\",I,1\",250,120\n\
        ZZI00000009,2026-07-03,0,\"T,,1\",250,120\n";
    let rain = rain("ghcn-access", Unit::TenthsCelsius, text);
    assert_eq!(rain, [(date("2026-07-03"), 0.0)].into());
}

#[test]
fn rain_that_cannot_be_is_reported_and_its_temperatures_are_kept() {
    let mut text = String::from("STATION,DATE,PRCP,TMAX,TMIN\n");
    for day in 1..=9 {
        text += &format!("ZZI00000009,2026-07-0{day},-1,25.0,12.0\n");
    }
    let parsed = take(
        text.as_bytes(),
        &binding("ncei-export", Unit::Celsius),
        TODAY,
    )
    .expect("wrong rain refuses no file");
    assert_eq!(parsed.readings.len(), 9);
    assert!(parsed.rain.is_empty());
    assert_eq!(parsed.refused.len(), 9);
    assert!(parsed.refused.iter().all(|row| row.why == Why::Rain));
}

#[test]
fn stored_rain_is_merged_and_a_changed_amount_replaces_the_old_one() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(&folder.path().join("h.db")).unwrap();
    let noon = "2026-07-04T12:00:00Z".parse().unwrap();
    let days =
        |days: &[(&str, f64)]| -> Rain { days.iter().map(|(day, mm)| (date(day), *mm)).collect() };
    store
        .merge_rain(
            "valley",
            &days(&[("2026-07-01", 3.0), ("2026-07-02", 0.0)]),
            noon,
        )
        .unwrap();
    store
        .merge_rain(
            "valley",
            &days(&[("2026-07-02", 5.0), ("2026-07-03", 1.0)]),
            noon,
        )
        .unwrap();
    assert_eq!(
        store.rain_since("valley", date("2026-07-02")).unwrap(),
        days(&[("2026-07-02", 5.0), ("2026-07-03", 1.0)])
    );
}
