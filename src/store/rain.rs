//! Measured rain.

use super::{Store, StoreError};
use crate::domain::weather::rain::Rain;
use chrono::NaiveDate;
use rusqlite::params;

impl Store {
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
