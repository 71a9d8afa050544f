//! `hatchbell feed try`: what a file is, without a configuration.

use crate::support::command::{Workshop, both, config_with_station};
use crate::support::feeds;
use crate::support::http_server::{Reply, ScriptedServer};
use flate2::{Compression, write::GzEncoder};
use hatchbell::config::load::from_text;
use std::io::Write;

/// Puts the bytes into a file and tries it.
fn tried(name: &str, bytes: &[u8], more: &[&str]) -> String {
    let workshop = Workshop::new();
    let path = workshop.path(name);
    std::fs::write(&path, bytes).expect("the folder takes it");
    workshop.succeeds(&[&["feed", "try", path.to_str().unwrap()], more].concat())
}

/// What is printed of a file that nothing can be made of.
fn failed(bytes: &[u8], more: &[&str]) -> String {
    let workshop = Workshop::new();
    let path = workshop.path("a.csv");
    std::fs::write(&path, bytes).expect("the folder takes it");
    let output = workshop.run(&[&["feed", "try", path.to_str().unwrap()], more].concat());
    assert!(!output.status.success(), "{}", both(&output));
    assert!(output.stdout.is_empty(), "{}", both(&output));
    String::from_utf8(output.stderr).unwrap()
}

fn says(printed: &str, words: &[&str]) {
    for word in words {
        assert!(printed.contains(word), "{word:?} is not in:\n{printed}");
    }
}

/// The suggested block stands in a whole configuration and loads.
fn loads(printed: &str) {
    let (_, block) = printed.split_once("\n\n[[station]]").expect("a block");
    let block: String = format!("[[station]]{block}")
        .lines()
        .map(|line| {
            if line.starts_with("id = ") {
                "id = \"only\""
            } else {
                line
            }
        })
        .fold(String::new(), |text, line| text + line + "\n");
    let whole = config_with_station("file = \"x\"");
    let (before, rest) = whole.split_once("[[station]]").unwrap();
    let (_, after) = rest.split_once("[[member]]").unwrap();
    let text = format!("{before}{block}\n[[member]]{after}");
    let loaded = from_text("hatchbell.toml", &text, std::path::Path::new("/"));
    assert!(loaded.is_ok(), "{:?}\n{text}", loaded.err());
}

#[test]
fn an_export_s_unit_is_guessed_and_the_reasons_are_given() {
    let year = feeds::export_year(2025, |celsius| format!("{:.0}", celsius * 1.8 + 32.0));
    let printed = tried("hill.csv", year.as_bytes(), &[]);
    says(
        &printed,
        &[
            "dialect      ncei-export",
            "maximum TMAX, minimum TMIN",
            "unit         fahrenheit",
            "not celsius: ",
            "no air temperatures when read as celsius",
            "not tenths-celsius: ",
            "station      ZZI00000009",
            "2025-01-01 to 2025-12-31: 365 days with both extremes, 0 with one, 0 missing",
            "newest day   2025-12-31",
            "refused      nothing",
            "unit = \"fahrenheit\"",
            "code = \"ZZI00000009\"",
            "hill.csv\"",
        ],
    );
    loads(&printed);
    let told = tried("hill.csv", year.as_bytes(), &["--unit", "fahrenheit"]);
    assert!(!told.contains("not celsius"), "{told}");
}

#[test]
fn a_unit_that_cannot_be_told_from_a_few_days_is_left_open() {
    let text = "DATE,TMAX,TMIN\n2026-03-01,24,12\n2026-03-02,25,13\n";
    let printed = tried("few.csv", text.as_bytes(), &["--dialect", "ncei-export"]);
    says(
        &printed,
        &[
            "unit         celsius",
            "fahrenheit is possible too",
            "# not sure",
        ],
    );
    loads(&printed);
}

#[test]
fn a_german_archive_is_recognised_and_refused_rows_are_shown_with_their_lines() {
    let mut rows = String::from("STATIONS_ID;MESS_DATUM;QN_4; RSK; TXK; TNK; TGK;eor\r\n");
    for day in 1..=9 {
        rows +=
            &format!("        907;2026060{day};    3;   0.4;   24.{day};   11.3;    9.0;eor\r\n");
    }
    rows += "        907;20260611;    1;   0.0;   10.0;   11.3;    9.0;eor\r\n        907;20260612;    1;   0.0;-999.0;-999;-999;eor\r\n";
    let bytes = feeds::zipped(&[
        ("Metadaten_Geographie_00907.txt", b"a;b\n"),
        (
            "produkt_klima_tag_20250101_20260612_00907.txt",
            rows.as_bytes(),
        ),
    ]);
    let printed = tried("tageswerte.zip", &bytes, &[]);
    says(
        &printed,
        &[
            "dialect      dwd-kl",
            "2026-06-01 to 2026-06-09: 9 days with both extremes",
            "the minimum exceeds the maximum: line 11 (2026-06-11: 11.3 and 10.0 °C)",
            "usual_lag_days = 2",
            "# the recent archive",
        ],
    );
    loads(&printed);
}

#[test]
fn a_zipped_up_department_lists_its_stations_and_one_is_chosen_by_its_code() {
    let mut rows = String::from("NUM_POSTE;NOM_USUEL;AAAAMMJJ;RR;QRR;TN;QTN;TX;QTX\n");
    // A rain gauge comes first.
    rows += "01233001;BROOK;20260601;0.0;1;;;;\n";
    for (code, tx) in [("01234001", "24.5"), ("01234002", "21.5")] {
        for day in 1..=5 {
            rows += &format!("{code};HILL;2026060{day};0.0;1;11.0;1;{tx};1\n");
        }
    }
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(rows.as_bytes()).unwrap();
    let bytes = encoder.finish().unwrap();
    let printed = tried("Q_01_latest.csv.gz", &bytes, &[]);
    says(
        &printed,
        &[
            "dialect      meteo-france-daily",
            "stations     01233001 (no temperatures), 01234001 (5 rows), 01234002 (5 rows); read: 01234001",
            "code = \"01234001\"",
        ],
    );
    loads(&printed);
    let other = tried("Q_01_latest.csv.gz", &bytes, &["--code", "01234002"]);
    says(&other, &["read: 01234002", "code = \"01234002\""]);
}

#[test]
fn of_a_year_s_file_of_long_rows_a_station_with_temperatures_is_read() {
    let rows = "ZZ1XYAB0002,20260601,PRCP,12,,,1,\nZZW00000001,20260601,TMAX,240,,,1,\nZZW00000001,20260601,TMIN,120,,,1,\n";
    let printed = tried("2026.csv", rows.as_bytes(), &[]);
    says(
        &printed,
        &[
            "ZZ1XYAB0002 (no temperatures)",
            "read: ZZW00000001",
            "1 day with both extremes",
        ],
    );
}

#[test]
fn an_address_is_fetched_once_and_moving_days_are_named() {
    let today = chrono::Utc::now().date_naive();
    let rows = format!(
        "station,day,max_temp_f,min_temp_f\nZZA,2026-06-01,75,54\nZZA,2026-06-02,None,54\nZZA,{today},60,54\n"
    );
    let server = ScriptedServer::start(vec![Reply::of(200, &[], rows)]);
    let url = server.url("/daily.py?stations=ZZA");
    let printed = Workshop::new().succeeds(&["feed", "try", &url]);
    says(
        &printed,
        &[
            "dialect      iem-daily",
            "1 day with both extremes, 1 with one, 0 missing",
            "left out     1 row",
            &format!("url = \"{url}\""),
        ],
    );
    assert_eq!(server.exchanges().len(), 1);
    loads(&printed);
}

#[test]
fn files_that_are_brought_by_hand_and_dialects_of_one_s_own_are_tried_too() {
    let header = "Product code,Bureau of Meteorology station number,Year,Month,Day,Minimum temperature (Degree C),Days of accumulation of minimum temperature,Quality\n";
    let printed = tried(
        "min.csv",
        format!("{header}ZZ11,099901,2026,06,01,8.1,1,Y\n").as_bytes(),
        &[],
    );
    says(
        &printed,
        &[
            "dialect      bom-one-extreme",
            "0 days with both extremes, 1 with one",
            "# no address: bring its files with hatchbell import --station station-099901 FILE",
            "# usual_lag_days = 30   # to be told when files stay away",
        ],
    );
    loads(&printed);
    let own = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/config/dialects/own-station.toml"
    );
    let printed = tried(
        "shed.csv",
        b"Date;High;Low\n01.06.2026 00:00;24.0;12.0\n",
        &["--dialect", own],
    );
    says(
        &printed,
        &[
            "dialect      own-station",
            "maximum High, minimum Low",
            "values       from 12.0 °C (2026-06-01) to 24.0 °C (2026-06-01); maximum and minimum 12.0 °C apart",
            "# your own: put its file into the folder that dialect_dir names",
        ],
    );
}

#[test]
fn a_model_is_suggested_as_a_forecast_and_not_as_a_station() {
    let text = "latitude,longitude\n41.8,-30.1\n\ntime,temperature_2m_max (°C),temperature_2m_min (°C)\n2026-06-01,24.0,12.0\n2999-06-02,25.0,13.0\n";
    let printed = tried("model.csv", text.as_bytes(), &[]);
    says(
        &printed,
        &[
            "dialect      open-meteo-daily",
            "[station.forecast]",
            "2999-06-02",
        ],
    );
    assert!(!printed.contains("[[station]]\nid"), "{printed}");
}

#[test]
fn pages_and_error_messages_are_told_once_and_plainly() {
    let page = failed(b"<html><body>Please log in</body></html>\n", &[]);
    says(&page, &["web page", "Please log in"]);
    assert_eq!(page.lines().count(), 1, "{page}");
    let error = failed(b"ERROR: Unknown station ZZA", &[]);
    says(&error, &["error message: ERROR: Unknown station ZZA"]);
    assert_eq!(error.lines().count(), 1, "{error}");
    let server = ScriptedServer::start(vec![Reply::of(404, &[], "gone")]);
    let output = Workshop::new().run(&["feed", "try", &server.url("/a.csv")]);
    assert!(!output.status.success());
    says(&both(&output), &["404", "/a.csv"]);
}

#[test]
fn a_file_of_no_dialect_says_what_is_in_it_and_what_was_tried() {
    let unknown = failed(b"when,hot,cold\n2026-06-01,24,12\n", &[]);
    says(
        &unknown,
        &["when, hot, cold", "dwd-kl, eccc-daily", "own-station.toml"],
    );
    let monthly = failed(
        b"STATION,DATE,TMAX,TMIN\nZZI00000009,2026-06,24.0,12.0\n",
        &[],
    );
    says(&monthly, &["monthly file"]);
    assert!(!monthly.contains("tried:"), "{monthly}");
    let timed = failed(
        b"STATION,DATE,TMAX,TMIN\nZZI00000009,2026-06-01 00:00,24.0,12.0\n",
        &[],
    );
    says(&timed, &["hourly file", "date_formats go on with the time"]);
    let named = failed(
        b"when,hot,cold\n2026-06-01,24,12\n",
        &["--dialect", "iem-daily"],
    );
    says(&named, &["daily maximum (max_temp_f)"]);
    let misnamed = failed(b"DATE,TMAX,TMIN\n", &["--dialect", "imaginary"]);
    says(
        &misnamed,
        &["no built-in dialect \"imaginary\"", "knmi-daily"],
    );
}

#[test]
fn an_archive_of_no_known_service_is_to_be_unpacked_and_its_file_tried() {
    let bytes = feeds::zipped(&[("readme.txt", b"hello"), ("days.csv", b"DATE,TMAX,TMIN\n")]);
    let printed = failed(&bytes, &[]);
    says(
        &printed,
        &["it holds readme.txt, days.csv: unpack it and try its file of daily rows"],
    );
    for wrong in ["zip_member", "own-station.toml", "has the columns"] {
        assert!(!printed.contains(wrong), "{wrong:?} is in {printed}");
    }
    let printed = failed(&bytes[..40], &[]);
    says(
        &printed,
        &["a zip archive that cannot be read; fetch it again"],
    );
}

#[test]
fn a_station_of_several_is_chosen_by_its_code_as_the_file_writes_it() {
    let text = "STATION,DATE,TMAX,TMIN\nGHCND:ZZI00000009,2026-03-01,12.0,2.0\nGHCND:ZZI00000022,2026-03-01,9.0,1.0\n";
    let printed = tried(
        "a.csv",
        text.as_bytes(),
        &["--code", "GHCND:ZZI00000022", "--unit", "celsius"],
    );
    says(&printed, &["read: ZZI00000022", "code = \"ZZI00000022\""]);
}
