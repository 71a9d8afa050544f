//! What an import of many files has brought, screened once all of it is there: a file of one year
//! says nothing of that year's climate.

use crate::cli::feed::say_held;
use crate::cycle::screen_again;
use crate::domain::weather::reading::{Reading, Readings};
use crate::feed::vetting::screening::news;
use crate::station_feed::StationFeed;
use crate::station_feed::parsed::Element;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::{BTreeMap, BTreeSet};

/// New and changed values of a station, with what was stored in their place.
#[derive(Default)]
struct Changed {
    new: BTreeSet<(NaiveDate, Element)>,
    before: Readings,
}

/// The same of all stations, by their place in the list.
#[derive(Default)]
pub(super) struct NewValues(BTreeMap<usize, Changed>);

impl NewValues {
    /// Remembers what of a file is news.
    pub fn add(&mut self, place: usize, file: &Readings, stored: &Readings) {
        let changed = self.0.entry(place).or_default();
        for (day, element) in news(file, stored, &[]) {
            changed.new.insert((day, element));
            let known = stored.get(&day).copied();
            let before = changed.before.entry(day).or_default();
            if *before == Reading::default() {
                *before = known.unwrap_or_default();
            }
        }
    }

    /// Screens everything that was brought, takes what is in doubt out of the stored days again,
    /// and says so.
    pub fn screen(
        self,
        stations: &[&StationFeed],
        store: &mut Store,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        for (place, changed) in self.0 {
            let feed = stations[place];
            let new: Vec<(NaiveDate, Element)> = changed.new.into_iter().collect();
            let held_out = screen_again(store, feed, &new, &changed.before, now)?;
            say_held(&feed.station.id, &held_out);
        }
        Ok(())
    }
}
