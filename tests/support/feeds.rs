//! Bindings to the built-in dialects, and small files for them.

use chrono::{Days, NaiveDate};
use hatchbell::config::dialect_file;
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::reading::Readings;
use hatchbell::feed::Rejection;
use hatchbell::feed::parse::parse;
use hatchbell::feed::vetting::{Yardstick, vet};
use hatchbell::station_feed::dialect::Binding;
use hatchbell::station_feed::parsed::Parsed;
use std::io::{Cursor, Write};

/// A built-in dialect bound to a unit.
pub fn binding(dialect: &str, unit: Unit) -> Binding {
    let (file, text) = dialect_file::BUILT_IN
        .iter()
        .find(|(file, _)| file.ends_with(&format!("/{dialect}.toml")))
        .expect("a built-in dialect");
    Binding {
        dialect: dialect_file::read(file, text).expect("it loads"),
        unit,
        code: None,
        latitude: None,
    }
}

pub fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// Reads a file as the service does, with nothing stored.
pub fn take(bytes: &[u8], binding: &Binding, today: &str) -> Result<Parsed, Rejection> {
    take_over(bytes, binding, today, &Readings::new())
}

/// Reads a file as the service does.
pub fn take_over(
    bytes: &[u8],
    binding: &Binding,
    today: &str,
    stored: &Readings,
) -> Result<Parsed, Rejection> {
    let parsed = parse(bytes, binding, date(today))?;
    let known = Yardstick {
        stored: stored.clone(),
        ..Yardstick::default()
    };
    vet(&parsed, binding, &known)?;
    Ok(parsed)
}

/// A year of an export file with a plausible course of the year, in whichever unit `value` makes
/// of °C.
pub fn export_year(year: i32, value: impl Fn(f64) -> String) -> String {
    let start = NaiveDate::from_ymd_opt(year, 1, 1).unwrap();
    let mut text = String::from("\"STATION\",\"DATE\",\"TMAX\",\"TMIN\"\n");
    for index in 0..365 {
        let day = start + Days::new(index);
        let mean = 11.0 - 14.0 * (index as f64 * std::f64::consts::TAU / 365.0).cos();
        let (max, min) = (value(mean + 5.0), value(mean - 5.0));
        text += &format!("\"ZZI00000009\",\"{day}\",\"{max}\",\"{min}\"\n");
    }
    text
}

/// A zip archive of these files.
pub fn zipped(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        writer
            .start_file(*name, zip::write::SimpleFileOptions::default())
            .expect("it starts");
        writer.write_all(bytes).expect("it takes it");
    }
    writer.finish().expect("it ends").into_inner()
}
