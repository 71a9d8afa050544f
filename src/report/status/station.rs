//! How a station's feed goes.

use crate::config::Config;
use crate::domain::place::site::Station;
use crate::domain::telling::feed_trouble::is_stale;
use crate::store::feeds::FeedState;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

/// Findings that say what the last attempt ran into.
const FAILURES: [&str; 2] = ["refused", "unreachable"];

/// How a station's feed goes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StationStatus {
    /// The station's id.
    pub station: String,
    /// The station's name.
    pub name: String,
    /// Its newest day with both extremes.
    pub newest_day: Option<NaiveDate>,
    /// Whether that is older than it should be.
    pub stale: bool,
    /// Since when every attempt has failed.
    pub failing_since: Option<DateTime<Utc>>,
    /// What the last attempt ran into.
    pub problem: Option<String>,
    /// What else is wrong with its feed.
    pub findings: Vec<FindingStatus>,
    /// Values that its publisher has changed.
    pub revisions: u32,
}

/// Something that is wrong with a feed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct FindingStatus {
    /// The kind of trouble.
    pub trouble: &'static str,
    /// Since when.
    pub since: DateTime<Utc>,
    /// What it is, in words.
    pub what: String,
}

impl StationStatus {
    /// Every station of the configuration.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of_all(
        config: &Config,
        store: &Store,
        today: NaiveDate,
    ) -> Result<Vec<Self>, StoreError> {
        let feeds = config.stations.values();
        feeds
            .map(|feed| Self::of(&feed.station, store, today))
            .collect()
    }

    pub(in crate::report) fn of(
        station: &Station,
        store: &Store,
        today: NaiveDate,
    ) -> Result<Self, StoreError> {
        let newest_day = store.newest_day(&station.id)?;
        let FeedState {
            failing_since,
            problem,
            ..
        } = store.feed(&station.id)?;
        Ok(Self {
            station: station.id.clone(),
            name: station.name.clone(),
            newest_day,
            stale: is_stale(station, newest_day, today),
            failing_since,
            problem,
            findings: findings(store, &station.id, today)?,
            revisions: store.revisions(&station.id)?,
        })
    }

    /// What is wrong with its feed, a line each.
    pub fn troubles(&self) -> Vec<String> {
        let problem = self.problem.iter();
        let problem = problem.map(|problem| format!("{}: {problem}", self.name));
        let findings = self
            .findings
            .iter()
            // Why a file fails stands there already.
            .filter(|finding| self.problem.is_none() || !FAILURES.contains(&finding.trouble))
            .map(|finding| {
                let since = finding.since.format("%Y-%m-%d");
                format!("{}, since {since}: {}", self.name, finding.what)
            });
        problem.chain(findings).collect()
    }
}

fn findings(
    store: &Store,
    station: &str,
    today: NaiveDate,
) -> Result<Vec<FindingStatus>, StoreError> {
    let now = today.and_time(NaiveTime::MIN).and_utc();
    let found = store.findings_to_show(station, now)?;
    Ok(found
        .into_iter()
        .map(|finding| FindingStatus {
            trouble: finding.trouble.name(),
            since: finding.since,
            what: finding.what,
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn station(problem: Option<&str>, trouble: &'static str) -> StationStatus {
        StationStatus {
            station: "mill".to_owned(),
            name: "Mill".to_owned(),
            newest_day: None,
            stale: false,
            failing_since: None,
            problem: problem.map(str::to_owned),
            findings: vec![FindingStatus {
                trouble,
                since: DateTime::UNIX_EPOCH,
                what: "no file".to_owned(),
            }],
            revisions: 0,
        }
    }

    #[test]
    fn why_a_file_fails_is_not_said_twice() {
        assert_eq!(
            station(Some("no file"), "refused").troubles(),
            ["Mill: no file"]
        );
        assert_eq!(
            station(None, "refused").troubles(),
            ["Mill, since 1970-01-01: no file"]
        );
        assert_eq!(
            station(Some("no answer"), "climate").troubles(),
            ["Mill: no answer", "Mill, since 1970-01-01: no file"]
        );
    }
}
