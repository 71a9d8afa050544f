//! Numbered batches: what each import, each feed's revision and each undo changed, so that it can be
//! taken back.
//!
//! Imports are batches whatever they change; a feed's file is one only where it revises or takes back
//! what is stored, since new days are what feeds are for.

use super::readings::Merged;
use super::year_of_changes::{Measured, YearOfChanges};
use super::{Store, StoreError, understood};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

/// Who made a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BatchKind {
    /// Someone, by `import`.
    Import,
    /// A feed.
    Feed,
    /// Someone who took a batch back.
    Undo,
}

impl BatchKind {
    /// Every kind with the name it has in the store.
    pub const NAMED: [(&'static str, BatchKind); 3] = [
        ("import", BatchKind::Import),
        ("feed", BatchKind::Feed),
        ("undo", BatchKind::Undo),
    ];

    /// The name in the store.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }
}

/// A batch that is being written. It gets its number with the first change.
#[derive(Debug, Clone)]
pub struct OpenBatch {
    pub(super) kind: BatchKind,
    pub(super) what: String,
    pub(super) undoes: Option<i64>,
    pub(super) number: Option<i64>,
}

impl OpenBatch {
    /// A batch of files that someone imports; `what` names them.
    pub fn of_import(what: String) -> Self {
        Self::of(BatchKind::Import, what, None)
    }

    /// A batch of a feed; `what` is its address or file.
    pub fn of_feed(what: String) -> Self {
        Self::of(BatchKind::Feed, what, None)
    }

    pub(super) fn of(kind: BatchKind, what: String, undoes: Option<i64>) -> Self {
        Self {
            kind,
            what,
            undoes,
            number: None,
        }
    }

    /// Its number; none while nothing has changed.
    pub fn number(&self) -> Option<i64> {
        self.number
    }

    /// The number, taken now if it has none.
    pub(super) fn numbered(
        &mut self,
        transaction: &Transaction<'_>,
        now: DateTime<Utc>,
    ) -> Result<i64, StoreError> {
        if let Some(number) = self.number {
            return Ok(number);
        }
        transaction
            .prepare_cached("INSERT INTO batch (at, kind, what, undoes) VALUES (?1, ?2, ?3, ?4)")?
            .execute(params![now, self.kind.name(), self.what, self.undoes])?;
        let number = transaction.last_insert_rowid();
        self.number = Some(number);
        Ok(number)
    }

    /// Writes down what was changed of a station, unless it is what feeds are for.
    pub(super) fn record(
        &mut self,
        transaction: &Transaction<'_>,
        station: &str,
        merged: Merged,
        years: &[YearOfChanges],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let is_worth_it = match self.kind {
            BatchKind::Feed => {
                merged.revised + merged.withdrawn > 0 || years.iter().any(revises_rain)
            }
            _ => years.iter().any(|year| !year.is_empty()),
        };
        if !is_worth_it {
            return Ok(());
        }
        let number = self.numbered(transaction, now)?;
        transaction
            .prepare_cached(
                "INSERT INTO batch_station
                     (batch, station, added, completed, revised, withdrawn, removed, rain)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
                 ON CONFLICT (batch, station) DO UPDATE SET
                     added = added + excluded.added,
                     completed = completed + excluded.completed,
                     revised = revised + excluded.revised,
                     withdrawn = withdrawn + excluded.withdrawn,
                     removed = removed + excluded.removed,
                     rain = rain + excluded.rain",
            )?
            .execute(params![
                number,
                station,
                merged.added as i64,
                merged.completed as i64,
                merged.revised as i64,
                merged.withdrawn as i64,
                merged.removed as i64,
                merged.rain as i64
            ])?;
        for year in years.iter().filter(|year| !year.is_empty()) {
            append(transaction, number, station, year)?;
        }
        Ok(())
    }
}

fn revises_rain(year: &YearOfChanges) -> bool {
    let of_rain = |day| year.of(day, Measured::Rain);
    let mut changes = year.days().into_iter().filter_map(of_rain);
    changes.any(|change| change.was.is_some())
}

/// Adds changes to those of a batch.
fn append(
    transaction: &Transaction<'_>,
    batch: i64,
    station: &str,
    year: &YearOfChanges,
) -> Result<(), StoreError> {
    let key = params![station, year.year(), batch];
    let known = transaction
        .prepare_cached(
            "SELECT changes FROM batch_year WHERE station = ?1 AND year = ?2 AND batch = ?3",
        )?
        .query_row(key, |row| row.get::<_, Vec<u8>>(0))
        .optional()?;
    let bytes = match known {
        Some(known) => {
            let mut all = YearOfChanges::unpacked(year.year(), &known)?;
            all.then(year);
            all.packed()
        }
        None => year.packed(),
    };
    transaction
        .prepare_cached(
            "INSERT INTO batch_year (station, year, batch, changes) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (station, year, batch) DO UPDATE SET changes = excluded.changes",
        )?
        .execute(params![station, year.year(), batch, bytes])?;
    Ok(())
}

/// The changes of a batch: every station and year.
pub(super) fn changes_of(
    connection: &Connection,
    batch: i64,
) -> Result<Vec<(String, YearOfChanges)>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT station, year, changes FROM batch_year WHERE batch = ?1 ORDER BY station, year",
    )?;
    let mut rows = statement.query([batch])?;
    let mut changes = Vec::new();
    while let Some(row) = rows.next()? {
        let bytes: Vec<u8> = row.get(2)?;
        changes.push((row.get(0)?, YearOfChanges::unpacked(row.get(1)?, &bytes)?));
    }
    Ok(changes)
}

/// What later batches changed of a station's year, in their order.
pub(super) fn changes_after(
    connection: &Connection,
    batch: i64,
    station: &str,
    year: i32,
) -> Result<Vec<YearOfChanges>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT changes FROM batch_year
         WHERE station = ?1 AND year = ?2 AND batch > ?3 ORDER BY batch",
    )?;
    let mut rows = statement.query(params![station, year, batch])?;
    let mut changes = Vec::new();
    while let Some(row) = rows.next()? {
        let bytes: Vec<u8> = row.get(0)?;
        changes.push(YearOfChanges::unpacked(year, &bytes)?);
    }
    Ok(changes)
}

/// A batch as it is shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Batch {
    /// Its number; later batches have higher ones.
    pub number: i64,
    /// When it was written.
    pub at: DateTime<Utc>,
    /// Who made it.
    pub kind: BatchKind,
    /// The files or the address it came from.
    pub what: String,
    /// The batch that it took back.
    pub undoes: Option<i64>,
    /// The undo that took it back, unless that was taken back itself.
    pub undone_by: Option<i64>,
    /// Values that went to the archive of every station; they are not undone.
    pub archived: usize,
    /// What it did to each station, by id.
    pub stations: Vec<(String, Merged)>,
}

impl Store {
    /// The newest batches, newest first; only those of a station if one is named.
    pub fn batches(&self, station: Option<&str>, most: usize) -> Result<Vec<Batch>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT number, at, kind, what, undoes, archived FROM batch
             WHERE ?1 IS NULL
                OR number IN (SELECT batch FROM batch_station WHERE station = ?1)
             ORDER BY number DESC LIMIT ?2",
        )?;
        let mut rows = statement.query(params![station, most as i64])?;
        let mut batches = Vec::new();
        while let Some(row) = rows.next()? {
            batches.push(batch(&self.connection, row)?);
        }
        Ok(batches)
    }

    /// The number of the newest batch.
    pub fn newest_batch(&self) -> Result<Option<i64>, StoreError> {
        Ok(self
            .connection
            .query_row("SELECT max(number) FROM batch", [], |row| row.get(0))?)
    }
}

/// A batch by its number.
pub(super) fn batch_of(connection: &Connection, number: i64) -> Result<Option<Batch>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT number, at, kind, what, undoes, archived FROM batch WHERE number = ?1",
    )?;
    let mut rows = statement.query([number])?;
    match rows.next()? {
        Some(row) => Ok(Some(batch(connection, row)?)),
        None => Ok(None),
    }
}

fn batch(connection: &Connection, row: &Row<'_>) -> Result<Batch, StoreError> {
    let number: i64 = row.get(0)?;
    let kind: String = row.get(2)?;
    Ok(Batch {
        number,
        at: row.get(1)?,
        kind: understood(&kind, "the kind of a batch", |kind| {
            crate::domain::named(&BatchKind::NAMED, kind)
        })?,
        what: row.get(3)?,
        undoes: row.get(4)?,
        undone_by: undone_by(connection, number)?,
        archived: row.get::<_, i64>(5)? as usize,
        stations: stations_of(connection, number)?,
    })
}

/// The undo of a batch that was not taken back itself.
fn undone_by(connection: &Connection, number: i64) -> Result<Option<i64>, StoreError> {
    let mut statement = connection
        .prepare_cached("SELECT number FROM batch WHERE undoes = ?1 ORDER BY number DESC")?;
    let undos = statement
        .query_map([number], |row| row.get(0))?
        .collect::<Result<Vec<i64>, _>>()?;
    for undo in undos {
        if undone_by(connection, undo)?.is_none() {
            return Ok(Some(undo));
        }
    }
    Ok(None)
}

fn stations_of(connection: &Connection, number: i64) -> Result<Vec<(String, Merged)>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT station, added, completed, revised, withdrawn, removed, rain
         FROM batch_station WHERE batch = ?1 ORDER BY station",
    )?;
    let rows = statement.query_map([number], |row| {
        let count = |place| row.get::<_, i64>(place).map(|count| count as usize);
        let merged = Merged {
            added: count(1)?,
            completed: count(2)?,
            revised: count(3)?,
            withdrawn: count(4)?,
            removed: count(5)?,
            rain: count(6)?,
            ..Merged::default()
        };
        Ok((row.get(0)?, merged))
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}
