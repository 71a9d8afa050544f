//! Daily readings and their revisions.

use super::reading_year::{YearOfReadings, each_year};
use super::{Store, StoreError};
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::reading::{Reading, Readings};
use crate::station_feed::parsed::Element;
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
        self.readings_within(station, day, NaiveDate::MAX)
    }

    /// A station's readings of these days.
    pub fn readings_within(
        &self,
        station: &str,
        first: NaiveDate,
        last: NaiveDate,
    ) -> Result<Readings, StoreError> {
        let mut readings = Readings::new();
        each_year(
            &self.connection,
            station,
            first.year()..=last.year(),
            |year| {
                readings.extend(
                    year.known_days()
                        .filter(|(day, _)| (first..=last).contains(day)),
                );
            },
        )?;
        Ok(readings)
    }

    /// The same for reckoning over whole years.
    pub fn daily_readings(&self, station: &str) -> Result<DailyReadings, StoreError> {
        let mut readings = DailyReadings::default();
        each_year(&self.connection, station, i32::MIN..=i32::MAX, |year| {
            if let Some((from, days)) = year.since_first_known() {
                readings.append(from, days);
            }
        })?;
        Ok(readings)
    }

    /// A station's newest day with both extremes.
    pub fn newest_day(&self, station: &str) -> Result<Option<NaiveDate>, StoreError> {
        Ok(self
            .connection
            .prepare_cached("SELECT max(newest) FROM reading_year WHERE station = ?1")?
            .query_row([station], |row| row.get(0))?)
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
        Ok(self
            .connection
            .query_row("SELECT max(newest) FROM reading_year", [], |row| row.get(0))?)
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

    /// How often values of a station were revised.
    pub fn revisions(&self, station: &str) -> Result<u32, StoreError> {
        Ok(self.connection.query_row(
            "SELECT count(*) FROM revision WHERE station = ?1",
            [station],
            |row| row.get(0),
        )?)
    }
}

/// See [`Store::merge`].
pub(super) fn merge(
    transaction: &Transaction<'_>,
    station: &str,
    readings: &Readings,
    now: DateTime<Utc>,
) -> Result<Merged, StoreError> {
    let mut merged = Merged::default();
    let mut days = readings.iter().peekable();
    while let Some((first, _)) = days.peek() {
        let mut year = YearOfReadings::load(transaction, station, first.year())?;
        let before = merged;
        while let Some((day, new)) = days.next_if(|(day, _)| day.year() == year.year()) {
            merge_day(
                transaction,
                station,
                *day,
                year.entry(*day),
                *new,
                now,
                &mut merged,
            )?;
        }
        let unchanged = Merged {
            unchanged: merged.unchanged,
            ..before
        };
        if merged != unchanged {
            year.save(transaction, station)?;
        }
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
        let mut year = YearOfReadings::load(transaction, station, day.year())?;
        let reading = year.entry(*day);
        let (name, value) = match element {
            Element::Min => ("min", &mut reading.min),
            Element::Max => ("max", &mut reading.max),
        };
        if let Some(old) = value.take() {
            keep_old(transaction, station, *day, name, old, None, now)?;
            year.save(transaction, station)?;
            withdrawn += 1;
        }
    }
    Ok(withdrawn)
}

fn merge_day(
    transaction: &Transaction<'_>,
    station: &str,
    day: NaiveDate,
    stored: &mut Reading,
    new: Reading,
    now: DateTime<Utc>,
    merged: &mut Merged,
) -> Result<(), StoreError> {
    let old = *stored;
    *stored = Reading {
        min: new.min.or(old.min),
        max: new.max.or(old.max),
    };
    if old == Reading::default() {
        merged.added += usize::from(*stored != old);
        return Ok(());
    }
    let mut revised = 0;
    for (name, old, new) in [("min", old.min, new.min), ("max", old.max, new.max)] {
        // The old value is kept if a new one replaces it.
        if let (Some(old), Some(new)) = (old, new)
            && (old - new).abs() >= SAME_C
        {
            keep_old(transaction, station, day, name, old, Some(new), now)?;
            revised += 1;
        }
    }
    let completed =
        (old.min.is_none() && new.min.is_some()) || (old.max.is_none() && new.max.is_some());
    if revised == 0 && !completed {
        *stored = old;
        merged.unchanged += 1;
        return Ok(());
    }
    merged.revised += revised;
    merged.completed += usize::from(completed);
    Ok(())
}

fn keep_old(
    transaction: &Transaction<'_>,
    station: &str,
    day: NaiveDate,
    element: &str,
    old: f64,
    new: Option<f64>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    transaction
        .prepare_cached(
            "INSERT INTO revision (station, day, element, old_c, new_c, seen_at)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![station, day, element, old, new, now])?;
    Ok(())
}
