//! What was made of each site, kept for as long as it is true: until something is stored of the site or of
//! a station that it depends on, the configuration changes, or the day does.

use crate::config::Config;
use crate::domain::place::site::Site;
use crate::store::change_counts::ChangeCounts;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use std::collections::HashMap;
use std::sync::Arc;

/// What was made of each site, by the sites' ids.
pub struct KeptSites<T> {
    /// The configuration and the day that it was made for; none before the first.
    made_for: Option<(Arc<Config>, NaiveDate)>,
    sites: HashMap<String, KeptSite<T>>,
}

struct KeptSite<T> {
    /// How often what is known had changed when it was made.
    changes: i64,
    /// None if nothing can be made of the site.
    made: Option<Arc<T>>,
}

impl<T> Default for KeptSites<T> {
    fn default() -> Self {
        Self {
            made_for: None,
            sites: HashMap::new(),
        }
    }
}

impl<T> KeptSites<T> {
    /// What there is of the wanted sites, in the order of the configuration. `make` is called once for
    /// those of which nothing is kept that still holds; `id_of` says of which site something is.
    ///
    /// # Errors
    /// Those of `make`, and [`StoreError`] if the database fails.
    pub fn of(
        &mut self,
        config: &Arc<Config>,
        store: &Store,
        today: NaiveDate,
        wanted: impl Fn(&Site) -> bool,
        id_of: impl Fn(&T) -> &str,
        make: impl FnOnce(&dyn Fn(&Site) -> bool) -> Result<Vec<T>, StoreError>,
    ) -> Result<Vec<Arc<T>>, StoreError> {
        let is_of = |(of, day): &(Arc<Config>, NaiveDate)| Arc::ptr_eq(of, config) && *day == today;
        if !self.made_for.as_ref().is_some_and(is_of) {
            self.sites.clear();
            self.made_for = Some((Arc::clone(config), today));
        }
        // Before anything is made: what changes meanwhile is seen the next time.
        let counts = store.change_counts()?;
        let wanted: Vec<(&Site, i64)> = config
            .sites()
            .filter(|(_, site)| wanted(site))
            .map(|(_, site)| (site, changes(config, &counts, site)))
            .collect();
        let holds =
            |id: &str, changes| self.sites.get(id).is_some_and(|one| one.changes == changes);
        let anew: HashMap<&str, i64> = wanted
            .iter()
            .map(|(site, changes)| (site.id.as_str(), *changes))
            .filter(|(id, changes)| !holds(id, *changes))
            .collect();
        if !anew.is_empty() {
            let made = make(&|site| anew.contains_key(site.id.as_str()))?;
            let by_id = made.into_iter().map(|one| (id_of(&one).to_owned(), one));
            let mut made: HashMap<String, T> = by_id.collect();
            for (id, changes) in anew {
                let made = made.remove(id).map(Arc::new);
                self.sites.insert(id.to_owned(), KeptSite { changes, made });
            }
        }
        let there = wanted
            .iter()
            .filter_map(|(site, _)| self.sites.get(&site.id));
        Ok(there.filter_map(|one| one.made.clone()).collect())
    }
}

/// How often anything has changed that a site depends on: its entries, and what is stored of its stations
/// and their neighbours.
fn changes(config: &Config, counts: &ChangeCounts, site: &Site) -> i64 {
    let of_station = |id: &str| counts.stations.get(id).copied().unwrap_or(0);
    let of_stations = site.stations().into_iter().map(|id| {
        let feed = config.station(id);
        let neighbours = feed.iter().flat_map(|feed| &feed.station.neighbours);
        of_station(id) + neighbours.map(|id| of_station(id)).sum::<i64>()
    });
    counts.sites.get(&site.id).copied().unwrap_or(0) + of_stations.sum::<i64>()
}
