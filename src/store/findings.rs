//! What is wrong with feeds, and the look of their last good files.

use super::held_values::{DecidedBy, decide, replace_held};
use super::outbox::{Draft, insert};
use super::{Store, StoreError, understood};
use crate::domain::telling::feed_trouble::{Finding, KnownFinding, Trouble};
use crate::station_feed::memory::{DecidedValue, FileProfile, HeldValue};
use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{OptionalExtension, Transaction, params};

/// What is told and over at once is shown for so long.
const SHOWN_FOR: TimeDelta = TimeDelta::days(14);

/// What a look at a feed changes.
#[derive(Debug, Clone, Default)]
pub struct Changes<'a> {
    /// Findings that begin.
    pub begun: Vec<&'a Finding>,
    /// Findings that go on, with what is seen now.
    pub going_on: Vec<&'a Finding>,
    /// Troubles that are over.
    pub over: Vec<Trouble>,
    /// What the next file is held against.
    pub profile: Option<&'a FileProfile>,
    /// The values that are held now, if they were looked at.
    pub held: Option<&'a [HeldValue]>,
    /// Values that time has spoken for.
    pub believed: &'a [DecidedValue],
}

impl Store {
    /// What the last good file of a station's feed looked like.
    pub fn profile(&self, station: &str) -> Result<Option<FileProfile>, StoreError> {
        let row = self
            .connection
            .query_row(
                "SELECT rows, days, first_day, newest_day, header FROM feed
                 WHERE station = ?1 AND header IS NOT NULL",
                [station],
                |row| {
                    let header: String = row.get(4)?;
                    let profile = FileProfile {
                        rows: row.get::<_, i64>(0)?.try_into().unwrap_or_default(),
                        days: row.get::<_, i64>(1)?.try_into().unwrap_or_default(),
                        first: row.get(2)?,
                        newest: row.get(3)?,
                        header: Vec::new(),
                    };
                    Ok((profile, header))
                },
            )
            .optional()?;
        row.map(|(profile, header)| {
            let header = understood(&header, "a header", |text| serde_json::from_str(text).ok())?;
            Ok(FileProfile { header, ..profile })
        })
        .transpose()
    }

    /// A station's findings that are not over.
    pub fn open_findings(&self, station: &str) -> Result<Vec<KnownFinding>, StoreError> {
        self.findings(station, None)
    }

    /// A station's findings to show: open ones, and those of the last two weeks that were over at
    /// once.
    pub fn findings_to_show(
        &self,
        station: &str,
        now: DateTime<Utc>,
    ) -> Result<Vec<KnownFinding>, StoreError> {
        self.findings(station, Some(now - SHOWN_FOR))
    }

    fn findings(
        &self,
        station: &str,
        events_since: Option<DateTime<Utc>>,
    ) -> Result<Vec<KnownFinding>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT trouble, what, since FROM finding
             WHERE station = ?1 AND (over_at IS NULL OR (over_at = since AND since > ?2))
             ORDER BY id",
        )?;
        let rows = statement.query_map(params![station, events_since], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, String>(1)?,
                row.get::<_, DateTime<Utc>>(2)?,
            ))
        })?;
        rows.map(|row| {
            let (trouble, what, since) = row?;
            Ok(KnownFinding {
                trouble: understood(&trouble, "a trouble", Trouble::from_name)?,
                what,
                since,
            })
        })
        .collect()
    }

    /// Writes down what a look at a feed changes, with the messages that tell it, in one
    /// transaction.
    pub fn note_findings(
        &mut self,
        station: &str,
        changes: &Changes<'_>,
        drafts: &[Draft<'_>],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        for finding in &changes.begun {
            let over_at = (finding.trouble == Trouble::Header).then_some(now);
            begin(&transaction, station, finding, over_at, now)?;
        }
        for finding in &changes.going_on {
            go_on(&transaction, station, finding)?;
        }
        for trouble in &changes.over {
            end(&transaction, station, *trouble, now)?;
        }
        if let Some(profile) = changes.profile {
            let header = serde_json::Value::from(profile.header.clone()).to_string();
            transaction.execute(
                "INSERT INTO feed (station, rows, days, first_day, newest_day, header)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)
                 ON CONFLICT (station) DO UPDATE SET
                     rows = excluded.rows, days = excluded.days, first_day = excluded.first_day,
                     newest_day = excluded.newest_day, header = excluded.header",
                params![
                    station,
                    profile.rows as i64,
                    profile.days as i64,
                    profile.first,
                    profile.newest,
                    header
                ],
            )?;
        }
        if let Some(held) = changes.held {
            replace_held(&transaction, station, held)?;
        }
        decide(
            &transaction,
            station,
            (changes.believed, DecidedBy::Time),
            now,
        )?;
        for draft in drafts {
            insert(&transaction, draft, now)?;
        }
        transaction.commit()?;
        Ok(())
    }
}

/// Writes a finding down; `over_at` is for one that is over at once.
pub(super) fn begin(
    transaction: &Transaction<'_>,
    station: &str,
    finding: &Finding,
    over_at: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    transaction.execute(
        "INSERT INTO finding (station, trouble, what, since, over_at)
         VALUES (?1, ?2, ?3, ?4, ?5)",
        params![station, finding.trouble.name(), finding.what, now, over_at],
    )?;
    Ok(())
}

/// Puts what is seen now in the place of what an open finding says. Says whether there is one.
pub(super) fn go_on(
    transaction: &Transaction<'_>,
    station: &str,
    finding: &Finding,
) -> Result<bool, StoreError> {
    let known = transaction.execute(
        "UPDATE finding SET what = ?3
         WHERE station = ?1 AND trouble = ?2 AND over_at IS NULL",
        params![station, finding.trouble.name(), finding.what],
    )?;
    Ok(known > 0)
}

/// Ends a station's open finding of a trouble, if there is one.
pub(super) fn end(
    transaction: &Transaction<'_>,
    station: &str,
    trouble: Trouble,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    transaction.execute(
        "UPDATE finding SET over_at = ?3
         WHERE station = ?1 AND trouble = ?2 AND over_at IS NULL",
        params![station, trouble.name(), now],
    )?;
    Ok(())
}
