//! Files of many stations: which were read to their end, and the archive of every station.

use super::batches::OpenBatch;
use super::readings::Merged;
use super::taking_in::{Said, take_in};
use super::{Store, StoreError};
use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::{Reading, Readings};
use crate::station_feed::parsed::Parsed;
use crate::station_feed::station_year::{FAILED, Packed, SLOTS, StationYear, UNKNOWN, YearPage};
use crate::station_feed::version::FileMark;
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{OptionalExtension, Transaction, params};

/// The years of the archive from ?1 on, as `known (year)`: one look into the index for each, where
/// a plain DISTINCT would pass every page.
const ARCHIVED_YEARS: &str = "
    WITH RECURSIVE known (year) AS (
        SELECT min(year) FROM archive WHERE year >= ?1
        UNION ALL
        SELECT (SELECT min(year) FROM archive WHERE year > known.year)
        FROM known WHERE known.year IS NOT NULL
    )";

/// Memory for pages of the database while files are read, KiB.
const CACHE_KIB: i64 = 16 << 10;

/// What was put into the archive, in values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Archived {
    /// Not known before.
    pub added: usize,
    /// Changed; the archive keeps the new value only.
    pub changed: usize,
    /// Taken back, because they have failed their publisher's quality check since.
    pub withdrawn: usize,
}

impl std::ops::AddAssign for Archived {
    fn add_assign(&mut self, more: Self) {
        self.added += more.added;
        self.changed += more.changed;
        self.withdrawn += more.withdrawn;
    }
}

impl Store {
    /// Makes room in memory for many rows.
    pub fn expect_many_rows(&self) -> Result<(), StoreError> {
        Ok(self
            .connection
            .pragma_update(None, "cache_size", -CACHE_KIB)?)
    }

    /// Puts what was written into the database file itself and makes it durable there, as far as no
    /// other process is reading.
    pub fn settle(&self) -> Result<(), StoreError> {
        self.connection
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?;
        Ok(())
    }

    /// When a file, unchanged since, was read to its end for a taker: a station, or the archive.
    pub fn finished(
        &self,
        file: &FileMark,
        taker: &str,
    ) -> Result<Option<DateTime<Utc>>, StoreError> {
        let found = self.connection.query_row(
            "SELECT finished_at FROM bulk_file
             WHERE path = ?1 AND taker = ?2 AND bytes = ?3 AND modified = ?4",
            params![
                file.path.to_string_lossy(),
                taker,
                file.bytes as i64,
                file.modified
            ],
            |row| row.get(0),
        );
        Ok(found.optional()?)
    }

    /// Notes that a file was read to its end for these takers, each with the batch whose undo makes
    /// it unread again.
    pub fn note_finished(
        &mut self,
        file: &FileMark,
        takers: &[(String, Option<i64>)],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        for (taker, batch) in takers {
            transaction
                .prepare_cached(
                    "INSERT INTO bulk_file (path, taker, bytes, modified, finished_at, batch)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6)
                     ON CONFLICT (path, taker) DO UPDATE SET
                         bytes = excluded.bytes,
                         modified = excluded.modified,
                         finished_at = excluded.finished_at,
                         batch = excluded.batch",
                )?
                .execute(params![
                    file.path.to_string_lossy(),
                    taker,
                    file.bytes as i64,
                    file.modified,
                    now,
                    batch
                ])?;
        }
        transaction.commit()?;
        Ok(())
    }

    /// Merges what a file says of several stations as part of a batch, all or nothing. The results are
    /// in the order of the stations.
    pub fn merge_all(
        &mut self,
        stations: &[(&str, &Parsed)],
        batch: &mut OpenBatch,
        now: DateTime<Utc>,
    ) -> Result<Vec<Merged>, StoreError> {
        let transaction = self.immediate()?;
        let mut merged = Vec::with_capacity(stations.len());
        let mut open = batch.clone();
        for (station, parsed) in stations {
            let said = Said::of(parsed);
            merged.push(take_in(&transaction, station, said, &mut open, now)?.merged);
        }
        transaction.commit()?;
        *batch = open;
        Ok(merged)
    }

    /// Lays years of stations over those of the archive, all or nothing: new values are added,
    /// changed ones replace the old ones, failed ones are taken back, nothing else is deleted. The
    /// batch counts them; they are not undone.
    pub fn archive(
        &mut self,
        years: impl Iterator<Item = StationYear>,
        batch: &mut OpenBatch,
        now: DateTime<Utc>,
    ) -> Result<Archived, StoreError> {
        let transaction = self.immediate()?;
        let mut archived = Archived::default();
        for year in years {
            let named = Packed::NAMED.iter().zip(&year.pages);
            for ((element, _), page) in named {
                if let Some(page) = page {
                    archived += lay_over(&transaction, &year, element, page)?;
                }
            }
        }
        let mut open = batch.clone();
        if archived != Archived::default() {
            let number = open.numbered(&transaction, now)?;
            let values = archived.added + archived.changed + archived.withdrawn;
            transaction
                .prepare_cached("UPDATE batch SET archived = archived + ?2 WHERE number = ?1")?
                .execute(params![number, values as i64])?;
        }
        transaction.commit()?;
        *batch = open;
        Ok(archived)
    }

    /// The years of which the archive has anything, in ascending order.
    pub fn archived_years(&self) -> Result<Vec<i32>, StoreError> {
        let mut years = self.connection.prepare_cached(&format!(
            "{ARCHIVED_YEARS} SELECT year FROM known WHERE year IS NOT NULL ORDER BY year"
        ))?;
        let years = years.query_map([i32::MIN], |row| row.get(0))?;
        Ok(years.collect::<Result<_, _>>()?)
    }

    /// What the archive has of a station, by its code, from a year on.
    pub fn archived(&self, code: &str, since: i32) -> Result<(Readings, Rain), StoreError> {
        let (mut readings, mut rain) = (Readings::new(), Rain::new());
        let mut years = self.connection.prepare_cached(&format!(
            "{ARCHIVED_YEARS}
             SELECT archive.year, element, days FROM known, archive
             WHERE archive.year = known.year AND code = ?2"
        ))?;
        let mut rows = years.query(params![since, code])?;
        while let Some(row) = rows.next()? {
            let element: String = row.get(1)?;
            let packed = crate::domain::named(&Packed::NAMED, &element);
            let stored: Vec<u8> = row.get(2)?;
            for (day, value) in days(row.get(0)?, &page(&stored)?) {
                match packed {
                    Some(Packed::Max) => readings.entry(day).or_default().max = Some(value),
                    Some(Packed::Min) => readings.entry(day).or_default().min = Some(value),
                    Some(Packed::Rain) => {
                        rain.insert(day, value);
                    }
                    None => {}
                }
            }
        }
        readings.retain(|_, reading| !is_swapped(reading));
        Ok((readings, rain))
    }
}

/// The two extremes may have come from different files.
fn is_swapped(reading: &Reading) -> bool {
    matches!((reading.min, reading.max), (Some(min), Some(max)) if min > max)
}

fn lay_over(
    transaction: &Transaction<'_>,
    year: &StationYear,
    element: &str,
    new: &YearPage,
) -> Result<Archived, StoreError> {
    let key = params![year.year, year.code, element];
    let known = transaction
        .prepare_cached("SELECT days FROM archive WHERE year = ?1 AND code = ?2 AND element = ?3")?
        .query_row(key, |row| row.get::<_, Vec<u8>>(0))
        .optional()?;
    let mut merged = known.as_deref().map_or(Ok([UNKNOWN; SLOTS]), page)?;
    let mut archived = Archived::default();
    for (slot, new) in merged.iter_mut().zip(new) {
        match (*slot, *new) {
            (_, UNKNOWN) | (UNKNOWN, FAILED) => continue,
            (known, new) if known == new => continue,
            (_, FAILED) => archived.withdrawn += 1,
            (UNKNOWN, _) => archived.added += 1,
            _ => archived.changed += 1,
        }
        *slot = if *new == FAILED { UNKNOWN } else { *new };
    }
    if archived == Archived::default() {
        return Ok(archived);
    }
    let mut bytes = [0; 2 * SLOTS];
    for (place, slot) in bytes.chunks_exact_mut(2).zip(merged) {
        place.copy_from_slice(&slot.to_le_bytes());
    }
    transaction
        .prepare_cached(
            "INSERT INTO archive (year, code, element, days) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (year, code, element) DO UPDATE SET days = excluded.days",
        )?
        .execute(params![year.year, year.code, element, &bytes[..]])?;
    Ok(archived)
}

/// The slots of a stored page.
fn page(bytes: &[u8]) -> Result<YearPage, StoreError> {
    if bytes.len() != 2 * SLOTS {
        return Err(StoreError::Value {
            value: format!("{} bytes", bytes.len()),
            wanted: "a year of days",
        });
    }
    let mut page = [UNKNOWN; SLOTS];
    for (slot, pair) in page.iter_mut().zip(bytes.chunks_exact(2)) {
        *slot = i16::from_le_bytes([pair[0], pair[1]]);
    }
    Ok(page)
}

/// The known days of a page, °C or mm.
fn days(year: i32, page: &YearPage) -> impl Iterator<Item = (NaiveDate, f64)> {
    (1..).zip(page).filter_map(move |(ordinal, slot)| {
        let day = NaiveDate::from_yo_opt(year, ordinal)?;
        (*slot > FAILED).then(|| (day, f64::from(*slot) / 10.0))
    })
}
