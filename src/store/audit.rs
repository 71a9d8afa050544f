//! Who changed what, and who signed in: a line each, which nothing takes away.

use super::{Store, StoreError};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, Transaction, TransactionBehavior, params};
use serde::Serialize;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

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

/// A line that goes with a change: it is written in the change's own transaction, and once.
#[derive(Debug, Clone)]
pub struct LineOfChange {
    line: Arc<AuditLine>,
    is_written: Arc<AtomicBool>,
}

impl LineOfChange {
    /// A line that is not written yet.
    pub fn new(line: AuditLine) -> Self {
        Self {
            line: Arc::new(line),
            is_written: Arc::default(),
        }
    }

    /// The line, unless it has gone with a change already.
    pub fn unwritten(&self) -> Option<&AuditLine> {
        (!self.is_written.load(Ordering::Acquire)).then_some(&*self.line)
    }

    /// Writes the line among what is changed.
    pub(super) fn go_with(&self, transaction: &Transaction<'_>) -> Result<(), StoreError> {
        if let Some(line) = self.unwritten() {
            write(transaction, line)?;
            self.is_written.store(true, Ordering::Release);
        }
        Ok(())
    }
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

    /// Makes changes and writes their line: all of it, or nothing.
    ///
    /// # Errors
    /// What `change` says, or [`StoreError`] if the database fails.
    pub fn change_with<T>(
        &self,
        line: Option<&LineOfChange>,
        change: impl FnOnce(&Self) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let behavior = TransactionBehavior::Immediate;
        let transaction = Transaction::new_unchecked(&self.connection, behavior)?;
        let made = change(self)?;
        if let Some(line) = line {
            line.go_with(&transaction)?;
        }
        transaction.commit()?;
        Ok(made)
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
