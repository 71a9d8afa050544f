//! Taking in what a file says of a station: days are merged, never mirrored, and what was there before
//! is kept in a batch.

use super::batches::{BatchKind, OpenBatch};
use super::reading_year::YearOfReadings;
use super::readings::Merged;
use super::refused_values::RefusedValues;
use super::year_of_changes::{Measured, YearOfChanges};
use super::{Store, StoreError};
use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::{Reading, Readings};
use crate::station_feed::parsed::{Element, Parsed};
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use rusqlite::{Connection, Transaction, params};
use std::collections::BTreeMap;

/// Differences below this are the same value written differently, °C or mm.
pub(super) const SAME: f64 = 0.005;

static NO_DAYS: Readings = Readings::new();
static NO_RAIN: Rain = Rain::new();

/// What a file says of a station.
#[derive(Debug, Clone, Copy)]
pub struct Said<'f> {
    /// Its days.
    pub readings: &'f Readings,
    /// Its rain.
    pub rain: &'f Rain,
    /// Values that have failed their publisher's quality check.
    pub failed: &'f [(NaiveDate, Element)],
}

impl<'f> Said<'f> {
    /// All that was read of a file.
    pub fn of(parsed: &'f Parsed) -> Self {
        Self {
            readings: &parsed.readings,
            rain: &parsed.rain,
            failed: &parsed.failed,
        }
    }

    /// Days only.
    pub fn of_readings(readings: &'f Readings) -> Self {
        Self {
            readings,
            rain: &NO_RAIN,
            failed: &[],
        }
    }
}

/// What became of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TakenIn {
    /// What changed.
    pub merged: Merged,
    /// Values that a feed says again although their batch was undone.
    pub left_out: usize,
    /// The number of the batch; none where there is nothing to be undone.
    pub batch: Option<i64>,
}

impl Store {
    /// Takes in what a feed says of a station: new days and values are added, changed values are
    /// revised, failed ones are taken back, nothing else is deleted. `what` is the feed's address.
    pub fn take_in(
        &mut self,
        station: &str,
        said: Said<'_>,
        what: String,
        now: DateTime<Utc>,
    ) -> Result<TakenIn, StoreError> {
        let transaction = self.immediate()?;
        let mut batch = OpenBatch::of_feed(what);
        let taken = take_in(&transaction, station, said, &mut batch, now)?;
        transaction.commit()?;
        Ok(taken)
    }

    /// Takes in days and nothing else, as [`Store::take_in`] does.
    pub fn merge(
        &mut self,
        station: &str,
        readings: &Readings,
        now: DateTime<Utc>,
    ) -> Result<Merged, StoreError> {
        let said = Said::of_readings(readings);
        Ok(self.take_in(station, said, station.to_owned(), now)?.merged)
    }

    /// Takes in rain and nothing else, as [`Store::take_in`] does.
    pub fn merge_rain(
        &mut self,
        station: &str,
        rain: &Rain,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let said = Said {
            rain,
            ..Said::of_readings(&NO_DAYS)
        };
        self.take_in(station, said, station.to_owned(), now)?;
        Ok(())
    }

    /// Takes back stored values and does nothing else, as [`Store::take_in`] does. What is not stored
    /// is passed over.
    pub fn withdraw(
        &mut self,
        station: &str,
        failed: &[(NaiveDate, Element)],
        now: DateTime<Utc>,
    ) -> Result<usize, StoreError> {
        let said = Said {
            failed,
            ..Said::of_readings(&NO_DAYS)
        };
        let taken = self.take_in(station, said, station.to_owned(), now)?;
        Ok(taken.merged.withdrawn)
    }
}

/// Takes in what a file says as part of a batch.
pub(super) fn take_in(
    transaction: &Transaction<'_>,
    station: &str,
    said: Said<'_>,
    batch: &mut OpenBatch,
    now: DateTime<Utc>,
) -> Result<TakenIn, StoreError> {
    let mut refused = RefusedValues::load(transaction, station)?;
    let mut left_out = 0;
    let remaining;
    let said = match batch.kind {
        _ if refused.is_empty() => said,
        BatchKind::Feed => {
            remaining = refused.without_refused(said);
            left_out = remaining.left_out;
            remaining.said()
        }
        _ => {
            refused.accept_all(said);
            said
        }
    };
    refused.save(transaction, station)?;
    let mut intake = StationMerge {
        transaction,
        station,
        now,
        merged: Merged::default(),
        changes: BTreeMap::new(),
    };
    intake.merge(said.readings)?;
    intake.merge_rain(said.rain)?;
    intake.withdraw(said.failed)?;
    let merged = intake.merged;
    let years: Vec<YearOfChanges> = intake.changes.into_values().collect();
    batch.record(transaction, station, merged, &years, now)?;
    Ok(TakenIn {
        merged,
        left_out,
        batch: batch.number(),
    })
}

struct StationMerge<'t> {
    transaction: &'t Transaction<'t>,
    station: &'t str,
    now: DateTime<Utc>,
    merged: Merged,
    changes: BTreeMap<i32, YearOfChanges>,
}

impl StationMerge<'_> {
    fn merge(&mut self, readings: &Readings) -> Result<(), StoreError> {
        let mut days = readings.iter().peekable();
        while let Some((first, _)) = days.peek() {
            let mut year = YearOfReadings::load(self.transaction, self.station, first.year())?;
            let before = self.merged;
            while let Some((day, new)) = days.next_if(|(day, _)| day.year() == year.year()) {
                let stored = year.entry(*day);
                let old = *stored;
                self.merge_day(*day, stored, *new)?;
                let is = *stored;
                self.note(*day, Measured::Min, old.min, is.min);
                self.note(*day, Measured::Max, old.max, is.max);
            }
            let unchanged = Merged {
                unchanged: self.merged.unchanged,
                ..before
            };
            if self.merged != unchanged {
                year.save(self.transaction, self.station)?;
            }
        }
        Ok(())
    }

    fn merge_day(
        &mut self,
        day: NaiveDate,
        stored: &mut Reading,
        new: Reading,
    ) -> Result<(), StoreError> {
        let old = *stored;
        *stored = Reading {
            min: new.min.or(old.min),
            max: new.max.or(old.max),
        };
        if old == Reading::default() {
            self.merged.added += usize::from(*stored != old);
            return Ok(());
        }
        let mut revised = 0;
        for element in [Element::Min, Element::Max] {
            // The old value is kept if a new one replaces it.
            if let (Some(old), Some(new)) = (element.of(&old), element.of(&new))
                && (old - new).abs() >= SAME
            {
                self.keep_old(day, element, old, Some(new))?;
                revised += 1;
            }
        }
        let completed =
            (old.min.is_none() && new.min.is_some()) || (old.max.is_none() && new.max.is_some());
        if revised == 0 && !completed {
            *stored = old;
            self.merged.unchanged += 1;
            return Ok(());
        }
        self.merged.revised += revised;
        self.merged.completed += usize::from(completed);
        Ok(())
    }

    /// New days are added, changed amounts replace the old ones.
    fn merge_rain(&mut self, rain: &Rain) -> Result<(), StoreError> {
        let (Some((first, _)), Some((last, _))) = (rain.first_key_value(), rain.last_key_value())
        else {
            return Ok(());
        };
        let stored = stored_rain(self.transaction, self.station, *first, *last)?;
        for (day, mm) in rain {
            let old = stored.get(day).copied();
            if old != Some(*mm) {
                put_rain(self.transaction, self.station, *day, Some(*mm))?;
                self.note(*day, Measured::Rain, old, Some(*mm));
                self.merged.rain += 1;
            }
        }
        Ok(())
    }

    fn withdraw(&mut self, failed: &[(NaiveDate, Element)]) -> Result<(), StoreError> {
        for of_year in failed.chunk_by(|(one, _), (next, _)| one.year() == next.year()) {
            let (first, _) = of_year[0];
            let mut year = YearOfReadings::load(self.transaction, self.station, first.year())?;
            let before = self.merged.withdrawn;
            for (day, element) in of_year {
                if let Some(old) = element.of_mut(year.entry(*day)).take() {
                    self.keep_old(*day, *element, old, None)?;
                    self.note(*day, (*element).into(), Some(old), None);
                    self.merged.withdrawn += 1;
                }
            }
            if self.merged.withdrawn > before {
                year.save(self.transaction, self.station)?;
            }
        }
        Ok(())
    }

    fn note(&mut self, day: NaiveDate, of: Measured, was: Option<f64>, is: Option<f64>) {
        if was == is {
            return;
        }
        let year = day.year();
        self.changes
            .entry(year)
            .or_insert_with(|| YearOfChanges::empty(year))
            .note(day, of, was, is);
    }

    fn keep_old(
        &self,
        day: NaiveDate,
        element: Element,
        old: f64,
        new: Option<f64>,
    ) -> Result<(), StoreError> {
        self.transaction
            .prepare_cached(
                "INSERT INTO revision (station, day, element, old_c, new_c, seen_at)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                self.station,
                day,
                element.name(),
                old,
                new,
                self.now
            ])?;
        Ok(())
    }
}

/// A station's rain of a stretch of days.
pub(super) fn stored_rain(
    connection: &Connection,
    station: &str,
    first: NaiveDate,
    last: NaiveDate,
) -> Result<Rain, StoreError> {
    let mut statement = connection
        .prepare_cached("SELECT day, mm FROM rain WHERE station = ?1 AND day BETWEEN ?2 AND ?3")?;
    let rows = statement.query_map(params![station, first, last], |row| {
        Ok((row.get(0)?, row.get(1)?))
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Stores a day's rain in the place of what was stored, or takes it away.
pub(super) fn put_rain(
    connection: &Connection,
    station: &str,
    day: NaiveDate,
    mm: Option<f64>,
) -> Result<(), StoreError> {
    match mm {
        Some(mm) => connection
            .prepare_cached(
                "INSERT INTO rain (station, day, mm) VALUES (?1, ?2, ?3)
                 ON CONFLICT (station, day) DO UPDATE SET mm = excluded.mm",
            )?
            .execute(params![station, day, mm])?,
        None => connection
            .prepare_cached("DELETE FROM rain WHERE station = ?1 AND day = ?2")?
            .execute(params![station, day])?,
    };
    Ok(())
}
