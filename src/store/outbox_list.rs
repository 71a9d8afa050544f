//! What waits in the outbox, for people; and what they do about it.

use super::{Store, StoreError};
use chrono::{DateTime, Utc};
use rusqlite::params;
use serde::Serialize;

/// A message that was not sent yet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Unsent {
    /// Its number.
    pub number: i64,
    /// Recipient id.
    pub recipient: String,
    /// Way to reach them.
    pub channel: String,
    /// Subject or title.
    pub title: String,
    /// When it was decided on.
    pub since: DateTime<Utc>,
    /// Attempts so far.
    pub tries: u32,
    /// What the last attempt ran into.
    pub why: Option<String>,
    /// When it is tried next; never if it was given up.
    pub next_try_at: Option<DateTime<Utc>>,
    /// Whether it breaks quiet hours that let urgent messages through.
    pub urgent: bool,
}

impl Store {
    /// What waits, oldest first; or what was given up.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn unsent(&self, given_up: bool) -> Result<Vec<Unsent>, StoreError> {
        let state = if given_up { "given-up" } else { "waiting" };
        let mut statement = self.connection.prepare_cached(
            "SELECT id, recipient, channel, title, created_at, tries, last_error, next_try_at, urgent
             FROM outbox WHERE state = ?1 ORDER BY id",
        )?;
        let rows = statement.query_map([state], |row| {
            let next_try_at: DateTime<Utc> = row.get(7)?;
            Ok(Unsent {
                number: row.get(0)?,
                recipient: row.get(1)?,
                channel: row.get(2)?,
                title: row.get(3)?,
                since: row.get(4)?,
                tries: row.get(5)?,
                why: row.get(6)?,
                next_try_at: (!given_up).then_some(next_try_at),
                urgent: row.get(8)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Makes a message due now, also one that was given up, or all that wait. Says how many.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn retry(&self, number: Option<i64>, now: DateTime<Utc>) -> Result<usize, StoreError> {
        Ok(match number {
            Some(number) => self.connection.execute(
                "UPDATE outbox SET state = 'waiting', next_try_at = ?2,
                        tries = CASE state WHEN 'waiting' THEN tries ELSE 0 END
                 WHERE id = ?1 AND state <> 'sent'",
                params![number, now],
            )?,
            None => self.connection.execute(
                "UPDATE outbox SET next_try_at = ?1 WHERE state = 'waiting'",
                [now],
            )?,
        })
    }

    /// Gives a message up. Says whether it waited.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn drop_message(&self, number: i64) -> Result<bool, StoreError> {
        let dropped = self.connection.execute(
            "UPDATE outbox SET state = 'given-up', last_error = NULL
             WHERE id = ?1 AND state = 'waiting'",
            [number],
        )?;
        Ok(dropped > 0)
    }
}
