//! Since when all is well, and when the operator was last told how it is.

use super::outbox::{Draft, insert};
use super::{Store, StoreError, understood};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, params};

/// Since when nothing has been wrong.
const HEALTHY_SINCE: &str = "healthy-since";
/// When the last proof of life was written.
const PROOF_OF_LIFE: &str = "proof-of-life";

impl Store {
    /// Since when nothing has been wrong; none if something is.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn healthy_since(&self) -> Result<Option<DateTime<Utc>>, StoreError> {
        instant(&self.connection, HEALTHY_SINCE)
    }

    /// Notes since when nothing has been wrong, or that something is.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn note_health(&self, since: Option<DateTime<Utc>>) -> Result<(), StoreError> {
        match since {
            Some(since) => note(&self.connection, HEALTHY_SINCE, since)?,
            None => {
                let sql = "DELETE FROM note WHERE name = ?1";
                self.connection.execute(sql, [HEALTHY_SINCE])?;
            }
        }
        Ok(())
    }

    /// When the last proof of life was written.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn last_proof_of_life(&self) -> Result<Option<DateTime<Utc>>, StoreError> {
        instant(&self.connection, PROOF_OF_LIFE)
    }

    /// Writes a proof of life and notes that it was, together.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn write_proof_of_life(
        &mut self,
        drafts: &[Draft<'_>],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        for draft in drafts {
            insert(&transaction, draft, now)?;
        }
        note(&transaction, PROOF_OF_LIFE, now)?;
        transaction.commit()?;
        Ok(())
    }
}

fn note(connection: &Connection, name: &str, instant: DateTime<Utc>) -> rusqlite::Result<()> {
    let sql = "INSERT INTO note (name, value) VALUES (?1, ?2)
               ON CONFLICT (name) DO UPDATE SET value = excluded.value";
    connection.execute(sql, params![name, instant.to_rfc3339()])?;
    Ok(())
}

fn instant(connection: &Connection, name: &str) -> Result<Option<DateTime<Utc>>, StoreError> {
    let sql = "SELECT value FROM note WHERE name = ?1";
    let text: Option<String> = connection
        .query_row(sql, [name], |row| row.get(0))
        .optional()?;
    let read = |text: &str| {
        DateTime::parse_from_rfc3339(text)
            .ok()
            .map(|one| one.to_utc())
    };
    text.map(|text| understood(&text, "an instant", read))
        .transpose()
}
