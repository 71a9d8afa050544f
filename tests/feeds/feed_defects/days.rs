//! Days that are no days yet, or not the days they seem.

use super::feeds::{binding, date, take};
use super::{TODAY, pair, refusal, says, taken};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::observation_day::{DayShift, shifted};
use hatchbell::domain::weather::reading::newest_complete;
use hatchbell::station_feed::refusal::Why;

const KL: &str = "STATIONS_ID;MESS_DATUM;QN_4; RSK; TXK; TNK; TGK;eor\r\n";

#[test]
fn d08_placeholder_rows_and_blank_days_to_come_are_no_days() {
    let kl = binding("dwd-kl", Unit::Celsius);
    let text = format!(
        "{KL}        907;20260708;    1;   0.0;   24.1;   11.3;    9.0;eor\r\n        907;20260709;    1;-999;  -999;-999.0;  -999.000;eor\r\n"
    );
    let parsed = taken(&text, &kl);
    assert!(parsed.refused.is_empty());
    assert_eq!(newest_complete(&parsed.readings), Some(date("2026-07-08")));
    assert_eq!(parsed.readings.len(), 1);

    let blank = "\"Date/Time\",\"Max Temp (°C)\",\"Min Temp (°C)\"\r\n\"2026-07-08\",\"24.1\",\"11.3\"\r\n\"2026-12-31\",\"\",\"\"\r\n";
    let parsed = taken(blank, &binding("eccc-daily", Unit::Celsius));
    assert!(parsed.refused.is_empty());
    assert_eq!(parsed.readings.len(), 1);
}

#[test]
fn d09_a_minimum_above_the_maximum_refuses_that_day_alone() {
    let text = "\"Date/Time\",\"Max Temp (°C)\",\"Max Temp Flag\",\"Min Temp (°C)\",\"Min Temp Flag\"\r\n\
                \"2026-03-15\",\"-12.0\",\"\",\"5.0\",\"\"\r\n\"2026-03-16\",\"4.0\",\"E\",\"-2.0\",\"\"\r\n";
    let parsed = taken(text, &binding("eccc-daily", Unit::Celsius));
    assert_eq!(parsed.refused[0].why, Why::Swapped);
    assert_eq!(parsed.refused[0].line, 2);
    assert_eq!(pair(&parsed, "2026-03-16"), (Some(-2.0), Some(4.0)));
}

#[test]
fn d10_absent_days_blank_cells_and_codes_all_mean_no_value() {
    let text = "20260701\t250\t120\t0\n20260703\t\t\t\n20260704\t-9999\t-9999\t-9999\n20260705\t-9999\t110\t0\n";
    let parsed = taken(text, &binding("ghcn-extract", Unit::TenthsCelsius));
    assert!(parsed.refused.is_empty());
    let days: Vec<_> = parsed.readings.keys().copied().collect();
    assert_eq!(days, [date("2026-07-01"), date("2026-07-05")]);
    assert_eq!(pair(&parsed, "2026-07-05"), (Some(11.0), None));
}

#[test]
fn d13_a_code_for_no_value_in_a_decimal_column_is_no_temperature() {
    let celsius = binding("ncei-export", Unit::Celsius);
    for code in ["-9999", "-9999.0", "-9999.00", "9999", "9999.0"] {
        let text = format!("DATE,TMAX,TMIN\n2026-07-01,{code},17.2\n2026-07-02,24.0,12.0\n");
        let parsed = taken(&text, &celsius);
        assert_eq!(pair(&parsed, "2026-07-01"), (Some(17.2), None), "{code}");
        assert!(parsed.refused.is_empty(), "{code}");
    }
    // A code that the dialect does not know is caught by what air temperature can be.
    let parsed = taken("DATE,TMAX,TMIN\n2026-07-01,999.9,17.2\n", &celsius);
    assert_eq!(parsed.refused[0].why, Why::OutOfBounds);
}

#[test]
fn d22_values_of_several_days_are_refused_and_late_days_are_put_back() {
    let header = "Product code,Bureau of Meteorology station number,Year,Month,Day,Maximum temperature (Degree C),Days of accumulation of maximum temperature,Quality\n";
    let text = format!(
        "{header}ZZ10,099901,1996,06,29,17.1,1,Y\nZZ10,099901,1996,06,30,18.4,2,Y\nZZ10,099901,1996,07,01,,,\n"
    );
    let parsed = taken(&text, &binding("bom-one-extreme", Unit::Celsius));
    assert_eq!(pair(&parsed, "1996-06-29"), (None, Some(17.1)));
    assert_eq!(parsed.readings.len(), 1);
    let refused = &parsed.refused;
    assert_eq!((refused.len(), refused[0].line), (1, 3));
    assert_eq!(refused[0].why, Why::OtherKind);

    let text = "DATE,TMAX,TMIN\n2026-07-01,24.0,12.0\n2026-07-02,25.0,13.0\n";
    let parsed = taken(text, &binding("ncei-export", Unit::Celsius));
    let late = DayShift {
        max: true,
        min: false,
    };
    let days = shifted(DailyReadings::from(&parsed.readings), late);
    let first = days[&date("2026-07-01")];
    assert_eq!((first.min, first.max), (Some(12.0), Some(25.0)));
}

/// One extreme a row, the other in a row of its own: neither speaks against the other.
#[test]
fn d11_the_two_halves_of_a_pair_may_stand_in_two_rows() {
    let celsius = binding("ncei-export", Unit::Celsius);
    let header = "DATE,TMAX,TMIN\n";
    let halves = taken(
        &format!("{header}2026-07-01,24.0,\n2026-07-01,,12.0\n"),
        &celsius,
    );
    assert_eq!(pair(&halves, "2026-07-01"), (Some(12.0), Some(24.0)));
    assert!(halves.refused.is_empty(), "{:?}", halves.refused);
    // Halves that cannot be true together are no day.
    let swapped = taken(
        &format!("{header}2026-07-01,24.0,\n2026-07-01,,25.0\n"),
        &celsius,
    );
    assert_eq!(pair(&swapped, "2026-07-01"), (None, None));
    let refused = &swapped.refused[0];
    assert_eq!((refused.line, refused.why), (3, Why::Swapped));
}

/// Coordinates in a file are today's in every row, so they say nothing of a move; a station that goes
/// on elsewhere under another code does.
#[test]
fn d23_a_station_that_goes_on_under_another_code_is_not_taken_for_the_old_one() {
    let mut wide = binding("ghcn-access", Unit::TenthsCelsius);
    wide.code = Some("ZZI00000009".into());
    let row = |code: &str, latitude: &str, day: &str| {
        format!("{code},{day},{latitude},250,\",,1\",120,\",,1\"\n")
    };
    let header = "STATION,DATE,LATITUDE,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n";
    let moved = format!(
        "{header}{}{}",
        row("ZZI00000009", "41.1", "2026-07-01"),
        row("ZZI00000009", "41.3", "2026-07-02")
    );
    assert_eq!(taken(&moved, &wide).readings.len(), 2);
    let renamed = format!("{header}{}", row("ZZI00000010", "41.3", "2026-07-01"));
    says(
        &refusal(&renamed, &wide),
        &["holds ZZI00000010 but nothing of ZZI00000009", "code"],
    );
}

#[test]
fn d24_the_day_is_the_publisher_s_whatever_hours_it_has() {
    let swiss =
        "station_abbr;reference_timestamp;tre200dx;tre200dn\nZZA;01.07.2026 00:00;24.0;12.0\n";
    let parsed = taken(swiss, &binding("meteoswiss-daily", Unit::Celsius));
    assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
    // 9 to 9 o'clock: its maximum is put on the day before by the station's own setting.
    let british = "data\nob_end_time,ob_hour_count,max_air_temp,min_air_temp\n\
                   2025-07-01 09:00:00,24,24,12\n2025-07-01 21:00:00,12,26,13\n2025-07-02 09:00:00,24,25,13\nend data\n";
    let parsed = taken(british, &binding("midas-daily", Unit::Celsius));
    assert!(parsed.refused.is_empty());
    assert_eq!(pair(&parsed, "2025-07-01"), (Some(12.0), Some(24.0)));
}

#[test]
fn d25_the_span_is_read_from_the_rows_never_from_a_file_s_name() {
    let rows = format!(
        "{KL}        907;20170126;    1;   0.0;   4.1;   1.3;   0.0;eor\r\n        907;20170127;    1;   0.0;   3.1;   0.3;   0.0;eor\r\n"
    );
    let archive = super::feeds::zipped(&[
        ("Metadaten_Stationsname_00907.txt", b"not this one\n"),
        (
            "produkt_klima_tag_20150727_20170128_00907.txt",
            rows.as_bytes(),
        ),
    ]);
    let parsed = take(&archive, &binding("dwd-kl", Unit::Celsius), TODAY).unwrap();
    assert_eq!(newest_complete(&parsed.readings), Some(date("2017-01-27")));
}
