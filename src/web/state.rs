//! What requests work with: the configuration in force, the database, and what was worked out before.

use crate::clock::Clock;
use crate::config::Config;
use crate::in_force::Fault;

use crate::report::status::{OnDisk, ShownSites, Status, StatusMoment};
use crate::report::week::Week;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::watch;

/// The configuration in force.
#[derive(Debug, Clone)]
pub struct PageConfig {
    /// What it says.
    pub config: Arc<Config>,
    /// The digest of its text.
    pub digest: String,
    /// What is wrong with members' tables.
    pub faults: Vec<Fault>,
}

/// What all requests share.
pub(super) struct PageState {
    in_force: watch::Receiver<PageConfig>,
    /// Open connections that nobody uses at the moment.
    idle: Mutex<Vec<Store>>,
    week: Mutex<Option<KeptWeek>>,
}

/// A week that was worked out, with what it depends on.
struct KeptWeek {
    store: Store,
    version: i64,
    digest: String,
    day: NaiveDate,
    week: Arc<Week>,
}

/// A question to the report that is asked with the configuration, the database and the day.
pub(super) struct Asked<'a> {
    /// What is configured.
    pub config: &'a Config,
    /// What is stored, for reading only.
    pub store: &'a Store,
    /// The day that is shown.
    pub today: NaiveDate,
}

/// Connections that are kept open.
const MOST_IDLE: usize = 4;

impl PageState {
    pub fn new(in_force: watch::Receiver<PageConfig>) -> Self {
        Self {
            in_force,
            idle: Mutex::default(),
            week: Mutex::default(),
        }
    }

    /// The configuration as it is now.
    pub fn in_force(&self) -> PageConfig {
        self.in_force.borrow().clone()
    }

    /// Answers with the database open for reading.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn ask<T>(
        &self,
        answer: impl FnOnce(Asked<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let config = self.in_force().config;
        let kept = taken(&self.idle).pop();
        let store = match kept {
            Some(store) => store,
            None => Store::open_to_read(&config.service.database)?,
        };
        let today = today(&config, &store)?;
        let answered = answer(Asked {
            config: &config,
            store: &store,
            today,
        })?;
        // One that failed is not kept.
        let mut idle = taken(&self.idle);
        if idle.len() < MOST_IDLE {
            idle.push(store);
        }
        Ok(answered)
    }

    /// What is to be done at all sites, worked out anew only when something has changed.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn week(&self) -> Result<Arc<Week>, StoreError> {
        let PageConfig {
            config,
            digest,
            faults,
        } = self.in_force();
        let mut kept = taken(&self.week);
        let store = match kept.take() {
            Some(one) => {
                let day = today(&config, &one.store)?;
                let is_current = one.store.version()? == one.version && one.day == day;
                if is_current && one.digest == digest {
                    let week = Arc::clone(&one.week);
                    *kept = Some(one);
                    return Ok(week);
                }
                one.store
            }
            None => Store::open_to_read(&config.service.database)?,
        };
        // Before the answer: what changes meanwhile is seen the next time.
        let version = store.version()?;
        let day = today(&config, &store)?;
        let moment = StatusMoment {
            today: day,
            now: Clock::Machine.now(),
            configuration: OnDisk::Usable(&digest),
            faults: &faults,
        };
        let status = Status::of(&config, &store, ShownSites::default(), moment)?;
        let week = Arc::new(Week::of(&status, true));
        *kept = Some(KeptWeek {
            store,
            version,
            digest,
            day,
            week: Arc::clone(&week),
        });
        Ok(week)
    }
}

/// Today; in a demonstration the day of its last cycle.
pub(super) fn today(config: &Config, store: &Store) -> Result<NaiveDate, StoreError> {
    Ok(match config.demo {
        Some(demo) => store.last_cycle()?.unwrap_or(demo.starts).date_naive(),
        None => Clock::Machine.civil_day(),
    })
}

/// A value that a panic elsewhere has not spoilt: it is replaced as a whole, or popped.
fn taken<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
