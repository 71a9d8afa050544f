//! Version 8: a station's readings of a year as one value.

use crate::domain::weather::reading::Reading;
use crate::store::StoreError;
use crate::store::reading_year::YearOfReadings;
use chrono::{Datelike, NaiveDate};
use rusqlite::Transaction;

/// Packs what an older program stored day by day, and takes its table away.
pub(super) fn pack_days(connection: &Transaction<'_>) -> Result<(), StoreError> {
    connection.execute_batch(
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
    let mut statement = connection
        .prepare("SELECT station, day, min_c, max_c FROM reading ORDER BY station, day")?;
    let mut rows = statement.query([])?;
    let mut open: Option<(String, YearOfReadings)> = None;
    while let Some(row) = rows.next()? {
        let (station, day): (String, NaiveDate) = (row.get(0)?, row.get(1)?);
        if let Some((of, year)) = &open
            && (*of != station || year.year() != day.year())
        {
            year.save(connection, of)?;
            open = None;
        }
        let (_, year) = open.get_or_insert_with(|| (station, YearOfReadings::empty(day.year())));
        *year.entry(day) = Reading {
            min: row.get(2)?,
            max: row.get(3)?,
        };
    }
    if let Some((station, year)) = &open {
        year.save(connection, station)?;
    }
    drop(rows);
    drop(statement);
    connection.execute_batch("DROP TABLE reading;")?;
    Ok(())
}
