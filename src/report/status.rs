//! Where every site stands with each of its species, what is wrong with the stations, and what
//! became of the messages.

use super::counted;
use crate::config::Config;
use crate::cycle::{site_states, waits_for_its_hour};
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;

mod site;
mod station;

pub use site::{EstimationMethods, NextMilestone, PassedMilestone, SiteStatus, StationPart};
pub use station::{FindingStatus, StationStatus};

/// Everything there is to show of the service on a day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Status {
    /// The service's name.
    pub service: String,
    /// The day that is shown.
    pub date: NaiveDate,
    /// When the last cycle ran.
    pub last_cycle: Option<DateTime<Utc>>,
    /// Every site with each of its species, a member's sites one after the other.
    pub sites: Vec<SiteStatus>,
    /// Every station.
    pub stations: Vec<StationStatus>,
    /// The messages.
    pub outbox: OutboxStatus,
}

/// What became of the messages.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OutboxStatus {
    /// Messages that wait.
    pub waiting: u32,
    /// Those of them with a failed attempt.
    pub failing: u32,
    /// Those of them that wait for the end of quiet hours or of a pause.
    pub for_their_hour: u32,
    /// Messages sent.
    pub sent: u32,
    /// Messages that will not be tried again.
    pub given_up: u32,
    /// Whom messages do not reach, and why.
    pub problems: Vec<String>,
}

impl Status {
    /// How things stand on `today`, by what is stored; `now` tells messages that should have
    /// arrived.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        today: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<Self, StoreError> {
        let stations = config
            .stations
            .values()
            .map(|feed| StationStatus::of(&feed.station, store, today))
            .collect::<Result<_, StoreError>>()?;
        let sites = site_states(config, store, today)?
            .iter()
            .map(|here| SiteStatus::of(here, config, store, today))
            .collect::<Result<_, StoreError>>()?;
        let tally = store.tally()?;
        Ok(Self {
            service: config.service.name.clone(),
            date: today,
            last_cycle: store.last_cycle()?,
            sites,
            stations,
            outbox: OutboxStatus {
                waiting: tally.waiting,
                failing: tally.failing,
                for_their_hour: for_their_hour(config, store, now)?,
                sent: tally.sent,
                given_up: tally.given_up,
                problems: store.delivery_problems(now)?,
            },
        })
    }

    /// What is wrong with the stations, a line each.
    pub fn station_troubles(&self) -> Vec<String> {
        self.stations
            .iter()
            .flat_map(StationStatus::troubles)
            .collect()
    }

    /// When the last cycle ran, in words.
    pub fn last_cycle_in_words(&self) -> String {
        self.last_cycle
            .map_or("no cycle has run yet".to_owned(), |last| {
                format!("last cycle {}", last.format("%Y-%m-%d %H:%M UTC"))
            })
    }

    /// Whether a threshold that is shown is an estimate.
    pub fn has_estimate(&self) -> bool {
        let mut next = self
            .sites
            .iter()
            .filter_map(|one| one.next_milestone.as_ref());
        next.any(NextMilestone::is_estimate)
    }
}

/// How many messages would be sent now if it were not for their recipients' hours.
fn for_their_hour(config: &Config, store: &Store, now: DateTime<Utc>) -> Result<u32, StoreError> {
    let due = store.due(now)?;
    let waits = |message: &&_| waits_for_its_hour(config, message, now);
    Ok(due.iter().filter(waits).count() as u32)
}

impl OutboxStatus {
    /// How many messages were sent, wait and were given up.
    pub fn in_words(&self) -> String {
        let mut words = vec![counted(self.sent as usize, "message") + " sent"];
        if self.waiting > 0 {
            let mut waiting = format!(
                "{} waiting, {} of them after a failed attempt",
                self.waiting, self.failing
            );
            if self.for_their_hour > 0 {
                waiting += &format!(", {} for their hour", self.for_their_hour);
            }
            words.push(waiting);
        }
        if self.given_up > 0 {
            words.push(format!("{} given up", self.given_up));
        }
        words.join("; ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_that_wait_or_were_given_up_are_counted_if_there_are_any() {
        let outbox = |waiting, for_their_hour, given_up| OutboxStatus {
            waiting,
            failing: 1,
            for_their_hour,
            sent: 1,
            given_up,
            problems: Vec::new(),
        };
        assert_eq!(outbox(0, 0, 0).in_words(), "1 message sent");
        assert_eq!(
            outbox(2, 0, 3).in_words(),
            "1 message sent; 2 waiting, 1 of them after a failed attempt; 3 given up"
        );
        assert_eq!(
            outbox(4, 2, 0).in_words(),
            "1 message sent; 4 waiting, 1 of them after a failed attempt, 2 for their hour"
        );
    }
}
