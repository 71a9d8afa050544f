//! Holding the clock against what is stored, and what is stored against the clock.

use super::Engine;
use crate::clock::{ClockDoubt, TimeEvidence, doubt, newest_allowed};
use crate::station_feed::parsed::Element;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::{BTreeMap, BTreeSet};
use tracing::warn;

/// What the machine's clock and the stored days say of each other; nothing where another clock runs.
#[derive(Debug, Default)]
pub struct ClockCheck {
    /// Why the clock may not be right, if so.
    pub doubt: Option<ClockDoubt>,
    /// The stored days that cannot have been measured yet, if the clock is right, by station.
    days_ahead: BTreeMap<String, Vec<NaiveDate>>,
}

impl ClockCheck {
    fn of(store: &Store, now: DateTime<Utc>) -> Result<Self, StoreError> {
        let allowed = newest_allowed(now);
        let newest_day = store.newest_day_of_all()?;
        let mut days_ahead: BTreeMap<String, Vec<NaiveDate>> = BTreeMap::new();
        if newest_day.is_some_and(|newest| newest > allowed) {
            for (station, day) in store.days_after(allowed)? {
                days_ahead.entry(station).or_default().push(day);
            }
        }
        let days: BTreeSet<&NaiveDate> = days_ahead.values().flatten().collect();
        let evidence = TimeEvidence {
            newest_day,
            days_ahead: days.len(),
            last_cycle: store.last_cycle()?,
        };
        Ok(Self {
            doubt: doubt(now, &evidence),
            days_ahead,
        })
    }
}

/// Why the machine's clock may not be right by what is stored, if so.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn clock_doubt(store: &Store, now: DateTime<Utc>) -> Result<Option<ClockDoubt>, StoreError> {
    Ok(ClockCheck::of(store, now)?.doubt)
}

impl Engine {
    /// Holds the clock against what is stored.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn check_clock(&self) -> Result<ClockCheck, StoreError> {
        if !self.clock.is_machine() {
            return Ok(ClockCheck::default());
        }
        ClockCheck::of(&self.store, self.clock.now())
    }

    /// Takes back stored days that lie in the future of a clock that is believed: they came in while
    /// it was ahead. Their values stay on record as revised.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn take_back_days_ahead(&mut self, check: ClockCheck) -> Result<(), StoreError> {
        for (station, days) in check.days_ahead {
            let both = |day: &NaiveDate| [(*day, Element::Min), (*day, Element::Max)];
            let values: Vec<_> = days.iter().flat_map(both).collect();
            self.store.withdraw(&station, &values, self.clock.now())?;
            for day in days {
                warn!(station, "took back {day}, which lies in the future");
            }
        }
        Ok(())
    }
}
