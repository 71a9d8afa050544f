//! What is known of each feed, and notes about the service itself.

use super::{Store, StoreError, understood};
use crate::station_feed::version::Validators;
use chrono::{DateTime, Utc};
use rusqlite::{OptionalExtension, Row, params};

/// What is known of a station's feed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FeedState {
    /// The way it was read last time.
    pub fingerprint: String,
    /// What the server said of that version.
    pub validators: Validators,
    /// The last attempt.
    pub last_tried: Option<DateTime<Utc>>,
    /// The last attempt that ended well.
    pub last_good: Option<DateTime<Utc>>,
    /// Since when every attempt has failed.
    pub failing_since: Option<DateTime<Utc>>,
    /// What the last attempt ran into.
    pub problem: Option<String>,
}

impl Store {
    /// What is known of a station's feed; nothing is the default.
    pub fn feed(&self, station: &str) -> Result<FeedState, StoreError> {
        let state = self
            .connection
            .query_row(
                "SELECT fingerprint, etag, last_modified, last_tried, last_good, failing_since,
                        problem
                 FROM feed WHERE station = ?1",
                [station],
                state,
            )
            .optional()?;
        Ok(state.unwrap_or_default())
    }

    /// Notes an attempt that ended well. Without validators the known ones stay.
    pub fn feed_went_well(
        &self,
        station: &str,
        fingerprint: &str,
        validators: Option<&Validators>,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        self.connection.execute(
            "INSERT INTO feed (station, fingerprint, etag, last_modified, last_tried, last_good)
             VALUES (?1, ?2, ?3, ?4, ?5, ?5)
             ON CONFLICT (station) DO UPDATE SET
                 fingerprint = excluded.fingerprint,
                 etag = CASE WHEN ?6 THEN excluded.etag ELSE etag END,
                 last_modified = CASE WHEN ?6 THEN excluded.last_modified ELSE last_modified END,
                 last_tried = excluded.last_tried,
                 last_good = excluded.last_good,
                 failing_since = NULL,
                 problem = NULL",
            params![
                station,
                fingerprint,
                validators.and_then(|v| v.etag.as_deref()),
                validators.and_then(|v| v.last_modified.as_deref()),
                now,
                validators.is_some(),
            ],
        )?;
        Ok(())
    }

    /// Notes an attempt that failed. Readings and validators stay as they are.
    pub fn feed_failed(
        &self,
        station: &str,
        problem: &str,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        self.connection.execute(
            "INSERT INTO feed (station, last_tried, failing_since, problem)
             VALUES (?1, ?2, ?2, ?3)
             ON CONFLICT (station) DO UPDATE SET
                 last_tried = excluded.last_tried,
                 failing_since = coalesce(failing_since, excluded.failing_since),
                 problem = excluded.problem",
            params![station, now, problem],
        )?;
        Ok(())
    }

    /// A number that changes when another connection has written something.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn version(&self) -> Result<i64, StoreError> {
        Ok(self
            .connection
            .pragma_query_value(None, "data_version", |row| row.get(0))?)
    }

    /// When the last whole cycle ended.
    pub fn last_cycle(&self) -> Result<Option<DateTime<Utc>>, StoreError> {
        let text: Option<String> = self
            .connection
            .query_row(
                "SELECT value FROM note WHERE name = 'last-cycle'",
                [],
                |row| row.get(0),
            )
            .optional()?;
        text.map(|text| {
            understood(&text, "an instant", |text| {
                DateTime::parse_from_rfc3339(text)
                    .ok()
                    .map(|instant| instant.with_timezone(&Utc))
            })
        })
        .transpose()
    }

    /// Notes that a whole cycle has ended.
    pub fn note_cycle(&self, now: DateTime<Utc>) -> Result<(), StoreError> {
        self.connection.execute(
            "INSERT INTO note (name, value) VALUES ('last-cycle', ?1)
             ON CONFLICT (name) DO UPDATE SET value = excluded.value",
            [now.to_rfc3339()],
        )?;
        Ok(())
    }
}

fn state(row: &Row<'_>) -> rusqlite::Result<FeedState> {
    Ok(FeedState {
        fingerprint: row.get(0)?,
        validators: Validators {
            etag: row.get(1)?,
            last_modified: row.get(2)?,
        },
        last_tried: row.get(3)?,
        last_good: row.get(4)?,
        failing_since: row.get(5)?,
        problem: row.get(6)?,
    })
}
