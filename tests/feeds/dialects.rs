//! The dialects of weather services: each reads its own files, and says what is wrong with others.
//! All stations are invented.

use crate::support::command::{Workshop, both, config_with_station};
use crate::support::engine::Play;
use crate::support::feeds::{self, binding, date, take, zipped};
use crate::support::http_server::{Reply, ScriptedServer};
use chrono::NaiveDate;
use flate2::{Compression, write::GzEncoder};
use hatchbell::config::dialect_file;
use hatchbell::config::load::from_text;
use hatchbell::domain::telling::feed_trouble::is_stale;
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::feed::fetch::{FetchPolicy, Fetcher, user_agent};
use hatchbell::feed::reader::{FeedReader, FetchOutcome};
use hatchbell::feed::vetting::Yardstick;
use hatchbell::station_feed::StationFeed;
use hatchbell::station_feed::dialect::Binding;
use hatchbell::station_feed::origin::Origin;
use hatchbell::station_feed::parsed::Parsed;
use hatchbell::station_feed::refusal::Why;
use hatchbell::station_feed::version::Validators;
use std::io::Write;
use std::path::Path;

const TODAY: &str = "2026-07-10";

fn taken(bytes: impl AsRef<[u8]>, binding: &Binding) -> Parsed {
    take(bytes.as_ref(), binding, TODAY).expect("this file must be taken")
}

fn refusal(bytes: impl AsRef<[u8]>, binding: &Binding) -> String {
    take(bytes.as_ref(), binding, TODAY)
        .expect_err("this file must be refused")
        .to_string()
}

fn pair(parsed: &Parsed, day: &str) -> (Option<f64>, Option<f64>) {
    let reading = parsed.readings.get(&date(day)).copied().unwrap_or_default();
    (reading.min, reading.max)
}

fn rain(parsed: &Parsed, day: &str) -> Option<f64> {
    parsed.rain.get(&date(day)).copied()
}

/// Temperature and rain of one day in each service's own layout: all say the same.
#[test]
fn each_dialect_reads_the_day_s_extremes_and_rain_of_its_service() {
    let kl = "STATIONS_ID;MESS_DATUM;QN_3;  FX;QN_4; RSK;RSKF; TMK; TXK; TNK; TGK;eor\r\n        907;20260701;    1;-999;    1;  12.7;   6;  18.0;   24.0;   12.0;    9.9;eor\r\n";
    let swiss = "station_abbr;reference_timestamp;tre200d0;tre200dx;tre200dn;rre150d0\nZZA;01.07.2026 00:00;18.0;24.0;12.0;12.7\n";
    let french = "NUM_POSTE;NOM_USUEL;AAAAMMJJ;RR;QRR;TN;QTN;HTN;QHTN;TX;QTX\n01234001;HILL;20260701;12.7;1;12.0;1;0512;9;24.0;9\n";
    let dutch = "KNMI\r\n\r\n# STN,YYYYMMDD,   TG,   TN,  TNH,   TX,   RH\r\n\r\n  999,20260701,  180,  120,    5,  240,  127\r\n";
    let iowan = "station,day,max_temp_f,min_temp_f,precip_in\nZZA,2026-07-01,75.2,53.6,0.5\n";
    let canadian = "\u{feff}\"Longitude (x)\",\"Latitude (y)\",\"Climate ID\",\"Date/Time\",\"Max Temp (°C)\",\"Max Temp Flag\",\"Min Temp (°C)\",\"Min Temp Flag\",\"Total Precip (mm)\",\"Total Precip Flag\"\r\n\"-30.10\",\"41.80\",\"9990001\",\"2026-07-01\",\"24.0\",\"E\",\"12.0\",\"\",\"12.7\",\"\"\r\n";
    let cases: [(&str, Unit, Vec<u8>); 8] = [
        ("dwd-kl", Unit::Celsius, kl.into()),
        (
            "dwd-kl",
            Unit::Celsius,
            zipped(&[
                ("Metadaten_Geographie_00907.txt", b"x;y\n"),
                (
                    "produkt_klima_tag_20250101_20260709_00907.txt",
                    kl.as_bytes(),
                ),
            ]),
        ),
        ("meteoswiss-daily", Unit::Celsius, swiss.into()),
        ("meteo-france-daily", Unit::Celsius, french.into()),
        ("knmi-daily", Unit::TenthsCelsius, dutch.into()),
        (
            "knmi-daily",
            Unit::TenthsCelsius,
            zipped(&[("etmgeg_999.txt", dutch.as_bytes())]),
        ),
        ("iem-daily", Unit::Fahrenheit, iowan.into()),
        ("eccc-daily", Unit::Celsius, canadian.into()),
    ];
    for (dialect, unit, bytes) in cases {
        let parsed = taken(&bytes, &binding(dialect, unit));
        assert!(parsed.refused.is_empty(), "{dialect}: {:?}", parsed.refused);
        let (min, max) = pair(&parsed, "2026-07-01");
        let near = |value: Option<f64>, due: f64| (value.unwrap() - due).abs() < 1e-9;
        assert!(
            near(min, 12.0) && near(max, 24.0),
            "{dialect}: {min:?} {max:?}"
        );
        assert!(near(rain(&parsed, "2026-07-01"), 12.7), "{dialect}");
    }
}

#[test]
fn a_department_s_file_is_read_by_a_code_that_starts_with_a_zero_and_doubtful_values_are_refused() {
    let text = "NUM_POSTE;NOM_USUEL;AAAAMMJJ;TN;QTN;TX;QTX\n\
        01234001;HILL;20260701;12.0;1;24.0;1\n01234002;DALE;20260701;10.0;1;22.0;1\n\
        01234001;HILL;20260702;12.5;9;39.0;2\n";
    let mut french = binding("meteo-france-daily", Unit::Celsius);
    assert!(refusal(text, &french).contains("several stations (01234001, 01234002)"));
    french.code = Some("01234001".into());
    let parsed = taken(text, &french);
    assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
    assert_eq!(pair(&parsed, "2026-07-02"), (Some(12.5), None));
    assert_eq!(parsed.refused[0].why, Why::Flagged);
}

#[test]
fn damaged_rows_of_other_stations_do_not_cost_ours() {
    let header = "NUM_POSTE;NOM_USUEL;AAAAMMJJ;RR;QRR;TN;QTN;TX;QTX\n";
    let others: String = (1..=20)
        .map(|day| format!("01234001;BROOK;202606{day:02};0.0;1;-1.0\n"))
        .collect();
    let ours = "01234002;HILL;20260601;0.0;1;12.0\n01234002;HILL;20260602;0.0;1;12.0;1;24.0;1\n";
    let mut binding = binding("meteo-france-daily", Unit::Celsius);
    binding.code = Some("01234002".into());
    let parsed = taken(format!("{header}{others}{ours}"), &binding);
    assert_eq!(parsed.readings.len(), 1);
    let refused: Vec<_> = parsed
        .refused
        .iter()
        .map(|row| (row.line, row.why))
        .collect();
    assert_eq!(refused, [(22, Why::Width)]);
}

#[test]
fn a_day_that_is_still_moving_is_left_out_until_it_has_settled() {
    let text = "station,day,max_temp_f,min_temp_f\nZZA,2026-07-08,75.2,53.6\nZZA,2026-07-09,None,53.6\nZZA,2026-07-10,M,\n";
    let iowan = binding("iem-daily", Unit::Fahrenheit);
    let parsed = taken(text, &iowan);
    assert_eq!((parsed.readings.len(), parsed.provisional), (1, 2));
    assert!(parsed.refused.is_empty());
    let later = take(text.as_bytes(), &iowan, "2026-07-11").unwrap();
    assert_eq!((later.readings.len(), later.provisional), (2, 1));
}

#[test]
fn an_error_message_instead_of_rows_is_quoted_with_or_without_a_line_end() {
    let iowan = binding("iem-daily", Unit::Fahrenheit);
    for end in ["", "\n"] {
        let message = refusal(format!("ERROR: Invalid network specified{end}"), &iowan);
        assert!(message.contains("Invalid network specified"), "{message}");
    }
}

#[test]
fn a_british_file_without_its_last_line_was_cut_off() {
    let midas = binding("midas-daily", Unit::Celsius);
    let text = "Conventions,G,BADC-CSV,1\ntype,ob_end_time,char\ndata\nob_end_time,id,ob_hour_count,src_id,max_air_temp,min_air_temp\n\
        2025-07-01 09:00:00,5,24,99838,24,12\n2025-07-02 09:00:00,5,24,99838,NA,13\nend data\n";
    let parsed = taken(text, &midas);
    assert_eq!(pair(&parsed, "2025-07-02"), (Some(13.0), None));
    let cut = text.strip_suffix("end data\n").unwrap();
    assert!(refusal(cut, &midas).contains("no line \"end data\""));
}

#[test]
fn an_archive_of_another_kind_says_what_it_holds() {
    let bytes = zipped(&[("etmgeg_999.txt", b"# STN\n")]);
    let message = refusal(bytes, &binding("dwd-kl", Unit::Celsius));
    assert!(
        message.contains("no produkt_klima_tag_*.txt; it has: etmgeg_999.txt"),
        "{message}"
    );
}

// --- a dialect of one's own -------------------------------------------------------------------

const OWN: &str = include_str!("../../config/dialects/own-station.toml");

fn own(changed: impl Fn(&str) -> String) -> Binding {
    Binding {
        dialect: dialect_file::read("own-station.toml", &changed(OWN)).expect("it loads"),
        unit: Unit::Celsius,
        code: None,
        latitude: None,
    }
}

#[test]
fn the_example_of_a_dialect_of_one_s_own_reads_a_logger_s_file() {
    let text = "Date;Low;High\n01.07.2026 00:00;12.0;24.0\n02.07.2026 00:00;---;-999.0\n";
    let parsed = taken(text, &own(str::to_owned));
    assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
    assert_eq!(parsed.readings.len(), 1);
    let lines = OWN
        .lines()
        .filter(|line| !line.trim().is_empty() && !line.starts_with('#'));
    assert_eq!(lines.count(), 10, "the example promises ten lines");
}

#[test]
fn a_dialect_of_one_s_own_may_skip_lines_judge_flags_and_use_a_decimal_comma() {
    let binding = own(|text| {
        text.replace(
            "\n[columns]",
            "\nskip_lines = 2\ndecimal_comma = true\n[columns]",
        ) + "tmax_flags = [\"High ok\"]\n[flags]\ngood = [\"ok\", \"1\"]\n"
    });
    let text = "Shed\nmade by hand\nDate;High;High ok;Low\n01.07.2026 00:00;24,5;ok;12,0\n\
        02.07.2026 00:00;25,5;1.0;13\n03.07.2026 00:00;26,5;;14,0\n";
    let parsed = taken(text, &binding);
    assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.5)));
    assert_eq!(pair(&parsed, "2026-07-02"), (Some(13.0), Some(25.5)));
    assert_eq!(pair(&parsed, "2026-07-03"), (Some(14.0), None));
    assert_eq!(parsed.refused[0].line, 6);
}

#[test]
fn a_dialect_of_one_s_own_may_go_by_positions_below_lines_of_no_interest() {
    let text = "name = \"bare\"\ntitle = \"bare rows\"\nheader = \"absent\"\nskip_lines = 2\n\
        units = [\"celsius\"]\n[positions]\nyear = 1\nmonth = 2\nday = 3\ntmax = 5\ntmin = 4\n";
    let binding = Binding {
        dialect: dialect_file::read("bare.toml", text).expect("it loads"),
        ..own(str::to_owned)
    };
    let parsed = taken(
        "a\nb,c\n2026,7,1,12.0,24.0\n2026,7,32,12.0,24.0\n",
        &binding,
    );
    assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
    assert_eq!(
        (parsed.refused[0].line, parsed.refused[0].why),
        (4, Why::Date)
    );
}

#[test]
fn a_dialect_that_contradicts_itself_says_where() {
    for (line, due) in [
        (
            "skip_lines = 2\nheader_starts_with = [\"Date\"]\n",
            "keep one",
        ),
        (
            "decimal_comma = true\ndelimiter = \",\"\n",
            "another delimiter",
        ),
        ("date_formats = [\"%d.%m\"]\n", "needs %Y, %m and %d"),
        ("encoding = \"latin-9\"\n", "\"utf-8\", \"latin-1\""),
        (
            "flags = { good = [\"a\"], bad = [\"b\"] }\n",
            "either the good",
        ),
        ("provisional_days = 99\n", "0 to 30"),
        (
            "row_condition = [{ column = [\"Kind\"], otherwise = \"refuse\" }]\n",
            "needs is",
        ),
    ] {
        let key = line.split(' ').next().unwrap();
        let plain: String = OWN
            .lines()
            .filter(|old| {
                !(old.starts_with(key)
                    || (line.contains("delimiter") && old.starts_with("delimiter")))
            })
            .map(|line| format!("{line}\n"))
            .collect();
        let problems = dialect_file::read("own.toml", &format!("{line}{plain}")).unwrap_err();
        assert_eq!(problems.len(), 1, "{line}: {problems:?}");
        assert!(problems[0].text.contains(due), "{problems:?}");
    }
}

// --- stations fed by hand, and addresses that follow the calendar -----------------------------

fn station(lines: &str) -> StationFeed {
    let text =
        config_with_station(lines).replace("dialect = \"ncei-export\"\nunit = \"celsius\"\n", "");
    let loaded = from_text("hatchbell.toml", &text, Path::new("/")).expect("it loads");
    loaded.config.stations[0].clone()
}

#[test]
fn a_station_of_an_import_only_dialect_needs_no_address_and_nobody_waits_for_it() {
    let feed = station("dialect = \"bom-one-extreme\"");
    assert_eq!(feed.origin, Origin::ByHand);
    let years_ago = Some(date("2020-01-01"));
    assert!(!is_stale(&feed.station, years_ago, date(TODAY)));
    let watched = station("dialect = \"bom-one-extreme\"\nusual_lag_days = 40");
    assert!(is_stale(&watched.station, years_ago, date(TODAY)));
    // Others have their dialect's lag, and still need an address.
    let german = station("dialect = \"dwd-kl\"\nfile = \"a.zip\"");
    assert_eq!(german.station.usual_lag_days, 2);
    let text = config_with_station("");
    let problems = from_text("hatchbell.toml", &text, Path::new("/")).unwrap_err();
    assert!(
        problems
            .iter()
            .any(|problem| problem.text.contains("either url"))
    );
}

#[test]
fn maximum_and_minimum_files_are_imported_one_after_the_other_and_make_whole_days() {
    let workshop = Workshop::new();
    let text = config_with_station("").replace(
        "dialect = \"ncei-export\"\nunit = \"celsius\"\n",
        "dialect = \"bom-one-extreme\"\n",
    );
    let config = workshop.write("hatchbell.toml", &text);
    for (name, what, rows) in [
        ("max.csv", "Maximum", "18.1,1,Y\n18.4,2,Y\n19.0,,N\n"),
        ("min.csv", "Minimum", "8.1,1,Y\n8.4,1,Y\n9.0,,N\n"),
    ] {
        let small = what.to_lowercase();
        let header = format!(
            "Product code,Bureau of Meteorology station number,Year,Month,Day,{what} temperature (Degree C),Days of accumulation of {small} temperature,Quality\n"
        );
        let rows = rows
            .lines()
            .enumerate()
            .map(|(index, row)| format!("ZZ10,099901,2026,7,{:02},{row}\n", index + 1));
        workshop.write(name, &(header + &rows.collect::<String>()));
        let path = workshop.path(name);
        let arguments = ["import", "--config", &config, "--station", "only"];
        workshop.succeeds(&[&arguments[..], &[path.to_str().unwrap()]].concat());
    }
    let store = hatchbell::store::Store::open_to_read(&workshop.path("hatchbell.db")).unwrap();
    let readings = store.readings("only").unwrap();
    let whole: Vec<NaiveDate> = readings
        .iter()
        .filter(|(_, reading)| reading.extremes().is_some())
        .map(|(day, _)| *day)
        .collect();
    assert_eq!(whole, [date("2026-07-01"), date("2026-07-03")]);
    // The service runs without asking anybody for it.
    let printed = both(&workshop.run(&["run", "--once", "--config", &config]));
    assert!(!printed.contains("nothing taken in"), "{printed}");
}

/// The history of all stations of a department is larger than a feed may be.
#[test]
fn a_station_is_imported_out_of_a_department_s_history_of_a_hundred_megabytes() {
    let workshop = Workshop::new();
    let dialect = "dialect = \"meteo-france-daily\"\ncode = \"01234002\"";
    let config = config_with_station("file = \"latest.csv\"")
        .replace("dialect = \"ncei-export\"\nunit = \"celsius\"", dialect);
    let config = workshop.write("hatchbell.toml", &config);
    let header = "NUM_POSTE;NOM_USUEL;AAAAMMJJ;RR;QRR;TN;QTN;TX;QTX\n";
    let ours = "01234002;HILL;19500101;0.0;1;-2.0;1;5.0;1\n";
    let other = "01234001;BROOK;19500101;0.0;1;-1.0;1;6.0;1\n".repeat(1000);
    let file = std::fs::File::create(workshop.path("history.csv.gz")).unwrap();
    let mut gz = GzEncoder::new(file, Compression::fast());
    gz.write_all(header.as_bytes()).unwrap();
    for _ in 0..100_000_000 / other.len() + 30 {
        gz.write_all(other.as_bytes()).unwrap();
    }
    gz.write_all(ours.as_bytes()).unwrap();
    gz.finish().unwrap();
    let import = ["import", "--config", &config, "--station", "only"];
    let said = workshop.succeeds(&[&import[..], &["history.csv.gz"]].concat());
    assert!(said.contains("only: 1 day added"), "{said}");
}

#[test]
fn the_historical_archive_is_imported_and_the_recent_one_carries_on() {
    let workshop = Workshop::new();
    let archive = |days: std::ops::RangeInclusive<u32>, quality: u32| {
        let rows = days.fold(
            String::from("STATIONS_ID;MESS_DATUM;QN_4; TXK; TNK; TGK;eor\r\n"),
            |text, day| {
                text + &format!(
                    "        907;202606{day:02};{quality:5};24.{};12.0;9.0;eor\r\n",
                    day % 10
                )
            },
        );
        zipped(&[("produkt_klima_tag_1_2_00907.txt", rows.as_bytes())])
    };
    std::fs::write(workshop.path("hist.zip"), archive(1..=20, 10)).unwrap();
    let server = ScriptedServer::start(vec![Reply::of(200, &[], archive(11..=30, 1))]);
    let text = config_with_station(&format!("url = \"{}\"", server.url("/akt.zip")))
        .replace("dialect = \"ncei-export\"", "dialect = \"dwd-kl\"");
    let config = workshop.write("hatchbell.toml", &text);
    let hist = workshop.path("hist.zip");
    let imported = workshop.succeeds(&[
        "import",
        "--config",
        &config,
        "--station",
        "only",
        hist.to_str().unwrap(),
    ]);
    assert!(imported.contains("20 days added"), "{imported}");
    let printed = both(&workshop.run(&["run", "--once", "--config", &config]));
    assert!(
        printed.contains("added=10 completed=0 revised=0"),
        "{printed}"
    );
}

#[test]
fn a_minimum_file_of_another_station_is_not_mixed_into_a_record() {
    let minimum = binding("bom-one-extreme", Unit::Celsius);
    let file = |warmer: u32| {
        (1..=20).fold(
            String::from("Bureau of Meteorology station number,Year,Month,Day,Minimum temperature (Degree C),Days of accumulation of minimum temperature\n"),
            |text, day| text + &format!("099901,2026,6,{day},{}.5,1\n", 8 + warmer),
        )
    };
    let stored = taken(file(0), &minimum).readings;
    let other = feeds::take_over(file(9).as_bytes(), &minimum, TODAY, &stored);
    assert!(other.unwrap_err().to_string().contains("differ by 9.0"));
    assert!(feeds::take_over(file(1).as_bytes(), &minimum, TODAY, &stored).is_ok());
}

async fn read(feed: &StationFeed, known: &Validators, today: &str) -> FetchOutcome {
    let policy = FetchPolicy {
        attempts: 1,
        ..FetchPolicy::default()
    };
    let fetcher = Fetcher::new(policy, &user_agent("keeper@turf.example"), None).unwrap();
    let mut reader = FeedReader::new(fetcher, None);
    reader
        .read(
            feed,
            known,
            |_| Ok::<_, ()>(Yardstick::default()),
            date(today),
        )
        .await
        .unwrap()
        .expect("it arrives")
}

fn known() -> Validators {
    Validators {
        etag: Some("\"1\"".into()),
        last_modified: None,
    }
}

#[tokio::test]
async fn an_address_with_a_year_is_asked_for_the_old_one_while_its_last_days_arrive() {
    let body =
        "\"Date/Time\",\"Max Temp (°C)\",\"Min Temp (°C)\"\n\"2026-12-31\",\"4.0\",\"1.0\"\n";
    let server = ScriptedServer::start(vec![Reply::of(200, &[], body)]);
    let address = server.url("/bulk?Year={year}&Month=1");
    let feed = station(&format!(
        "dialect = \"eccc-daily\"\nusual_lag_days = 2\nurl = \"{address}\""
    ));
    for today in ["2026-12-31", "2027-01-05", "2027-01-06"] {
        read(&feed, &known(), today).await;
    }
    let asked: Vec<String> = server.exchanges().iter().map(|e| e.path.clone()).collect();
    assert_eq!(
        asked,
        [
            "/bulk?Year=2026&Month=1",
            "/bulk?Year=2026&Month=1",
            "/bulk?Year=2027&Month=1"
        ]
    );
    // One year's tag says nothing of another year's file.
    assert!(server.exchanges()[2].header("if-none-match").is_none());
}

#[tokio::test]
async fn a_file_with_days_that_still_move_is_not_taken_for_known() {
    let rows = "station,day,max_temp_f,min_temp_f\nZZA,2026-07-08,75.2,53.6\n";
    let moving = format!("{rows}ZZA,2026-07-10,60,53.6\n");
    let tag = [("ETag", "\"2\"")];
    let server = ScriptedServer::start(vec![
        Reply::of(200, &tag, rows),
        Reply::of(200, &tag, moving),
    ]);
    let feed = station(&format!(
        "dialect = \"iem-daily\"\nurl = \"{}\"",
        server.url("/daily.py")
    ));
    for due in [Some("\"2\"".to_owned()), None] {
        let FetchOutcome::Readings { validators, .. } = read(&feed, &known(), TODAY).await else {
            panic!("there is a body");
        };
        assert_eq!(validators.etag, due);
    }
}

/// Export files have the name of the data set in the station column, and people copy it from there.
#[tokio::test]
async fn a_code_may_be_copied_from_the_file_with_the_name_of_its_data_set() {
    let rows = |code: &str| {
        format!(
            "STATION,DATE,TMAX,TMIN\n{code},2026-03-01,12.0,2.0\nGHCND:ZZI00000022,2026-03-01,9.0,1.0\n"
        )
    };
    for in_file in ["GHCND:ZZI00000009", "ZZI00000009"] {
        for in_config in ["GHCND:ZZI00000009", "ZZI00000009"] {
            let origin = format!("file = \"days.csv\"\ncode = \"{in_config}\"");
            let mut play = Play::new(&config_with_station(&origin));
            play.workshop.write("days.csv", &rows(in_file));
            play.cycle("2026-03-02T06:00:00Z").await;
            let maxima: Vec<_> = play.stored().iter().map(|(_, day)| day.max).collect();
            assert_eq!(maxima, [Some(12.0)], "{in_config} of a file with {in_file}");
        }
    }
}
