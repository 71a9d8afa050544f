//! Whether the service does its work: its cycles run, days arrive, and messages are not given up. For
//! programs that watch it; what is wrong in words is for [`super::doctor`].

use super::status::StationStatus;
use crate::config::Config;
use crate::store::outbox::Tally;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

/// How long after its time a cycle may begin.
const LATE: TimeDelta = TimeDelta::hours(2);

/// What tells whether the service does its work.
#[derive(Debug, Clone)]
pub struct ServiceHealth {
    /// When the last cycle ran.
    pub last_cycle: Option<DateTime<Utc>>,
    /// Whether one has run, and none is overdue.
    pub runs: bool,
    /// Every station.
    pub stations: Vec<StationStatus>,
    /// Those that a site needs and whose newest day is too old.
    pub stale_stations: usize,
    /// The messages.
    pub messages: Tally,
}

impl ServiceHealth {
    /// By what is stored.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        today: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<Self, StoreError> {
        let last_cycle = store.last_cycle()?;
        let read_for = config.read_for();
        let stations = StationStatus::of_all(config, store, today)?;
        let stale = stations
            .iter()
            .filter(|one| one.stale && read_for.contains_key(one.station.as_str()));
        Ok(Self {
            last_cycle,
            runs: last_cycle.is_some_and(|last| overdue_since(config, last, now).is_none()),
            stale_stations: stale.count(),
            stations,
            messages: store.tally()?,
        })
    }

    /// Whether nobody has to look: cycles run, no station that is needed is stale, and no message was
    /// given up.
    pub fn is_well(&self) -> bool {
        self.runs && self.stale_stations == 0 && self.messages.given_up == 0
    }
}

/// Since when the cycle after `last` has been overdue, if it is.
pub(super) fn overdue_since(
    config: &Config,
    last: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    let due = config.service.schedule.after(&last).next();
    // The clock of a demonstration is another one.
    due.filter(|due| config.demo.is_none() && *due + LATE < now)
}
