//! Version 8: a station's readings of a year as one value.

use crate::store::StoreError;
use chrono::{Datelike, NaiveDate};
use rusqlite::{Transaction, params};

/// Days of a leap year; each has a minimum and a maximum.
const SLOTS: usize = 366;

/// A year of a station while its days are gathered.
struct Year {
    station: String,
    year: i32,
    newest: Option<NaiveDate>,
    /// Minimum and maximum by day of the year; not a number for unknown.
    values: Vec<f64>,
}

impl Year {
    fn save(&self, transaction: &Transaction<'_>) -> Result<(), StoreError> {
        let bytes: Vec<u8> = self
            .values
            .iter()
            .flat_map(|value| value.to_le_bytes())
            .collect();
        transaction
            .prepare_cached(
                "INSERT INTO reading_year (station, year, newest, days) VALUES (?1, ?2, ?3, ?4)",
            )?
            .execute(params![self.station, self.year, self.newest, bytes])?;
        Ok(())
    }
}

/// Packs what an older program stored day by day, and takes its table away.
pub(super) fn pack_days(transaction: &Transaction<'_>) -> Result<(), StoreError> {
    transaction.execute_batch(
        "CREATE TABLE reading_year (
            id      INTEGER PRIMARY KEY,
            station TEXT NOT NULL,
            year    INTEGER NOT NULL,
            newest  TEXT,                       -- newest day of the year with both extremes
            days    BLOB NOT NULL,              -- 366 pairs of minimum and maximum, °C, 64-bit
                                                -- little-endian; not a number for unknown
            UNIQUE (station, year)
        ) STRICT;",
    )?;
    let mut days = transaction
        .prepare("SELECT station, day, min_c, max_c FROM reading ORDER BY station, day")?;
    let mut rows = days.query([])?;
    let mut open: Option<Year> = None;
    while let Some(row) = rows.next()? {
        let (station, day): (String, NaiveDate) = (row.get(0)?, row.get(1)?);
        let (min, max): (Option<f64>, Option<f64>) = (row.get(2)?, row.get(3)?);
        if let Some(year) = &open
            && (year.station != station || year.year != day.year())
        {
            year.save(transaction)?;
            open = None;
        }
        let year = open.get_or_insert_with(|| Year {
            station,
            year: day.year(),
            newest: None,
            values: vec![f64::NAN; 2 * SLOTS],
        });
        let slot = 2 * day.ordinal0() as usize;
        year.values[slot] = min.unwrap_or(f64::NAN);
        year.values[slot + 1] = max.unwrap_or(f64::NAN);
        if matches!((min, max), (Some(min), Some(max)) if min <= max) {
            year.newest = Some(day);
        }
    }
    if let Some(year) = &open {
        year.save(transaction)?;
    }
    drop(rows);
    drop(days);
    transaction.execute_batch("DROP TABLE reading;")?;
    Ok(())
}
