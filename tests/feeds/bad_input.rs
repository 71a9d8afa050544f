//! What a feed can do wrong: each is refused with a reason that names line and remedy, or shows up
//! as a refused row, and nothing wrong gets through.

use crate::support::feeds::{binding, date, export_year, take, take_over};
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::station_feed::dialect::Binding;
use hatchbell::station_feed::refusal::Why;

const TODAY: &str = "2026-07-10";

fn export() -> Binding {
    binding("ncei-export", Unit::Celsius)
}

/// The message of a file that must be refused as a whole.
fn refusal(text: &str, binding: &Binding) -> String {
    take(text.as_bytes(), binding, TODAY)
        .expect_err("this file must be refused")
        .to_string()
}

/// The refused rows of a file that must be taken.
fn refused(text: &str, binding: &Binding) -> Vec<(u64, Why)> {
    take(text.as_bytes(), binding, TODAY)
        .expect("this file must be taken")
        .refused
        .iter()
        .map(|row| (row.line, row.why))
        .collect()
}

fn says(message: &str, words: &[&str]) {
    for word in words {
        assert!(message.contains(word), "{message:?} does not say {word:?}");
    }
}

#[test]
fn a_web_page_with_status_200_is_refused() {
    let page = "<!DOCTYPE html>\n<html><body>Please log in</body></html>\n";
    says(
        &refusal(page, &export()),
        &["line 1", "web page", "<!DOCTYPE html>", "browser"],
    );
}

#[test]
fn an_error_text_with_status_200_is_refused_and_quoted() {
    let text = "ERROR: unknown station\n";
    says(
        &refusal(text, &export()),
        &["an error message: ERROR: unknown station", "code"],
    );
}

#[test]
fn json_an_archive_and_binary_are_refused() {
    says(
        &refusal("{\"error\": 1}\n", &export()),
        &["JSON", "format=csv"],
    );
    says(&refusal("PK\u{3}\u{4}…\n", &export()), &["zip", "unpack"]);
    says(&refusal("DATE\0TMAX\n", &export()), &["binary"]);
}

#[test]
fn an_empty_body_is_refused() {
    for body in ["", "\n", "  \n\n", "\u{feff}"] {
        says(&refusal(body, &export()), &["empty", "check the address"]);
    }
}

#[test]
fn a_header_alone_is_refused() {
    says(
        &refusal("\"STATION\",\"DATE\",\"TMAX\",\"TMIN\"\n", &export()),
        &["no rows", "station's code"],
    );
}

#[test]
fn a_header_without_the_columns_names_what_it_wants_and_what_there_is() {
    let text = "STATION,DATE,PRCP,TMAX\nZZI00000009,2026-07-01,0,25.0\n";
    says(
        &refusal(text, &export()),
        &[
            "line 1",
            "daily minimum (TMIN)",
            "STATION, DATE, PRCP, TMAX",
            "dialect",
        ],
    );
}

#[test]
fn a_file_cut_in_mid_line_is_refused() {
    let whole = "DATE,TMAX,TMIN\n2026-07-01,25.0,12.0\n2026-07-02,26.0,12.5\n";
    assert!(take(whole.as_bytes(), &export(), TODAY).is_ok());
    for cut in whole.len() - 20..whole.len() {
        let text = &whole[..cut];
        if !text.ends_with('\n') {
            says(
                &refusal(text, &export()),
                &["line 3", "mid-line", "asked for again"],
            );
        }
    }
}

/// Without the check a cut through a number would pass: `12.5` becomes `12.` or `1`.
#[test]
fn a_number_cut_in_half_does_not_get_through() {
    let text = "DATE,TMAX,TMIN\n2026-07-01,25.0,12.0\n2026-07-02,26.0,1";
    says(&refusal(text, &export()), &["cut off"]);
}

#[test]
fn a_short_last_row_is_a_file_that_was_cut_off() {
    let text = "DATE,TMAX,TMIN\n2026-07-01,25.0,12.0\n2026-07-02,26.0\n";
    says(&refusal(text, &export()), &["line 3", "2 of 3 fields"]);
}

#[test]
fn a_monthly_file_is_told_from_a_daily_one() {
    let text =
        "\"STATION\",\"DATE\",\"TMAX\",\"TMIN\"\n\"ZZI00000009\",\"2026-05\",\"24.1\",\"11.0\"\n";
    says(&refusal(text, &export()), &["line 2", "2026-05", "monthly"]);
}

#[test]
fn an_hourly_file_is_told_from_a_daily_one() {
    let text = "STATION,DATE,TMAX,TMIN\nZZI00000009,2026-05-01T03:00:00,24.1,11.0\n";
    says(&refusal(text, &export()), &["line 2", "hourly"]);
}

#[test]
fn a_file_of_normals_is_told_from_a_daily_one() {
    let text = "STATION,DATE,TMAX,TMIN\nZZI00000009,05-01,24.1,11.0\n";
    says(&refusal(text, &export()), &["line 2", "normals"]);
}

#[test]
fn a_minimum_above_the_maximum_is_refused_with_its_line() {
    let text = "DATE,TMAX,TMIN\n2026-07-01,25.0,12.0\n2026-07-02,12.5,26.0\n";
    assert_eq!(refused(text, &export()), [(3, Why::Swapped)]);
    let parsed = take(text.as_bytes(), &export(), TODAY).unwrap();
    assert!(!parsed.readings.contains_key(&date("2026-07-02")));
}

#[test]
fn a_swapped_pair_in_long_rows_is_refused_with_the_line_that_shows_it() {
    let long = binding("ghcn-long", Unit::TenthsCelsius);
    let text = "ZZI00000009,20260701,TMAX,120,,,Z,\nZZI00000009,20260701,TMIN,260,,,Z,\n\
                ZZI00000009,20260702,TMAX,250,,,Z,\nZZI00000009,20260702,TMIN,130,,,Z,\n";
    assert_eq!(refused(text, &long), [(2, Why::Swapped)]);
}

#[test]
fn declared_sentinels_are_missing_values() {
    let text = "DATE,TMAX,TMIN\n2026-07-01,25.0,-9999\n2026-07-02,NA,12.0\n2026-07-03,,\n2026-07-04,-9999.0,9999\n";
    let parsed = take(text.as_bytes(), &export(), TODAY).unwrap();
    assert!(parsed.refused.is_empty(), "{:?}", parsed.refused);
    assert_eq!(parsed.readings.len(), 2);
    assert_eq!(parsed.readings[&date("2026-07-01")].min, None);
    assert_eq!(parsed.readings[&date("2026-07-02")].max, None);
}

#[test]
fn a_lone_wild_value_is_refused_and_the_rest_is_kept() {
    for wild in ["999.9", "-99.9", "1e9"] {
        let text = format!("DATE,TMAX,TMIN\n2026-07-01,{wild},12.0\n2026-07-02,26.0,12.5\n");
        assert_eq!(refused(&text, &export()), [(2, Why::OutOfBounds)]);
        let parsed = take(text.as_bytes(), &export(), TODAY).unwrap();
        assert_eq!(parsed.readings[&date("2026-07-01")].max, None);
        assert_eq!(parsed.readings[&date("2026-07-02")].max, Some(26.0));
    }
}

#[test]
fn undeclared_sentinels_all_over_are_refused_with_a_remedy() {
    let text = export_year(2025, |c| format!("{c:.1}")).replace("\"25", "\"999");
    says(
        &refusal(&text, &export()),
        &["no air temperatures", "no value"],
    );
}

#[test]
fn what_is_no_number_is_refused() {
    let text = "DATE,TMAX,TMIN\n2026-07-01,NaN,12.0\n2026-07-02,inf,12.5\n2026-07-03,2O.5,12.5\n2026-07-04,26.0,12.5\n";
    let lines = refused(text, &export());
    assert_eq!(
        lines,
        [
            (2, Why::NotANumber),
            (3, Why::NotANumber),
            (4, Why::NotANumber)
        ]
    );
}

#[test]
fn a_unit_slip_is_refused_whichever_way_it_goes() {
    let celsius = |c: f64| format!("{c:.1}");
    let whole_celsius = |c: f64| format!("{c:.0}");
    let fahrenheit = |c: f64| format!("{:.0}", c * 1.8 + 32.0);
    let tenths = |c: f64| format!("{:.0}", c * 10.0);
    let cases: [(String, Unit); 7] = [
        (export_year(2025, fahrenheit), Unit::Celsius),
        (export_year(2025, tenths), Unit::Celsius),
        (export_year(2025, celsius), Unit::Fahrenheit),
        (export_year(2025, tenths), Unit::Fahrenheit),
        (export_year(2025, celsius), Unit::TenthsCelsius),
        (export_year(2025, whole_celsius), Unit::TenthsCelsius),
        (export_year(2025, fahrenheit), Unit::TenthsCelsius),
    ];
    for (index, (text, unit)) in cases.iter().enumerate() {
        let message = refusal(text, &binding("ncei-export", *unit));
        says(&message, &["check the station's unit", unit.name()]);
        println!("case {index}: {message}");
    }
    for (text, unit) in [
        (export_year(2025, celsius), Unit::Celsius),
        (export_year(2025, fahrenheit), Unit::Fahrenheit),
        (export_year(2025, tenths), Unit::TenthsCelsius),
    ] {
        let parsed = take(text.as_bytes(), &binding("ncei-export", unit), TODAY).unwrap();
        assert_eq!(parsed.readings.len(), 365);
        assert!(parsed.refused.is_empty());
    }
}

/// A few winter weeks in the wrong unit look possible by themselves; the stored days give them
/// away.
#[test]
fn a_unit_that_changes_in_mid_life_is_refused_against_the_stored_days() {
    let stored = take(
        export_year(2025, |c| format!("{c:.1}")).as_bytes(),
        &export(),
        TODAY,
    )
    .unwrap()
    .readings;
    let whole = export_year(2025, |c| format!("{:.0}", c * 1.8 + 32.0));
    let three_weeks: Vec<&str> = whole.lines().take(22).collect();
    let text = three_weeks.join("\n") + "\n";
    assert!(take(text.as_bytes(), &export(), TODAY).is_ok());
    let message = take_over(text.as_bytes(), &export(), TODAY, &stored)
        .unwrap_err()
        .to_string();
    says(
        &message,
        &[
            "read as fahrenheit it agrees with what is stored",
            "changed its unit",
        ],
    );
}

#[test]
fn a_failed_quality_flag_refuses_the_value_and_an_unknown_source_flag_does_not() {
    let access = binding("ghcn-access", Unit::TenthsCelsius);
    let text = "\"STATION\",\"DATE\",\"TMAX\",\"TMAX_ATTRIBUTES\",\"TMIN\",\"TMIN_ATTRIBUTES\"\n\
        \"ZZI00000009\",\"2026-07-01\",\"  250\",\",I,1,2400\",\"  120\",\",,1,2400\"\n\
        \"ZZI00000009\",\"2026-07-02\",\"  260\",\",,?\",\"  125\",\",,Z,null\"\n\
        \"ZZI00000009\",\"2026-07-03\",\"  -17\",\"H,,ü\",\"  -25\",,\n";
    // The last row has one field too many, as happens with a stray comma.
    let text = text.replace(",,\n", ",\n");
    assert_eq!(refused(&text, &access), [(2, Why::Flagged)]);
    let parsed = take(text.as_bytes(), &access, TODAY).unwrap();
    assert_eq!(parsed.readings[&date("2026-07-01")].max, None);
    assert_eq!(parsed.readings[&date("2026-07-02")].max, Some(26.0));
    assert_eq!(parsed.readings[&date("2026-07-03")].min, Some(-2.5));
}

#[test]
fn a_row_of_another_width_in_the_middle_is_refused_alone() {
    let text =
        "DATE,TMAX,TMIN\n2026-07-01,25.0,12.0,extra\n2026-07-02,26.0\n2026-07-03,26.0,12.5\n";
    assert_eq!(refused(text, &export()), [(2, Why::Width), (3, Why::Width)]);
}

#[test]
fn a_date_in_the_future_is_refused() {
    let text = "DATE,TMAX,TMIN\n2026-07-09,25.0,12.0\n2026-07-13,26.0,12.0\n2026-07-14,,\n";
    assert_eq!(refused(text, &export()), [(3, Why::Future)]);
}

#[test]
fn a_day_that_comes_twice_keeps_its_first_values() {
    let text = "DATE,TMAX,TMIN\n2026-07-01,25.0,12.0\n2026-07-01,25.0,12.0\n2026-07-01,29.0,12.0\n";
    assert_eq!(refused(text, &export()), [(4, Why::Twice)]);
    let parsed = take(text.as_bytes(), &export(), TODAY).unwrap();
    assert_eq!(parsed.readings[&date("2026-07-01")].max, Some(25.0));
}

#[test]
fn a_file_of_several_stations_needs_a_code() {
    let text = "STATION,DATE,TMAX,TMIN\nA1,2026-07-01,25.0,12.0\nGHCND:B2,2026-07-01,20.0,10.0\n";
    says(
        &refusal(text, &export()),
        &["line 3", "several stations (A1, B2)", "code ="],
    );
    let mut for_b2 = export();
    for_b2.code = Some("B2".into());
    let parsed = take(text.as_bytes(), &for_b2, TODAY).unwrap();
    assert_eq!(parsed.readings[&date("2026-07-01")].max, Some(20.0));
    for_b2.code = Some("C3".into());
    says(&refusal(text, &for_b2), &["nothing of C3", "code"]);
}

#[test]
fn a_byte_order_mark_dos_line_ends_and_latin_1_do_no_harm() {
    let text = b"\xef\xbb\xbfDATE,TMAX,TMIN,NOTE\r\n2026-07-01,25.0,12.0,25 \xb0C\r\n";
    let parsed = take(text, &export(), TODAY).unwrap();
    assert_eq!(parsed.readings[&date("2026-07-01")].min, Some(12.0));
}

#[test]
fn a_spreadsheet_copy_is_read() {
    let access = binding("ghcn-access", Unit::TenthsCelsius);
    let text = "STATION,DATE,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n\
        ZZI00000009,2026/7/1,250,\",,1\",120,\",,1\"\n";
    let parsed = take(text.as_bytes(), &access, TODAY).unwrap();
    assert_eq!(parsed.readings[&date("2026-07-01")].max, Some(25.0));
}

#[test]
fn long_rows_come_with_and_without_a_header_and_with_columns_behind() {
    let long = binding("ghcn-long", Unit::TenthsCelsius);
    let rows = "ZZI00000009,20260701,TMAX,250,,,Z,2400\nZZI00000009,20260701,TMIN,130,,,Z,2400\n";
    let headed = format!("ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\n{rows}");
    let wide = format!(
        "ID,YEAR/MONTH/DAY,ELEMENT,DATA VALUE,M-FLAG,Q-FLAG,S-FLAG,OBS-TIME,NAME\n{}",
        rows.replace("2400", "2400,\"SOMEWHERE, ZZ\"")
    );
    let plain = take(rows.as_bytes(), &long, TODAY).unwrap().readings;
    assert_eq!(plain.len(), 1);
    for text in [headed, wide] {
        assert_eq!(take(text.as_bytes(), &long, TODAY).unwrap().readings, plain);
    }
}

// --- a forecast's file --------------------------------------------------------------------------

const FORECAST: &str = "latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation\n\
    41.8,-30.1,212.0,0,GMT,GMT\n\n\
    time,temperature_2m_max (°C),temperature_2m_min (°C)\n\
    2026-07-09,25.0,12.0\n2026-07-10,26.0,\n2026-07-11,27.0,13.0\n";

fn forecast() -> Binding {
    binding("open-meteo-daily", Unit::Celsius)
}

#[test]
fn lines_before_the_header_are_passed_over_and_line_numbers_stay_the_file_s() {
    let parsed = take(FORECAST.as_bytes(), &forecast(), TODAY).unwrap();
    assert_eq!(parsed.readings.len(), 3);
    assert_eq!(parsed.readings[&date("2026-07-10")].min, None);
    let wild = FORECAST.replace("27.0", "999");
    assert_eq!(refused(&wild, &forecast()), [(7, Why::OutOfBounds)]);
    let cut = FORECAST.replace("2026-07-11,27.0,13.0\n", "2026-07-11,27");
    says(&refusal(&cut, &forecast()), &["line 7", "cut off"]);
}

#[test]
fn a_file_without_the_header_line_is_refused() {
    let text = FORECAST.replace("time,temperature", "hour,temperature");
    says(
        &refusal(&text, &forecast()),
        &[
            "line 1",
            "no line starts with the header's time",
            "latitude",
        ],
    );
}

#[test]
fn what_the_header_lacks_is_told_with_the_header_s_own_line() {
    // A line end of DOS, and one more empty line before the header.
    let text = FORECAST
        .replace("_max", "_mean")
        .replace("GMT\n\n", "GMT\r\n\r\n\r\n");
    says(
        &refusal(&text, &forecast()),
        &["line 5", "no column for the daily maximum", "_mean"],
    );
}

#[test]
fn a_forecast_file_that_goes_on_with_hourly_values_is_refused() {
    let hours = "\ntime,temperature_2m (°C)\n2026-07-09T00:00,14.1\n";
    says(
        &refusal(&format!("{FORECAST}{hours}"), &forecast()),
        &["line 9", "daily values only"],
    );
}

/// Its rows have dates and as many fields, so nothing else would tell them from temperatures.
#[test]
fn another_table_below_an_empty_line_is_refused_and_not_taken_for_more_rows() {
    let snow = "\nday,snowfall_sum (cm),rain_sum (mm)\n2026-07-09,9.0,0.0\n";
    says(
        &refusal(&format!("{FORECAST}{snow}"), &forecast()),
        &["line 9", "day,snowfall_sum", "daily values only"],
    );
    // Empty lines under the header and at the end are no second table.
    let airy = format!("{}\n\n", FORECAST.replace("min (°C)\n", "min (°C)\n\n"));
    let parsed = take(airy.as_bytes(), &forecast(), TODAY).unwrap();
    assert_eq!(parsed.readings.len(), 3);
}

/// An answer for several places has `location_id` before the time.
#[test]
fn a_forecast_file_of_several_places_in_one_table_is_refused() {
    let text = "location_id,latitude,longitude\n0,41.8,-30.1\n1,41.9,-30.1\n\n\
        location_id,time,temperature_2m_max (°C),temperature_2m_min (°C)\n\
        0,2026-07-09,25.0,12.0\n1,2026-07-09,24.0,11.0\n";
    says(
        &refusal(text, &forecast()),
        &["line 1", "no line starts", "location_id,latitude"],
    );
}

#[test]
fn a_file_of_several_places_is_refused() {
    says(
        &refusal(&FORECAST.repeat(2), &forecast()),
        &["line 11", "several places", "one place"],
    );
}

#[test]
fn a_unit_named_in_the_header_must_be_the_bound_one() {
    let fahrenheit = FORECAST.replace("(°C)", "(°F)");
    says(
        &refusal(&fahrenheit, &forecast()),
        &["header says fahrenheit", "bound to celsius"],
    );
    let bound = binding("open-meteo-daily", Unit::Fahrenheit);
    assert!(take(fahrenheit.as_bytes(), &bound, TODAY).is_ok());
    // One of the two columns is enough, however it is spelled.
    let mixed = FORECAST.replace("min (°C)", "min (°f)");
    says(
        &refusal(&mixed, &forecast()),
        &["line 4", "header says fahrenheit"],
    );
}

/// A service that is only weeks old has no year and no stored days to tell a unit by.
#[test]
fn a_few_weeks_in_a_wrong_unit_are_refused_by_the_month_and_the_latitude() {
    let weeks = |text: String, skip: usize| -> String {
        let head = text.lines().take(1);
        let rows = text.lines().skip(1 + skip).take(25);
        head.chain(rows)
            .map(|line| line.to_owned() + "\n")
            .collect()
    };
    let at = |unit, latitude| Binding {
        latitude: Some(latitude),
        ..binding("ncei-export", unit)
    };
    let fahrenheit = |c: f64| format!("{:.0}", c * 1.8 + 32.0);
    let celsius = |c: f64| format!("{c:.1}");
    let winter = weeks(export_year(2025, fahrenheit), 0);
    says(
        &refusal(&winter, &at(Unit::Celsius, 43.0)),
        &["no winter", "read as fahrenheit they fit", "set unit"],
    );
    assert!(take(winter.as_bytes(), &at(Unit::Fahrenheit, 43.0), TODAY).is_ok());
    let summer = weeks(export_year(2025, celsius), 180);
    says(
        &refusal(&summer, &at(Unit::Fahrenheit, 43.0)),
        &["no summer", "read as celsius they fit", "set unit"],
    );
    assert!(take(summer.as_bytes(), &at(Unit::Celsius, 43.0), TODAY).is_ok());
    // In the south July is winter.
    says(&refusal(&summer, &at(Unit::Celsius, -43.0)), &["no winter"]);
}

/// A spreadsheet or a slip of the publisher; a day of the year 26 would be stored for ever.
#[test]
fn a_date_before_any_thermometer_is_refused() {
    let text = "DATE,TMAX,TMIN\n0026-06-30,25.0,12.0\n2026-07-01,26.0,12.5\n";
    assert_eq!(refused(text, &export()), [(2, Why::Date)]);
}

#[test]
fn what_is_quoted_of_a_file_cannot_command_a_terminal() {
    let page = "\u{1b}[2J\u{7},b\n1,2\n";
    let message = refusal(page, &export());
    assert!(!message.contains(char::is_control), "{message:?}");
    says(&message, &["\u{fffd}[2J\u{fffd}, b"]);

    let row = "DATE,TMAX,TMIN\n2026-07-01,\u{1b}c,12.5\n";
    let taken = take(row.as_bytes(), &export(), TODAY).expect("one row is refused alone");
    assert_eq!(taken.refused[0].field, "\u{fffd}c");
}

#[test]
fn what_is_quoted_of_a_file_is_cut_where_it_is_too_long() {
    let long = "x".repeat(60_000);
    let several = format!("STATION,DATE,TMAX,TMIN\na,2026-07-01,9,8\n{long},2026-07-01,9,8\n");
    assert!(refusal(&several, &export()).chars().count() < 600);

    let row = format!("DATE,TMAX,TMIN\n2026-07-01,{long},12.5\n");
    let taken = take(row.as_bytes(), &export(), TODAY).expect("one row is refused alone");
    assert_eq!(taken.refused[0].field.chars().count(), 101);
}
