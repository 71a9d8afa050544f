//! How often what is known of each station and each site has changed.

use super::{Store, StoreError};
use std::collections::HashMap;

/// How often what is known has changed, by ids; what has never changed is not there.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ChangeCounts {
    /// Days, rain and forecasts of stations.
    pub stations: HashMap<String, i64>,
    /// Entries of sites.
    pub sites: HashMap<String, i64>,
}

impl Store {
    /// How often what is known of each station and each site has changed; the database counts itself,
    /// whoever writes.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn change_counts(&self) -> Result<ChangeCounts, StoreError> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT kind = 'site', id, times FROM change_count")?;
        let mut rows = statement.query([])?;
        let mut counts = ChangeCounts::default();
        while let Some(row) = rows.next()? {
            let of = match row.get(0)? {
                true => &mut counts.sites,
                false => &mut counts.stations,
            };
            of.insert(row.get(1)?, row.get(2)?);
        }
        Ok(counts)
    }
}
