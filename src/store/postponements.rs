//! Tasks that somebody put off for some days. Each ends by itself.

use super::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::params;

/// A task that somebody put off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Postponement {
    /// Site id.
    pub site: String,
    /// What, by its name for scripts.
    pub task: String,
    /// The option it is about; empty if it is about none.
    pub option: String,
    /// The day on which it is shown again.
    pub until: NaiveDate,
}

impl Store {
    /// Puts a task off; one that is put off already gets the new day.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn put_off(&self, what: &Postponement, now: DateTime<Utc>) -> Result<(), StoreError> {
        self.connection.execute(
            "INSERT OR REPLACE INTO postponement (site, task, option, until, made_at)
             VALUES (?1, ?2, ?3, ?4, ?5)",
            params![what.site, what.task, what.option, what.until, now],
        )?;
        Ok(())
    }

    /// Takes back that a task is put off; whether it was.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn take_up_again(&self, site: &str, task: &str) -> Result<bool, StoreError> {
        let changed = self.connection.execute(
            "DELETE FROM postponement WHERE site = ?1 AND task = ?2",
            [site, task],
        )?;
        Ok(changed > 0)
    }

    /// The tasks that are still put off on a day.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn put_off_on(&self, day: NaiveDate) -> Result<Vec<Postponement>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT site, task, option, until FROM postponement WHERE until > ?1
             ORDER BY site, task, option",
        )?;
        let rows = statement.query_map([day], |row| {
            Ok(Postponement {
                site: row.get(0)?,
                task: row.get(1)?,
                option: row.get(2)?,
                until: row.get(3)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}
