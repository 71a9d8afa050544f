//! Who changed what, and who signed in: a line each, which nothing takes away.

use super::{Store, StoreError};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, params};
use serde::Serialize;

/// Something that somebody did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AuditLine {
    /// When.
    pub at: DateTime<Utc>,
    /// Recipient id; none for whoever has the machine.
    pub recipient: Option<String>,
    /// By what they were known, for example `session` or `token 3`.
    pub way: String,
    /// What they did.
    pub action: String,
    /// To what, for example an address of the page.
    pub subject: String,
    /// The address they came from, if it was not the command line.
    pub client: Option<String>,
}

pub(super) fn write(connection: &Connection, line: &AuditLine) -> Result<(), StoreError> {
    let mut statement = connection.prepare_cached(
        "INSERT INTO audit (at, recipient, way, action, subject, client)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    statement.execute(params![
        line.at,
        line.recipient,
        line.way,
        line.action,
        line.subject,
        line.client
    ])?;
    Ok(())
}

impl Store {
    /// Writes a line.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn note_audit(&self, line: &AuditLine) -> Result<(), StoreError> {
        write(&self.connection, line)
    }

    /// The newest lines, oldest first, at most so many.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn audit(&self, most: u32) -> Result<Vec<AuditLine>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT at, recipient, way, action, subject, client FROM
                 (SELECT * FROM audit ORDER BY id DESC LIMIT ?1)
             ORDER BY id",
        )?;
        let rows = statement.query_map([most], |row| {
            Ok(AuditLine {
                at: row.get(0)?,
                recipient: row.get(1)?,
                way: row.get(2)?,
                action: row.get(3)?,
                subject: row.get(4)?,
                client: row.get(5)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}
