//! Watching and milestones; recording them together with the messages they cause.

use super::outbox::{Draft, insert};
use super::{Store, StoreError, understood};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::{Crossing, PassedBy};
use crate::domain::telling::milestone_decision::Recorded;
use crate::domain::telling::notice_log::LoggedNotice;
use crate::domain::telling::season_letter::Foretold;
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{OptionalExtension, Transaction, params};

/// A site and a species.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pair<'a> {
    /// Site id.
    pub site: &'a str,
    /// Species id.
    pub species: &'a str,
}

/// One thing to write down.
#[derive(Debug, Clone, PartialEq)]
pub enum Recording<'a> {
    /// Watching a pair starts, with data through a day.
    Watch {
        /// Which pair.
        pair: Pair<'a>,
        /// The day.
        from: NaiveDate,
    },
    /// A milestone was passed.
    Passed {
        /// Which pair.
        pair: Pair<'a>,
        /// Year the season starts in.
        season: i32,
        /// The crossing.
        crossing: Crossing,
        /// Data through this day.
        data_through: Option<NaiveDate>,
        /// Whether people are told.
        told: bool,
    },
    /// A milestone is foretold.
    Foretold {
        /// Which pair.
        pair: Pair<'a>,
        /// Year the season starts in.
        season: i32,
        /// What is told.
        foretold: Foretold,
        /// The dates before which it falls in 1 and in 9 of 10 cases.
        range: (Option<NaiveDate>, Option<NaiveDate>),
    },
    /// A told date is corrected.
    Corrected {
        /// Which pair.
        pair: Pair<'a>,
        /// Year the season starts in.
        season: i32,
        /// Which milestone.
        milestone: Milestone,
        /// The date it has now.
        to: NaiveDate,
    },
    /// A told milestone is taken back.
    Withdrawn {
        /// Which pair.
        pair: Pair<'a>,
        /// Year the season starts in.
        season: i32,
        /// Which milestone.
        milestone: Milestone,
    },
    /// People are told of something else.
    Told(LoggedNotice),
    /// A digest was due, empty or not; or it is noted from when on the first one gathers.
    Digest {
        /// Recipient id.
        recipient: &'a str,
    },
}

impl Store {
    /// The day from which a pair is watched.
    pub fn watched_from(&self, pair: Pair<'_>) -> Result<Option<NaiveDate>, StoreError> {
        Ok(self
            .connection
            .query_row(
                "SELECT watched_from FROM watch WHERE site = ?1 AND species = ?2",
                [pair.site, pair.species],
                |row| row.get(0),
            )
            .optional()?)
    }

    /// The milestones recorded for a pair in a season.
    pub fn recorded(&self, pair: Pair<'_>, season: i32) -> Result<Vec<Recorded>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT milestone, passed_on, told, corrected_to, withdrawn FROM crossing
             WHERE site = ?1 AND species = ?2 AND season = ?3 ORDER BY passed_on",
        )?;
        let rows = statement.query_map(params![pair.site, pair.species, season], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, NaiveDate>(1)?,
                row.get::<_, bool>(2)?,
                row.get::<_, Option<NaiveDate>>(3)?,
                row.get::<_, bool>(4)?,
            ))
        })?;
        rows.map(|row| {
            let (name, on, told, corrected_to, withdrawn) = row?;
            Ok(Recorded {
                milestone: understood(&name, "a milestone", Milestone::from_name)?,
                on,
                told,
                corrected_to,
                withdrawn,
            })
        })
        .collect()
    }

    /// Milestones of a pair that were recorded after an instant and are told: milestone, day, and
    /// whether the calendar set it.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn passed_since(
        &self,
        pair: Pair<'_>,
        since: DateTime<Utc>,
    ) -> Result<Vec<(Milestone, NaiveDate, bool)>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT milestone, passed_on, by_date_cap FROM crossing
             WHERE site = ?1 AND species = ?2 AND recorded_at > ?3 AND told AND NOT withdrawn
             ORDER BY passed_on",
        )?;
        let rows = statement.query_map(params![pair.site, pair.species, since], |row| {
            Ok((row.get::<_, String>(0)?, row.get(1)?, row.get(2)?))
        })?;
        rows.map(|row| {
            let (name, on, by_calendar) = row?;
            Ok((
                understood(&name, "a milestone", Milestone::from_name)?,
                on,
                by_calendar,
            ))
        })
        .collect()
    }

    /// What was foretold for a pair in a season, oldest first.
    pub fn foretold(&self, pair: Pair<'_>, season: i32) -> Result<Vec<Foretold>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT milestone, lead_days, likely FROM foretold
             WHERE site = ?1 AND species = ?2 AND season = ?3 ORDER BY id",
        )?;
        let rows = statement.query_map(params![pair.site, pair.species, season], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, u32>(1)?,
                row.get::<_, NaiveDate>(2)?,
            ))
        })?;
        rows.map(|row| {
            let (name, lead_days, likely) = row?;
            Ok(Foretold {
                milestone: understood(&name, "a milestone", Milestone::from_name)?,
                lead_days,
                likely,
            })
        })
        .collect()
    }

    /// Writes entries and the messages they cause in one transaction: all of it or nothing.
    pub fn record(
        &mut self,
        entries: &[Recording<'_>],
        drafts: &[Draft<'_>],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        for entry in entries {
            write(&transaction, entry, now)?;
        }
        for draft in drafts {
            insert(&transaction, draft, now)?;
        }
        transaction.commit()?;
        Ok(())
    }
}

fn write(
    transaction: &Transaction<'_>,
    entry: &Recording<'_>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    match entry {
        Recording::Watch { pair, from } => transaction.execute(
            "INSERT INTO watch (site, species, watched_from) VALUES (?1, ?2, ?3)",
            params![pair.site, pair.species, from],
        ),
        Recording::Passed {
            pair,
            season,
            crossing,
            data_through,
            told,
        } => transaction.execute(
            "INSERT INTO crossing (site, species, season, milestone, passed_on, by_date_cap,
                 degree_days, estimated_days, data_through, recorded_at, told)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
            params![
                pair.site,
                pair.species,
                season,
                crossing.milestone.name(),
                crossing.on,
                crossing.by != PassedBy::Sum,
                crossing.degree_days,
                crossing.estimated_days,
                data_through,
                now,
                told,
            ],
        ),
        Recording::Foretold {
            pair,
            season,
            foretold,
            range,
        } => transaction.execute(
            "INSERT INTO foretold (site, species, season, milestone, lead_days, likely, told_at,
                 early, late)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            params![
                pair.site,
                pair.species,
                season,
                foretold.milestone.name(),
                foretold.lead_days,
                foretold.likely,
                now,
                range.0,
                range.1,
            ],
        ),
        Recording::Corrected {
            pair,
            season,
            milestone,
            to,
        } => transaction.execute(
            "UPDATE crossing SET corrected_to = ?5
             WHERE site = ?1 AND species = ?2 AND season = ?3 AND milestone = ?4",
            params![pair.site, pair.species, season, milestone.name(), to],
        ),
        Recording::Withdrawn {
            pair,
            season,
            milestone,
        } => transaction.execute(
            "UPDATE crossing SET withdrawn = 1
             WHERE site = ?1 AND species = ?2 AND season = ?3 AND milestone = ?4",
            params![pair.site, pair.species, season, milestone.name()],
        ),
        Recording::Digest { recipient } => transaction.execute(
            "INSERT INTO digest (recipient, last) VALUES (?1, ?2)
             ON CONFLICT (recipient) DO UPDATE SET last = excluded.last",
            params![recipient, now],
        ),
        Recording::Told(notice) => super::notice_log::insert(transaction, notice),
    }?;
    Ok(())
}
