//! The journal: what people saw and did. Entries are undone, never deleted.

use super::{Store, StoreError};
use crate::store::milestones::Pair;
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::params;

/// A logged catch or first sighting of adults.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Catch {
    /// Its number, for undoing.
    pub number: i64,
    /// Site id.
    pub site: String,
    /// Species id.
    pub species: String,
    /// The day.
    pub day: NaiveDate,
    /// Remark.
    pub remark: Option<String>,
}

impl Store {
    /// Logs a catch; returns its number.
    pub fn log_catch(
        &self,
        pair: Pair<'_>,
        day: NaiveDate,
        remark: Option<&str>,
        now: DateTime<Utc>,
    ) -> Result<i64, StoreError> {
        self.connection.execute(
            "INSERT INTO journal (kind, site, species, day, remark, entered_at)
             VALUES ('catch', ?1, ?2, ?3, ?4, ?5)",
            params![pair.site, pair.species, day, remark, now],
        )?;
        Ok(self.connection.last_insert_rowid())
    }

    /// A pair's catches that stand, oldest first.
    pub fn catches(&self, pair: Pair<'_>) -> Result<Vec<Catch>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, site, species, day, remark FROM journal
             WHERE kind = 'catch' AND site = ?1 AND species = ?2 AND removed_at IS NULL
             ORDER BY day, id",
        )?;
        let rows = statement.query_map([pair.site, pair.species], |row| {
            Ok(Catch {
                number: row.get(0)?,
                site: row.get(1)?,
                species: row.get(2)?,
                day: row.get(3)?,
                remark: row.get(4)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Undoes an entry; whether there was one that stood.
    pub fn undo(&self, number: i64, now: DateTime<Utc>) -> Result<bool, StoreError> {
        let changed = self.connection.execute(
            "UPDATE journal SET removed_at = ?2 WHERE id = ?1 AND removed_at IS NULL",
            params![number, now],
        )?;
        Ok(changed == 1)
    }
}
