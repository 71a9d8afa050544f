//! The log of what people were told, beside the early notices and milestones that have their own
//! tables.

use super::{Store, StoreError, understood};
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use crate::store::milestones::Pair;
use rusqlite::{Params, Transaction, params};

impl Store {
    /// What was told of a pair in a season.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn notices_of_pair(&self, pair: Pair<'_>, season: i32) -> Result<NoticeLog, StoreError> {
        let of_pair = "site = ?1 AND species = ?2 AND season = ?3";
        self.notices(of_pair, params![pair.site, pair.species, season])
    }

    /// What was told of a site as a whole, in all the years: treatments, counting, its data, and its
    /// applications' water.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn notices_of_site(&self, site: &str) -> Result<NoticeLog, StoreError> {
        self.notices("site = ?1 AND species IS NULL", params![site])
    }

    /// What was told of a site as a whole in the season that starts in a year: treatments, counting and
    /// its applications' water.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn notices_of_season(&self, site: &str, season: i32) -> Result<NoticeLog, StoreError> {
        let of_season = "site = ?1 AND species IS NULL AND season = ?2";
        self.notices(of_season, params![site, season])
    }

    fn notices(&self, wanted: &str, values: impl Params) -> Result<NoticeLog, StoreError> {
        let mut statement = self.connection.prepare_cached(&format!(
            "SELECT kind, site, species, season, option, journal_entry, due, told_at
             FROM notice_log WHERE {wanted} ORDER BY id"
        ))?;
        let mut rows = statement.query(values)?;
        let mut notices = Vec::new();
        while let Some(row) = rows.next()? {
            let kind: String = row.get(0)?;
            notices.push(LoggedNotice {
                kind: understood(&kind, "what a notice was about", LoggedKind::from_name)?,
                site: row.get(1)?,
                species: row.get(2)?,
                season: row.get(3)?,
                option: row.get(4)?,
                journal_entry: row.get(5)?,
                due: row.get(6)?,
                told_at: row.get(7)?,
            });
        }
        Ok(NoticeLog::new(notices))
    }
}

pub(super) fn insert(
    transaction: &Transaction<'_>,
    notice: &LoggedNotice,
) -> rusqlite::Result<usize> {
    transaction.execute(
        "INSERT INTO notice_log (kind, site, species, season, option, journal_entry, due, told_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        params![
            notice.kind.name(),
            notice.site,
            notice.species,
            notice.season,
            notice.option,
            notice.journal_entry,
            notice.due,
            notice.told_at
        ],
    )
}
