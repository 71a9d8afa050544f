//! Measured rain.

use super::{Store, StoreError};
use crate::domain::weather::rain::Rain;
use chrono::NaiveDate;
use rusqlite::{Transaction, TransactionBehavior, params};

impl Store {
    /// Merges a station's rain: new days are added, changed amounts replace the old ones, nothing
    /// is deleted.
    pub fn merge_rain(&mut self, station: &str, rain: &Rain) -> Result<(), StoreError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        merge_rain(&transaction, station, rain)?;
        transaction.commit()?;
        Ok(())
    }

    /// A station's measured rain from a day on.
    pub fn rain_since(&self, station: &str, day: NaiveDate) -> Result<Rain, StoreError> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT day, mm FROM rain WHERE station = ?1 AND day >= ?2")?;
        let rows =
            statement.query_map(params![station, day], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

/// See [`Store::merge_rain`].
pub(super) fn merge_rain(
    transaction: &Transaction<'_>,
    station: &str,
    rain: &Rain,
) -> Result<(), StoreError> {
    for (day, mm) in rain {
        transaction
            .prepare_cached(
                "INSERT INTO rain (station, day, mm) VALUES (?1, ?2, ?3)
                 ON CONFLICT (station, day) DO UPDATE SET mm = excluded.mm
                 WHERE mm <> excluded.mm",
            )?
            .execute(params![station, day, mm])?;
    }
    Ok(())
}
