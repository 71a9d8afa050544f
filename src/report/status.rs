//! What is due at every site and where it stands with each of its species, what is wrong with the
//! stations, and what became of the messages.

use super::counted;
use crate::config::Config;
use crate::cycle::waits_for_its_hour;
use crate::domain::place::site::{Member, Site};
use crate::in_force::Fault;
use crate::store::outbox::DueMessage;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use std::borrow::Borrow;
use std::collections::{BTreeSet, HashSet};
use utoipa::ToSchema;

mod configuration;
mod due;
mod problem;
mod site;
mod station;
mod status_site;

pub use configuration::{ConfigurationStatus, DiskState, OnDisk, fault_line};
pub use due::DueStatus;
pub use problem::{ProblemKind, StatusProblem};
pub use site::{EstimationMethods, NextMilestone, PassedMilestone, SiteStatus, StationPart};
pub use station::{FindingStatus, StationStatus};
pub use status_site::StatusSite;

/// Everything there is to show of the service on a day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Status {
    /// The service's name.
    pub service: String,
    /// The day that is shown.
    pub date: NaiveDate,
    /// When the last cycle ran.
    pub last_cycle: Option<DateTime<Utc>>,
    /// The configuration that the service runs with; none while it does not run.
    pub configuration: Option<ConfigurationStatus>,
    /// Every site with each of its species, a member's sites one after the other.
    pub sites: Vec<SiteStatus>,
    /// Every station of these sites.
    pub stations: Vec<StationStatus>,
    /// The messages.
    pub outbox: OutboxStatus,
    /// What is wrong.
    pub problems: Vec<StatusProblem>,
}

/// What became of the messages.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
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

/// Which sites to show, by ids; `None` is all.
#[derive(Debug, Clone, Copy, Default)]
pub struct ShownSites<'s> {
    /// Of this member.
    pub member: Option<&'s str>,
    /// Of these members.
    pub members: Option<&'s BTreeSet<String>>,
    /// This one.
    pub site: Option<&'s str>,
    /// These.
    pub sites: Option<&'s BTreeSet<String>>,
    /// Those with this species, and that species alone.
    pub species: Option<&'s str>,
}

impl ShownSites<'_> {
    fn holds(&self, member: &Member, site: &Site) -> bool {
        self.member.is_none_or(|id| member.id == id)
            && self.members.is_none_or(|ids| ids.contains(&member.id))
            && self.site.is_none_or(|id| site.id == id)
            && self.sites.is_none_or(|ids| ids.contains(&site.id))
            && self
                .species
                .is_none_or(|id| site.species.iter().any(|one| one == id))
    }

    /// The ids of these sites.
    pub fn ids<'c>(&self, config: &'c Config) -> HashSet<&'c str> {
        let sites = config.sites();
        let shown = sites.filter(|(member, site)| self.holds(member, site));
        shown.map(|(_, site)| site.id.as_str()).collect()
    }

    /// Whether it leaves out sites.
    pub fn is_part(&self) -> bool {
        self.members.or(self.sites).is_some()
            || self.member.or(self.site).or(self.species).is_some()
    }
}

/// The moment a status is made at.
#[derive(Debug, Clone, Copy)]
pub struct StatusMoment<'m> {
    /// The day that is shown.
    pub today: NaiveDate,
    /// It tells messages that should have arrived.
    pub now: DateTime<Utc>,
    /// What the files on disk say.
    pub configuration: OnDisk<'m>,
    /// What is wrong with members' tables.
    pub faults: &'m [Fault],
}

impl Status {
    /// How things stand, by what is stored.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        shown: ShownSites<'_>,
        moment: StatusMoment<'_>,
    ) -> Result<Self, StoreError> {
        let wanted = shown.ids(config);
        let is_wanted = |site: &Site| wanted.contains(site.id.as_str());
        let sites = StatusSite::of_all(config, store, moment.today, is_wanted)?;
        Self::of_sites(config, store, shown, moment, &sites)
    }

    /// The same where the sites are known: those that are shown, in the order of the configuration.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of_sites(
        config: &Config,
        store: &Store,
        shown: ShownSites<'_>,
        moment: StatusMoment<'_>,
        found: &[impl Borrow<StatusSite>],
    ) -> Result<Self, StoreError> {
        let today = moment.today;
        let found: Vec<&StatusSite> = found.iter().map(Borrow::borrow).collect();
        let asked: BTreeSet<&str> = if shown.is_part() {
            let stations = found.iter().flat_map(|site| &site.stations);
            stations.map(String::as_str).collect()
        } else {
            config.stations.keys().map(String::as_str).collect()
        };
        let stations = config
            .stations
            .values()
            .filter(|feed| asked.contains(feed.station.id.as_str()))
            .map(|feed| StationStatus::of(&feed.station, store, today))
            .collect::<Result<Vec<_>, StoreError>>()?;
        let outbox = OutboxStatus::of(config, store, moment.now)?;
        let refused = store.refused()?;
        let configuration = store
            .in_force()?
            .map(|in_force| ConfigurationStatus::of(in_force, refused, &moment));
        let of_configuration = configuration
            .as_ref()
            .and_then(ConfigurationStatus::problem)
            .into_iter()
            .chain(moment.faults.iter().map(fault_line))
            .collect();
        let mut problems = problem::problems(config, &found, &stations, &outbox, of_configuration);
        problems.extend(problem::of_broker(config, store)?);
        Ok(Self {
            service: config.service.name.clone(),
            date: today,
            last_cycle: store.last_cycle()?,
            configuration,
            problems,
            sites: found
                .iter()
                .flat_map(|site| &site.rows)
                .filter(|row| shown.species.is_none_or(|id| row.species == id))
                .cloned()
                .collect(),
            stations,
            outbox,
        })
    }

    /// The first row of every site, the worst site first.
    pub fn worst_first(&self) -> Vec<&SiteStatus> {
        let mut seen = HashSet::new();
        let rows = self.sites.iter();
        let mut first: Vec<&SiteStatus> = rows.filter(|row| seen.insert(&row.site)).collect();
        first.sort_by_key(|row| row.due.rank());
        first
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
    let (mut count, mut last) = (0, 0);
    loop {
        let page = store.due(now, last)?;
        let Some(newest) = page.last() else {
            return Ok(count);
        };
        last = newest.number;
        let waits =
            |due: &&DueMessage| waits_for_its_hour(config.recipient(&due.recipient), due, now);
        count += page.iter().filter(waits).count() as u32;
    }
}

impl OutboxStatus {
    /// By what is stored.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of(config: &Config, store: &Store, now: DateTime<Utc>) -> Result<Self, StoreError> {
        let tally = store.tally()?;
        Ok(Self {
            waiting: tally.waiting,
            failing: tally.failing,
            for_their_hour: for_their_hour(config, store, now)?,
            sent: tally.sent,
            given_up: tally.given_up,
            problems: store.delivery_problems(now)?,
        })
    }

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
