//! What people were told of treatments, counting and watering in.

use super::{Store, StoreError};
use crate::store::milestones::Pair;
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Transaction, params};

/// What was told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advised {
    /// An option's id, the number of a journal entry, [`COUNTING`], [`NOTHING_LEFT`] or
    /// [`HOLD_BACK`].
    pub subject: String,
    /// Which step of it.
    pub step: String,
    /// The day it was about.
    pub due: Option<NaiveDate>,
}

/// The subject of advice to count.
pub const COUNTING: &str = "counting";

/// The subject of: the count calls for a curative, and nothing the site would use works.
pub const NOTHING_LEFT: &str = "nothing-left";

/// The subject of: what was told of treatments no longer holds.
pub const HOLD_BACK: &str = "hold-back";

impl Store {
    /// What was told of a pair in a season, oldest first, with the time it was told.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn advised(
        &self,
        pair: Pair<'_>,
        season: i32,
    ) -> Result<Vec<(DateTime<Utc>, Advised)>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT told_at, subject, step, due FROM advised
             WHERE site = ?1 AND species = ?2 AND season = ?3 ORDER BY told_at, subject, step",
        )?;
        let rows = statement.query_map(params![pair.site, pair.species, season], |row| {
            Ok((
                row.get(0)?,
                Advised {
                    subject: row.get(1)?,
                    step: row.get(2)?,
                    due: row.get(3)?,
                },
            ))
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

pub(super) fn insert(
    transaction: &Transaction<'_>,
    pair: Pair<'_>,
    season: i32,
    advised: &Advised,
    now: DateTime<Utc>,
) -> rusqlite::Result<usize> {
    transaction.execute(
        "INSERT INTO advised (site, species, season, subject, step, due, told_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
         ON CONFLICT DO UPDATE SET due = excluded.due, told_at = excluded.told_at",
        params![
            pair.site,
            pair.species,
            season,
            advised.subject,
            advised.step,
            advised.due,
            now
        ],
    )
}
