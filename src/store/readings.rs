//! Daily readings and their revisions.

use super::{Store, StoreError};
use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::{Reading, Readings};
use crate::feed::parse::Element;
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use rusqlite::{Transaction, TransactionBehavior, params};

/// Differences below this are the same reading written differently, °C.
const SAME_C: f64 = 0.005;

/// What a merge did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Merged {
    /// Days that were not stored before.
    pub added: usize,
    /// Days that gained a missing extreme.
    pub completed: usize,
    /// Values that changed; the old ones are kept as revisions.
    pub revised: usize,
    /// Days that say nothing new.
    pub unchanged: usize,
}

impl std::ops::AddAssign for Merged {
    fn add_assign(&mut self, more: Self) {
        self.added += more.added;
        self.completed += more.completed;
        self.revised += more.revised;
        self.unchanged += more.unchanged;
    }
}

impl Store {
    /// A station's readings, all of them.
    pub fn readings(&self, station: &str) -> Result<Readings, StoreError> {
        self.readings_since(station, NaiveDate::MIN)
    }

    /// A station's readings from a day on.
    pub fn readings_since(&self, station: &str, day: NaiveDate) -> Result<Readings, StoreError> {
        load(&self.connection, station, day)
    }

    /// A station's newest day with both extremes.
    pub fn newest_day(&self, station: &str) -> Result<Option<NaiveDate>, StoreError> {
        Ok(self.connection.query_row(
            "SELECT max(day) FROM reading
             WHERE station = ?1 AND min_c IS NOT NULL AND max_c IS NOT NULL",
            [station],
            |row| row.get(0),
        )?)
    }

    /// Merges readings into a station's days: new days and values are added, changed values are
    /// revised, nothing is deleted.
    pub fn merge(
        &mut self,
        station: &str,
        readings: &Readings,
        now: DateTime<Utc>,
    ) -> Result<Merged, StoreError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let merged = merge(&transaction, station, readings, now)?;
        transaction.commit()?;
        Ok(merged)
    }

    /// The newest day with both extremes at any station.
    pub fn newest_day_of_all(&self) -> Result<Option<NaiveDate>, StoreError> {
        Ok(self.connection.query_row(
            "SELECT max(day) FROM reading WHERE min_c IS NOT NULL AND max_c IS NOT NULL",
            [],
            |row| row.get(0),
        )?)
    }

    /// Takes back stored values that have failed their publisher's quality check since; the old
    /// ones are kept as revisions. What is not stored is passed over.
    pub fn withdraw(
        &mut self,
        station: &str,
        failed: &[(NaiveDate, Element)],
        now: DateTime<Utc>,
    ) -> Result<usize, StoreError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let withdrawn = withdraw(&transaction, station, failed, now)?;
        transaction.commit()?;
        Ok(withdrawn)
    }

    /// Replaces a station's forecast.
    pub fn replace_forecast(
        &mut self,
        station: &str,
        readings: &Readings,
        rain: &Rain,
    ) -> Result<(), StoreError> {
        let transaction = self.connection.transaction()?;
        transaction.execute("DELETE FROM forecast WHERE station = ?1", [station])?;
        for (day, reading) in readings {
            transaction
                .prepare_cached(
                    "INSERT INTO forecast (station, day, min_c, max_c, rain_mm)
                     VALUES (?1, ?2, ?3, ?4, ?5)",
                )?
                .execute(params![
                    station,
                    day,
                    reading.min,
                    reading.max,
                    rain.get(day)
                ])?;
        }
        transaction.commit()?;
        Ok(())
    }

    /// A station's forecast.
    pub fn forecast(&self, station: &str) -> Result<Readings, StoreError> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT day, min_c, max_c FROM forecast WHERE station = ?1")?;
        collect(&mut statement, [station])
    }

    /// How often values of a station were revised.
    pub fn revisions(&self, station: &str) -> Result<u32, StoreError> {
        Ok(self.connection.query_row(
            "SELECT count(*) FROM revision WHERE station = ?1",
            [station],
            |row| row.get(0),
        )?)
    }
}

fn load(
    connection: &rusqlite::Connection,
    station: &str,
    since: NaiveDate,
) -> Result<Readings, StoreError> {
    // Dates are compared as text, which works for four-digit years.
    let year = since.year().clamp(1, 9999);
    let since = since.with_year(year).unwrap_or(since).to_string();
    let mut statement = connection
        .prepare_cached("SELECT day, min_c, max_c FROM reading WHERE station = ?1 AND day >= ?2")?;
    collect(&mut statement, [station, &since])
}

/// The rows (day, minimum, maximum) of a statement as readings.
pub(super) fn collect(
    statement: &mut rusqlite::CachedStatement<'_>,
    parameters: impl rusqlite::Params,
) -> Result<Readings, StoreError> {
    let rows = statement.query_map(parameters, |row| {
        Ok((
            row.get::<_, NaiveDate>(0)?,
            Reading {
                min: row.get(1)?,
                max: row.get(2)?,
            },
        ))
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// See [`Store::merge`].
pub(super) fn merge(
    transaction: &Transaction<'_>,
    station: &str,
    readings: &Readings,
    now: DateTime<Utc>,
) -> Result<Merged, StoreError> {
    let first = readings.keys().next().copied().unwrap_or(NaiveDate::MAX);
    let stored = load(transaction, station, first)?;
    let mut merged = Merged::default();
    for (day, new) in readings {
        merge_day(
            transaction,
            station,
            *day,
            stored.get(day).copied(),
            *new,
            now,
            &mut merged,
        )?;
    }
    Ok(merged)
}

/// See [`Store::withdraw`].
pub(super) fn withdraw(
    transaction: &Transaction<'_>,
    station: &str,
    failed: &[(NaiveDate, Element)],
    now: DateTime<Utc>,
) -> Result<usize, StoreError> {
    let mut withdrawn = 0;
    for (day, element) in failed {
        let (element, keep, clear) = match element {
            Element::Min => (
                "min",
                "INSERT INTO revision (station, day, element, old_c, seen_at)
                 SELECT station, day, ?3, min_c, ?4 FROM reading
                 WHERE station = ?1 AND day = ?2 AND min_c IS NOT NULL",
                "UPDATE reading SET min_c = NULL WHERE station = ?1 AND day = ?2",
            ),
            Element::Max => (
                "max",
                "INSERT INTO revision (station, day, element, old_c, seen_at)
                 SELECT station, day, ?3, max_c, ?4 FROM reading
                 WHERE station = ?1 AND day = ?2 AND max_c IS NOT NULL",
                "UPDATE reading SET max_c = NULL WHERE station = ?1 AND day = ?2",
            ),
        };
        let kept = transaction
            .prepare_cached(keep)?
            .execute(params![station, day, element, now])?;
        if kept > 0 {
            transaction
                .prepare_cached(clear)?
                .execute(params![station, day])?;
            withdrawn += kept;
        }
    }
    Ok(withdrawn)
}

fn merge_day(
    transaction: &Transaction<'_>,
    station: &str,
    day: NaiveDate,
    stored: Option<Reading>,
    new: Reading,
    now: DateTime<Utc>,
    merged: &mut Merged,
) -> Result<(), StoreError> {
    let Some(old) = stored else {
        transaction
            .prepare_cached(
                "INSERT INTO reading (station, day, min_c, max_c, first_seen) VALUES (?1, ?2, ?3, ?4, ?5)",
            )?
            .execute(params![station, day, new.min, new.max, now])?;
        merged.added += 1;
        return Ok(());
    };
    let revised = revise(transaction, station, day, "min", old.min, new.min, now)?
        + revise(transaction, station, day, "max", old.max, new.max, now)?;
    let completed =
        (old.min.is_none() && new.min.is_some()) || (old.max.is_none() && new.max.is_some());
    if revised == 0 && !completed {
        merged.unchanged += 1;
        return Ok(());
    }
    transaction
        .prepare_cached(
            "UPDATE reading SET min_c = coalesce(?3, min_c), max_c = coalesce(?4, max_c)
             WHERE station = ?1 AND day = ?2",
        )?
        .execute(params![station, day, new.min, new.max])?;
    merged.revised += revised;
    merged.completed += usize::from(completed);
    Ok(())
}

/// Keeps the old value if a new one replaces it; 1 if so.
fn revise(
    transaction: &Transaction<'_>,
    station: &str,
    day: NaiveDate,
    element: &str,
    old: Option<f64>,
    new: Option<f64>,
    now: DateTime<Utc>,
) -> Result<usize, StoreError> {
    let (Some(old), Some(new)) = (old, new) else {
        return Ok(0);
    };
    if (old - new).abs() < SAME_C {
        return Ok(0);
    }
    transaction
        .prepare_cached(
            "INSERT INTO revision (station, day, element, old_c, new_c, seen_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![station, day, element, old, new, now])?;
    Ok(1)
}
