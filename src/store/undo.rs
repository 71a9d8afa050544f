//! Taking a batch back: what was there before it comes again, unless something has changed it since.

use super::batches::{Batch, BatchKind, OpenBatch, batch_of, changes_after, changes_of};
use super::reading_year::YearOfReadings;
use super::readings::Merged;
use super::refused_values::RefusedValues;
use super::taking_in::{put_rain, stored_rain};
use super::year_of_changes::{Measured, YearOfChanges};
use super::{Store, StoreError};
use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::Reading;
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Transaction, params};

/// Why a batch cannot be undone.
#[derive(Debug, thiserror::Error)]
pub enum UndoError {
    /// There is no such batch.
    #[error("there is no batch {number}{}", newest_in_words(*newest))]
    Unknown {
        /// The number that was asked for.
        number: i64,
        /// The newest there is.
        newest: Option<i64>,
    },
    /// It was undone before.
    #[error(
        "batch {number} was undone before, by batch {by}; to bring it back: hatchbell import --undo {by}"
    )]
    UndoneBefore {
        /// The number that was asked for.
        number: i64,
        /// The undo.
        by: i64,
    },
    /// It has changed no station.
    #[error(
        "batch {0} put values into the archive of every station only, which is not undone: nothing uses them until `import --kept` takes them out, and a later file replaces them"
    )]
    ArchiveOnly(i64),
    /// Everything has been changed since.
    #[error(
        "nothing that batch {0} changed is as it left it, so there is nothing to undo; undo the later batches first (hatchbell import --list)"
    )]
    NothingLeft(i64),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

fn newest_in_words(newest: Option<i64>) -> String {
    match newest {
        Some(newest) => format!("; the newest is {newest} (hatchbell import --list)"),
        None => ": nothing was imported or revised since this version".to_owned(),
    }
}

/// What an undo did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undone {
    /// Its own number, by which it can be undone.
    pub number: i64,
    /// The batch that was undone.
    pub of: Batch,
    /// What changed at each station, by id.
    pub stations: Vec<(String, Merged)>,
    /// Days with values that were left alone, because they have changed since.
    pub left_alone: Vec<(String, NaiveDate)>,
    /// Values that are refused from the feed until it says something else.
    pub refused: usize,
}

impl Store {
    /// Takes a batch back, as a batch of its own. A dry run says what it would do and does nothing.
    ///
    /// # Errors
    /// [`UndoError`] if there is nothing to take back.
    pub fn undo_batch(
        &mut self,
        number: i64,
        dry_run: bool,
        now: DateTime<Utc>,
    ) -> Result<Undone, UndoError> {
        let newest = self.newest_batch()?;
        let transaction = self.immediate()?;
        let Some(of) = batch_of(&transaction, number)? else {
            return Err(UndoError::Unknown { number, newest });
        };
        if let Some(by) = of.undone_by {
            return Err(UndoError::UndoneBefore { number, by });
        }
        let all = changes_of(&transaction, number)?;
        if all.is_empty() && of.archived > 0 {
            return Err(UndoError::ArchiveOnly(number));
        }
        let refusing = refusing(&transaction, &of)?;
        let mut batch = OpenBatch::of(BatchKind::Undo, of.what.clone(), Some(number));
        let mut undone = Undone {
            number,
            of,
            stations: Vec::new(),
            left_alone: Vec::new(),
            refused: 0,
        };
        for (station, year) in &all {
            let later = changes_after(&transaction, number, station, year.year())?;
            let mut way_back = WayBack::new(&transaction, station, year, &later)?;
            way_back.go()?;
            undone.refused += way_back.refuse(refusing)?;
            let merged = way_back.merged;
            batch.record(&transaction, station, merged, &[way_back.changes], now)?;
            let left_alone = way_back.left_alone.into_iter();
            undone
                .left_alone
                .extend(left_alone.map(|day| (station.clone(), day)));
            ask_for_the_whole_file(&transaction, station)?;
            match undone.stations.last_mut() {
                Some((of, sum)) if of == station => *sum += merged,
                _ => undone.stations.push((station.clone(), merged)),
            }
        }
        for (station, _) in &undone.stations {
            forget_held(&transaction, station, number, now)?;
        }
        undone.number = batch.number().ok_or(UndoError::NothingLeft(number))?;
        // Files that are read again must not be passed over.
        transaction
            .execute("DELETE FROM bulk_file WHERE batch = ?1", [number])
            .map_err(StoreError::from)?;
        if !dry_run {
            transaction.commit().map_err(StoreError::from)?;
        }
        Ok(undone)
    }
}

/// Values that were held out of the batch are no longer asked about.
fn forget_held(
    transaction: &Transaction<'_>,
    station: &str,
    number: i64,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    transaction
        .prepare_cached(
            "DELETE FROM held_value
             WHERE station = ?1 AND since = (SELECT at FROM batch WHERE number = ?2)",
        )?
        .execute(params![station, number])?;
    transaction
        .prepare_cached(
            "UPDATE finding SET over_at = ?2
             WHERE station = ?1 AND trouble = 'outlier' AND over_at IS NULL
               AND NOT EXISTS (SELECT 1 FROM held_value WHERE station = ?1)",
        )?
        .execute(params![station, now])?;
    Ok(())
}

/// A feed that has days which only the batch had brought so far must not answer that nothing is new.
fn ask_for_the_whole_file(transaction: &Transaction<'_>, station: &str) -> Result<(), StoreError> {
    transaction
        .prepare_cached("UPDATE feed SET etag = NULL, last_modified = NULL WHERE station = ?1")?
        .execute([station])?;
    Ok(())
}

/// Whether what a batch brought is refused from a feed once it is undone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Refusing {
    /// It came from a feed, which would bring it again.
    Begins,
    /// It took a feed's batch back, so the feed's values are wanted again.
    Ends,
    /// It has nothing to do with a feed.
    Not,
}

fn refusing(transaction: &Transaction<'_>, batch: &Batch) -> Result<Refusing, StoreError> {
    let mut begins = true;
    let mut first = batch.clone();
    while let Some(before) = first.undoes {
        begins = !begins;
        match batch_of(transaction, before)? {
            Some(batch) => first = batch,
            None => return Ok(Refusing::Not),
        }
    }
    Ok(match (first.kind, begins) {
        (BatchKind::Feed, true) => Refusing::Begins,
        (BatchKind::Feed, false) => Refusing::Ends,
        _ => Refusing::Not,
    })
}

/// A year of a station on its way back.
struct WayBack<'t> {
    transaction: &'t Transaction<'t>,
    station: &'t str,
    undoing: &'t YearOfChanges,
    later: &'t [YearOfChanges],
    readings: YearOfReadings,
    rain: Rain,
    /// What the way back changes.
    changes: YearOfChanges,
    merged: Merged,
    left_alone: Vec<NaiveDate>,
}

impl<'t> WayBack<'t> {
    fn new(
        transaction: &'t Transaction<'t>,
        station: &'t str,
        undoing: &'t YearOfChanges,
        later: &'t [YearOfChanges],
    ) -> Result<Self, StoreError> {
        let year = undoing.year();
        let days = undoing.days();
        let rain = match (days.first(), days.last()) {
            (Some(first), Some(last)) => stored_rain(transaction, station, *first, *last)?,
            _ => Rain::new(),
        };
        Ok(Self {
            transaction,
            station,
            undoing,
            later,
            readings: YearOfReadings::load(transaction, station, year)?,
            rain,
            changes: YearOfChanges::empty(year),
            merged: Merged::default(),
            left_alone: Vec::new(),
        })
    }

    fn go(&mut self) -> Result<(), StoreError> {
        for day in self.undoing.days() {
            let has_temperatures = self.temperatures(day);
            let has_rain = self.rain(day)?;
            if !(has_temperatures && has_rain) {
                self.left_alone.push(day);
            }
        }
        self.readings.save(self.transaction, self.station)
    }

    /// Whether all that the batch changed of a day's temperatures came back.
    fn temperatures(&mut self, day: NaiveDate) -> bool {
        let old = *self.readings.entry(day);
        let min = self.before(day, Measured::Min, old.min);
        let max = self.before(day, Measured::Max, old.max);
        let is_whole = min.is_ok() && max.is_ok();
        let back = Reading {
            min: min.unwrap_or(old.min),
            max: max.unwrap_or(old.max),
        };
        // Half a day back may leave a minimum above the maximum.
        if !is_whole && matches!((back.min, back.max), (Some(min), Some(max)) if min > max) {
            return false;
        }
        *self.readings.entry(day) = back;
        self.changes.note(day, Measured::Min, old.min, back.min);
        self.changes.note(day, Measured::Max, old.max, back.max);
        count(&mut self.merged, old, back);
        is_whole
    }

    /// Whether a day's rain came back, if the batch changed it.
    fn rain(&mut self, day: NaiveDate) -> Result<bool, StoreError> {
        let old = self.rain.get(&day).copied();
        let Ok(back) = self.before(day, Measured::Rain, old) else {
            return Ok(false);
        };
        if old != back {
            put_rain(self.transaction, self.station, day, back)?;
            self.changes.note(day, Measured::Rain, old, back);
            self.merged.rain += 1;
        }
        Ok(true)
    }

    /// What a value was before the batch, which is what it is where the batch did not change it.
    fn before(&self, day: NaiveDate, of: Measured, is: Option<f64>) -> Result<Option<f64>, Since> {
        let Some(change) = self.undoing.of(day, of) else {
            return Ok(is);
        };
        // What the batch made of it is what the next change found, and what is there if none came:
        // without a batch values are only ever added.
        let next = self.later.iter().find_map(|year| year.of(day, of));
        let made = match (change.is_known, next) {
            (false, _) => None,
            (true, Some(next)) => next.was,
            (true, None) => is,
        };
        let bits = |value: Option<f64>| value.map(f64::to_bits);
        match bits(made) == bits(is) {
            true => Ok(change.was),
            false => Err(Since),
        }
    }

    /// Refuses from the feed what is gone, or accepts it again; returns how many values are refused.
    fn refuse(&self, refusing: Refusing) -> Result<usize, StoreError> {
        if refusing == Refusing::Not {
            return Ok(0);
        }
        let mut refused = RefusedValues::load(self.transaction, self.station)?;
        let mut count = 0;
        for day in self.changes.days() {
            for of in [Measured::Min, Measured::Max, Measured::Rain] {
                let Some(change) = self.changes.of(day, of) else {
                    continue;
                };
                match refusing {
                    Refusing::Begins => {
                        refused.refuse(day, of, change.was);
                        count += 1;
                    }
                    _ => refused.accept(day, of),
                }
            }
        }
        refused.save(self.transaction, self.station)?;
        Ok(count)
    }
}

/// A value has changed since.
struct Since;

fn count(merged: &mut Merged, old: Reading, back: Reading) {
    let nothing = Reading::default();
    if old == back {
        return;
    }
    if back == nothing {
        merged.removed += 1;
        return;
    }
    if old == nothing {
        merged.added += 1;
        return;
    }
    let mut completed = false;
    for (old, back) in [(old.min, back.min), (old.max, back.max)] {
        match (old, back) {
            (None, Some(_)) => completed = true,
            (Some(_), None) => merged.withdrawn += 1,
            (old, back) => merged.revised += usize::from(old != back),
        }
    }
    merged.completed += usize::from(completed);
}
