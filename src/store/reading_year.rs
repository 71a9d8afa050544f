//! A station's readings of a year as one value of the database: a year is read and written at once,
//! which makes thousands of days cost what a few rows do.

use super::StoreError;
use crate::domain::weather::reading::Reading;
use chrono::{Datelike, NaiveDate};
use rusqlite::{Connection, OptionalExtension, params};
use std::ops::RangeInclusive;

/// Days of a leap year.
const SLOTS: usize = 366;

/// Bytes of a value: 64 bits, little-endian; not a number where nothing is known.
const BYTES: usize = size_of::<f64>();

/// The readings of a calendar year.
#[derive(Debug)]
pub(super) struct YearOfReadings {
    year: i32,
    /// By day of the year, from 0.
    days: Vec<Reading>,
}

impl YearOfReadings {
    /// As it is stored, or empty.
    pub fn load(connection: &Connection, station: &str, year: i32) -> Result<Self, StoreError> {
        let stored = connection
            .prepare_cached("SELECT days FROM reading_year WHERE station = ?1 AND year = ?2")?
            .query_row(params![station, year], |row| row.get::<_, Vec<u8>>(0))
            .optional()?;
        match stored {
            Some(bytes) => Self::unpacked(year, &bytes),
            None => Ok(Self::empty(year)),
        }
    }

    /// A year of which nothing is known.
    pub fn empty(year: i32) -> Self {
        Self {
            year,
            days: vec![Reading::default(); SLOTS],
        }
    }

    /// Stores it in the place of what was stored of the year.
    pub fn save(&self, connection: &Connection, station: &str) -> Result<(), StoreError> {
        let newest = self
            .known_days()
            .rev()
            .find(|(_, reading)| reading.extremes().is_some())
            .map(|(day, _)| day);
        connection
            .prepare_cached(
                "INSERT INTO reading_year (station, year, newest, days) VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT (station, year) DO UPDATE SET
                     newest = excluded.newest,
                     days = excluded.days",
            )?
            .execute(params![station, self.year, newest, self.packed()])?;
        Ok(())
    }

    /// Which year it is.
    pub fn year(&self) -> i32 {
        self.year
    }

    /// A day's reading, to be changed.
    pub fn entry(&mut self, day: NaiveDate) -> &mut Reading {
        &mut self.days[day.ordinal0() as usize]
    }

    /// The days of which something is known, in order.
    pub fn known_days(&self) -> impl DoubleEndedIterator<Item = (NaiveDate, Reading)> + '_ {
        let year = self.year;
        let known = |(_, reading): &(usize, &Reading)| **reading != Reading::default();
        self.days
            .iter()
            .enumerate()
            .filter(known)
            .filter_map(move |(place, reading)| {
                Some((NaiveDate::from_yo_opt(year, place as u32 + 1)?, *reading))
            })
    }

    /// The days from the first one of which something is known on; `None` if nothing is.
    pub fn since_first_known(&self) -> Option<(NaiveDate, &[Reading])> {
        let known = |reading: &Reading| *reading != Reading::default();
        let first = self.days.iter().position(known)?;
        let from = NaiveDate::from_yo_opt(self.year, first as u32 + 1)?;
        Some((from, &self.days[first..]))
    }

    fn packed(&self) -> Vec<u8> {
        self.days
            .iter()
            .flat_map(|reading| [reading.min, reading.max])
            .flat_map(|value| value.unwrap_or(f64::NAN).to_le_bytes())
            .collect()
    }

    fn unpacked(year: i32, bytes: &[u8]) -> Result<Self, StoreError> {
        let (values, rest) = bytes.as_chunks::<BYTES>();
        if values.len() != 2 * SLOTS || !rest.is_empty() {
            return Err(StoreError::Value {
                value: format!("{} bytes", bytes.len()),
                wanted: "a year of readings",
            });
        }
        let known = |bytes: [u8; BYTES]| {
            let value = f64::from_le_bytes(bytes);
            (!value.is_nan()).then_some(value)
        };
        let days = values
            .chunks_exact(2)
            .map(|pair| Reading {
                min: known(pair[0]),
                max: known(pair[1]),
            })
            .collect();
        Ok(Self { year, days })
    }
}

/// Hands over those of some years that are stored of a station, in order.
pub(super) fn each_year(
    connection: &Connection,
    station: &str,
    years: RangeInclusive<i32>,
    mut take: impl FnMut(YearOfReadings),
) -> Result<(), StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT year, days FROM reading_year WHERE station = ?1 AND year BETWEEN ?2 AND ?3 ORDER BY year",
    )?;
    let mut rows = statement.query(params![station, years.start(), years.end()])?;
    while let Some(row) = rows.next()? {
        let bytes = row.get_ref(1)?.as_blob().map_err(rusqlite::Error::from)?;
        take(YearOfReadings::unpacked(row.get(0)?, bytes)?);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_year_is_read_as_it_was_written_to_the_last_bit() {
        let mut year = YearOfReadings::empty(2024);
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        *year.entry(day("2024-02-29")) = Reading {
            min: Some((41.0 - 32.0) / 1.8),
            max: None,
        };
        *year.entry(day("2024-12-31")) = Reading {
            min: Some(-0.0),
            max: Some(0.1 + 0.2),
        };
        let again = YearOfReadings::unpacked(2024, &year.packed()).unwrap();
        assert_eq!(again.days, year.days);
        let known: Vec<NaiveDate> = again.known_days().map(|(day, _)| day).collect();
        assert_eq!(known, [day("2024-02-29"), day("2024-12-31")]);
    }

    #[test]
    fn a_damaged_year_is_refused() {
        let bytes = YearOfReadings::empty(2023).packed();
        for damaged in [&bytes[..bytes.len() - 1], &bytes[..16], &[]] {
            let error = YearOfReadings::unpacked(2023, damaged).unwrap_err();
            assert!(error.to_string().contains("a year of readings"), "{error}");
        }
    }
}
