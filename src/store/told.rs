//! What was told of milestones, with the day it was told: for looking back.

use super::{Store, StoreError, understood};
use crate::domain::look_back::{Announced, Foretelling};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::telling::milestone_decision::Recorded;
use crate::store::milestones::Pair;
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::params;

impl Store {
    /// The milestones recorded for a pair in a season, with the day (UTC) they were recorded.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn announced(&self, pair: Pair<'_>, season: i32) -> Result<Vec<Announced>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT milestone, recorded_at FROM crossing
             WHERE site = ?1 AND species = ?2 AND season = ?3",
        )?;
        let rows = statement.query_map(params![pair.site, pair.species, season], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, DateTime<Utc>>(1)?))
        })?;
        let days: Vec<(String, DateTime<Utc>)> = rows.collect::<Result<_, _>>()?;
        let day_of = |recorded: &Recorded| {
            let name = recorded.milestone.name();
            days.iter().find(|(of, _)| of == name).map(|(_, at)| *at)
        };
        Ok(self
            .recorded(pair, season)?
            .into_iter()
            .filter_map(|recorded| {
                let on = day_of(&recorded)?.date_naive();
                Some(Announced { on, recorded })
            })
            .collect())
    }

    /// The early notices of a pair in a season with the day (UTC) they were told, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn foretellings(
        &self,
        pair: Pair<'_>,
        season: i32,
    ) -> Result<Vec<Foretelling>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT milestone, told_at, lead_days, likely, early, late FROM foretold
             WHERE site = ?1 AND species = ?2 AND season = ?3 ORDER BY id",
        )?;
        let rows = statement.query_map(params![pair.site, pair.species, season], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, DateTime<Utc>>(1)?,
                row.get::<_, u32>(2)?,
                row.get::<_, NaiveDate>(3)?,
                row.get::<_, Option<NaiveDate>>(4)?,
                row.get::<_, Option<NaiveDate>>(5)?,
            ))
        })?;
        rows.map(|row| {
            let (name, told_at, lead_days, likely, early, late) = row?;
            Ok(Foretelling {
                told_on: told_at.date_naive(),
                milestone: understood(&name, "a milestone", Milestone::from_name)?,
                lead_days,
                likely,
                early,
                late,
            })
        })
        .collect()
    }
}
