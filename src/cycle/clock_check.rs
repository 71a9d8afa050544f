//! Holding the clock against what is stored, and what is stored against the clock.

use super::Engine;
use crate::clock::{ClockDoubt, TimeEvidence, doubt, newest_allowed};
use crate::station_feed::parsed::Element;
use crate::store::StoreError;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use tracing::warn;

impl Engine {
    /// Why the machine's clock may not be right, if so.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn clock_doubt(&self) -> Result<Option<ClockDoubt>, StoreError> {
        if !self.clock.is_machine() {
            return Ok(None);
        }
        let now = self.clock.now();
        let days: BTreeSet<NaiveDate> = self.days_ahead()?.into_iter().map(|one| one.1).collect();
        let evidence = TimeEvidence {
            newest_day: self.store.newest_day_of_all()?,
            days_ahead: days.len(),
            last_cycle: self.store.last_cycle()?,
        };
        Ok(doubt(now, &evidence))
    }

    /// Takes back stored days that lie in the future of a clock that is believed: they came in while
    /// it was ahead. Their values stay on record as revised.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn take_back_days_ahead(&mut self) -> Result<(), StoreError> {
        if !self.clock.is_machine() {
            return Ok(());
        }
        let mut by_station: BTreeMap<String, Vec<NaiveDate>> = BTreeMap::new();
        for (station, day) in self.days_ahead()? {
            by_station.entry(station).or_default().push(day);
        }
        for (station, days) in by_station {
            let both = |day: &NaiveDate| [(*day, Element::Min), (*day, Element::Max)];
            let values: Vec<_> = days.iter().flat_map(both).collect();
            self.store.withdraw(&station, &values, self.clock.now())?;
            for day in days {
                warn!(station, "took back {day}, which lies in the future");
            }
        }
        Ok(())
    }

    /// The stored days that cannot have been measured yet, if the clock is right, by station.
    fn days_ahead(&self) -> Result<Vec<(String, NaiveDate)>, StoreError> {
        let allowed = newest_allowed(self.clock.now());
        match self.store.newest_day_of_all()? {
            Some(newest) if newest > allowed => self.store.days_after(allowed),
            _ => Ok(Vec::new()),
        }
    }
}
