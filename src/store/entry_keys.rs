//! The keys that forms come with: a form that is sent twice makes one entry.

use super::{Store, StoreError};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, params};

impl Store {
    /// A key that no form has come with, random.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn fresh_key(&self) -> Result<String, StoreError> {
        let sql = "SELECT lower(hex(randomblob(16)))";
        Ok(self.connection.query_row(sql, [], |row| row.get(0))?)
    }

    /// The entry of a site that a form with this key made before.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn made_with(&self, site: &str, key: &str) -> Result<Option<i64>, StoreError> {
        entry_of_key(&self.connection, site, Some(key))
    }
}

/// The entry of a site that came with this key.
pub(super) fn entry_of_key(
    connection: &Connection,
    site: &str,
    key: Option<&str>,
) -> Result<Option<i64>, StoreError> {
    let Some(key) = key else {
        return Ok(None);
    };
    let mut statement = connection.prepare_cached(
        "SELECT journal.id FROM entry_key JOIN journal ON journal.id = entry_key.entry
         WHERE entry_key.key = ?1 AND journal.site = ?2",
    )?;
    Ok(statement
        .query_row([key, site], |row| row.get(0))
        .optional()?)
}

/// Keeps the key that an entry came with.
pub(super) fn keep_key(
    connection: &Connection,
    key: Option<&str>,
    entry: i64,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    if let Some(key) = key {
        connection.execute(
            "INSERT OR IGNORE INTO entry_key (key, entry, kept_at) VALUES (?1, ?2, ?3)",
            params![key, entry, now],
        )?;
    }
    Ok(())
}
