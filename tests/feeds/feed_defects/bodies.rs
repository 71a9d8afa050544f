//! Files that are not laid out as they were, or not at all.

use super::feeds::{binding, take};
use super::{TODAY, pair, refusal, says, taken};
use hatchbell::domain::weather::extremes::Unit;

/// Order, names of other columns, quoting, the prefix of the code and the form of the date all
/// changed under one address; the columns that are read did not.
#[test]
fn d14_columns_are_found_by_name_through_every_change_around_them() {
    let celsius = binding("ncei-export", Unit::Celsius);
    let bodies = [
        "STATION,STATION_NAME,DATE,PRCP,TMAX,TMIN,AWND\nGHCND:ZZI00000009,HILL,20260701,0.0,24.0,12.0,3\n",
        "\"STATION\",\"NAME\",\"DATE\",\"AWND\",\"TMIN\",\"TMAX\"\n\"ZZI00000009\",\"HILL, ZZ\",\"2026-07-01\",\"3\",\"12.0\",\"24.0\"\n",
        "date,tmax,tmin\n2026-07-01,24.0,12.0\n",
    ];
    for body in bodies {
        assert_eq!(
            pair(&taken(body, &celsius), "2026-07-01"),
            (Some(12.0), Some(24.0)),
            "{body}"
        );
    }
    says(
        &refusal("DATE,T_HIGH,T_LOW\n2026-07-01,24.0,12.0\n", &celsius),
        &["daily maximum (TMAX)", "T_HIGH, T_LOW"],
    );
}

#[test]
fn d15_byte_order_marks_latin_1_and_carriage_returns_are_read() {
    let rows =
        "\"Date/Time\",\"Max Temp (°C)\",\"Min Temp (°C)\"\r\n\"2026-07-01\",\"24.0\",\"12.0\"\r\n";
    let marked = format!("\u{feff}{rows}");
    let latin: Vec<u8> = rows.chars().map(|c| u32::from(c) as u8).collect();
    assert!(std::str::from_utf8(&latin).is_err());
    let eccc = binding("eccc-daily", Unit::Celsius);
    for body in [marked.as_bytes(), &latin] {
        let parsed = take(body, &eccc, TODAY).unwrap();
        assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
    }
}

#[test]
fn d16_lines_above_the_header_may_be_any_number_and_a_header_may_start_with_a_hash() {
    let above: [&str; 3] = [
        "",
        "Station Name,HILL\n\nLegend\n\"M\",\"Missing\"\n",
        &"text, and more of it\n".repeat(50),
    ];
    for lines in above {
        let old = format!(
            "{lines}\"Date/Time\",\"Max Temp (°C)\",\"Min Temp (°C)\"\n\"2026-07-01\",\"24.0\",\"12.0\"\n"
        );
        let parsed = taken(&old, &binding("eccc-daily", Unit::Celsius));
        assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
        let hash = format!(
            "{lines}\r\n# STN,YYYYMMDD,   TN,   TX,   RH\r\n\r\n  999,20260701,  120,  240,   -1\r\n  999,20260702,     ,     ,     \r\n"
        );
        let parsed = taken(&hash, &binding("knmi-daily", Unit::TenthsCelsius));
        assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
        assert_eq!(parsed.rain.values().copied().collect::<Vec<_>>(), [0.0]);
        assert!(parsed.refused.is_empty(), "{:?}", parsed.refused);
    }
}

#[test]
fn d17_commas_in_quoted_names_are_read_and_broken_quotes_do_no_harm() {
    let celsius = binding("ncei-export", Unit::Celsius);
    let text = "\"STATION\",\"NAME\",\"DATE\",\"TMAX\",\"TMIN\"\n\
        \"ZZI00000009\",\"HILL, ZZ\",\"2026-07-01\",\"24.0\",\"12.0\"\n\
        \"ZZI00000009\",\"HILL ZZ\"\"    \",\"2026-07-02\",\"25.0\",\"13.0\"\n";
    let parsed = taken(text, &celsius);
    assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
    assert_eq!(pair(&parsed, "2026-07-02"), (Some(13.0), Some(25.0)));
    // A quote that never ends takes the rest of the file for a name.
    let open =
        "STATION,NAME,DATE,TMAX,TMIN\nZ,\"HILL,2026-07-01,24.0,12.0\nZ,HILL,2026-07-02,25.0,13.0\n";
    says(&refusal(open, &celsius), &["line 2", "a quote is opened"]);
}

#[test]
fn d19_a_header_alone_is_refused_and_a_blank_year_brings_nothing() {
    let eccc = binding("eccc-daily", Unit::Celsius);
    let header = "\"Date/Time\",\"Max Temp (°C)\",\"Min Temp (°C)\"\n";
    says(&refusal(header, &eccc), &["no rows", "code"]);
    let days = days_from("1928-01-01", 366);
    let year = days.iter().fold(header.to_owned(), |text, day| {
        text + &format!("\"{day}\",\"\",\"\"\n")
    });
    let parsed = taken(&year, &eccc);
    assert_eq!((parsed.rows, parsed.readings.len()), (366, 0));
}

fn days_from(from: &str, count: u64) -> Vec<chrono::NaiveDate> {
    let from = super::feeds::date(from);
    (0..count).map(|n| from + chrono::Days::new(n)).collect()
}

#[test]
fn d20_unknown_flags_null_and_trailing_commas_refuse_nothing() {
    let wide = binding("ghcn-access", Unit::TenthsCelsius);
    let header = "STATION,DATE,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n";
    for flags in [
        ",,Z,null", ",,Z,", ",,1,2400", ",,2", ",,?", "", "B,,W", ",null,Z",
    ] {
        let text = format!("{header}ZZI00000009,2026-07-01,240,\"{flags}\",120,\"{flags}\"\n");
        let parsed = taken(&text, &wide);
        assert!(parsed.refused.is_empty(), "{flags}: {:?}", parsed.refused);
        assert_eq!(parsed.readings.len(), 1);
    }
}

#[test]
fn d28_a_file_that_went_through_a_spreadsheet_is_read() {
    let text = "\u{feff}STATION,DATE,NAME,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\r\n\
        ZZI00000009,2026/6/29,\"HILL, ZZ\",211,\",,1\",150,\",,1\"\r\n\
        ZZI00000009,2026/7/1,\"HILL, ZZ\",240,\",,1\",120,\",,1\"\r\n";
    let parsed = taken(text, &binding("ghcn-access", Unit::TenthsCelsius));
    assert_eq!(pair(&parsed, "2026-06-29"), (Some(15.0), Some(21.1)));
    assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
    let canadian = "\"Date/Time\",\"Max Temp (°C)\",\"Min Temp (°C)\"\r\n2026/7/1,24,12\r\n";
    let parsed = taken(canadian, &binding("eccc-daily", Unit::Celsius));
    assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
}

#[test]
fn d28_a_file_that_a_spreadsheet_saved_in_another_form_says_in_which() {
    let celsius = binding("ncei-export", Unit::Celsius);
    let text = "DATE;TMAX;TMIN\r\n01.07.2026;24,0;12,0\r\n";
    says(
        &refusal(text, &celsius),
        &["separated by semicolons", "delimiter"],
    );
    let wide: Vec<u8> = "\u{feff}DATE,TMAX,TMIN\n"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    let refused = take(&wide, &celsius, TODAY).unwrap_err().to_string();
    says(&refused, &["UTF-16", "CSV in UTF-8"]);
}

#[test]
fn d29_monthly_hourly_and_normal_files_of_the_same_name_are_refused() {
    let celsius = binding("ncei-export", Unit::Celsius);
    let file = |date: &str| format!("STATION,DATE,TMAX,TMIN\nZZI00000009,{date},24.0,12.0\n");
    for (date, due) in [
        ("1869-01", "monthly file"),
        ("01-01", "long-term normals"),
        ("2026-07-01T00:51:00", "hourly file"),
        ("2026-07-01 00:51", "hourly file"),
    ] {
        says(&refusal(&file(date), &celsius), &["line 2", due, "daily"]);
    }
}
