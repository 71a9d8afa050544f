//! Guarding the intake: brings what vetting and telling decide by, and writes down what they say.

use super::unreachable::{operator, operator_draft};
use super::{Engine, Report, screened};
use crate::config::Config;
use crate::domain::telling::feed_trouble::{Failure, FeedCheck, FeedNotice, Finding, Trouble};
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::forecast::LAPSES_AFTER_DAYS;
use crate::domain::weather::observation_day::shifted;
use crate::domain::weather::reading::Readings;
use crate::domain::weather::sunlit;
use crate::feed::reader::IntakeError;
use crate::feed::vetting::{HeldOut, compare, frozen};
use crate::notify::wording::feed_message;
use crate::station_feed::StationFeed;
use crate::station_feed::memory::FileProfile;
use crate::store::StoreError;
use crate::store::findings::Changes;
use crate::store::outbox::{About, Draft};
use chrono::{DateTime, Days, TimeDelta, Utc};
use tracing::{info, warn};

/// What the guards say of a file.
pub(super) struct Guarded {
    findings: Vec<Finding>,
    profile: FileProfile,
    held_out: HeldOut,
}

impl Guarded {
    /// Whether time may speak for a held value, so that the file must be looked at again.
    pub fn waits(&self) -> bool {
        self.held_out.waits
    }
}

impl Engine {
    /// Holds a file against the last good one and screens what is new, and takes what is held
    /// out of its readings. `profile` comes with whether the file is read as the last one was.
    pub(super) fn guard(
        &self,
        feed: &StationFeed,
        readings: &mut Readings,
        stored: &Readings,
        (profile, same): (FileProfile, bool),
        now: DateTime<Utc>,
    ) -> Result<Guarded, StoreError> {
        let id = &feed.station.id;
        let last = self.store.profile(id)?.filter(|_| same);
        let shrunk_since = self
            .store
            .open_findings(id)?
            .iter()
            .find(|known| known.trouble == Trouble::Shrunk)
            .map(|known| known.since);
        let comparison = compare(
            readings,
            profile,
            last.as_ref(),
            &feed.binding,
            shrunk_since,
            now,
        );
        if let Some(remark) = comparison.remark {
            info!(station = id, "the header has changed: {remark}");
        }
        let mut held_out = screened(&self.store, feed, readings, stored, now)?;
        let mut findings = comparison.findings;
        findings.extend(held_out.finding.take());
        Ok(Guarded {
            findings,
            profile: comparison.keep,
            held_out,
        })
    }

    /// Notes a file that was taken in.
    pub(super) fn arrived(
        &mut self,
        feed: &StationFeed,
        guarded: Guarded,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let mut found = guarded.findings;
        found.extend(self.frozen(feed, now)?);
        found.extend(self.in_the_sun(feed, now)?);
        let held_out = &guarded.held_out;
        let check = FeedCheck::of_new_file(found, held_out.released.clone(), held_out.fresh > 0);
        let file = Some((&guarded.profile, held_out));
        self.note(feed, &check, file, now, report)
    }

    /// Notes that the file is the one that was taken in last.
    pub(super) fn arrived_unchanged(
        &mut self,
        feed: &StationFeed,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let check = FeedCheck::of_known_file(self.frozen(feed, now)?);
        self.note(feed, &check, None, now, report)
    }

    /// Notes that no file arrived, or one that was refused.
    pub(super) fn did_not_arrive(
        &mut self,
        feed: &StationFeed,
        error: &IntakeError,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let id = &feed.station.id;
        let failure = match error {
            IntakeError::Refused { .. } => Failure::Refused,
            IntakeError::Fetch(_) => Failure::NotArrived {
                since: self.store.feed(id)?.failing_since,
            },
        };
        let known = self.store.open_findings(id)?;
        let check = FeedCheck::of_failure(failure, format!("{error}."), &known, now);
        self.note(feed, &check, None, now, report)
    }

    /// Notes that a forecast arrived; one that only repeats what has lapsed is none.
    pub(super) fn forecast_arrived(
        &mut self,
        feed: &StationFeed,
        origin: &str,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let id = &feed.station.id;
        self.store.forecast_came(id)?;
        let found = match self.store.forecast(id, now.date_naive())? {
            Some(_) => None,
            None => {
                let why = format!("{origin} arrives and says word for word what it said before.");
                Some(self.no_forecast(id, &why)?)
            }
        };
        let check = FeedCheck::of_forecast(found);
        self.note(feed, &check, None, now, report)
    }

    /// Notes that no forecast arrived, or one that was refused. It is told once none may be used and
    /// the feed has failed for as long as one is.
    pub(super) fn forecast_did_not_arrive(
        &mut self,
        feed: &StationFeed,
        error: &IntakeError,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let id = &feed.station.id;
        let since = self.store.forecast_failed(id, now)?;
        let is_lapsed = self.store.forecast(id, now.date_naive())?.is_none();
        let is_long = now - since >= TimeDelta::days(LAPSES_AFTER_DAYS);
        let known = self.store.open_findings(id)?;
        let is_known = known.iter().any(|known| known.trouble == Trouble::Forecast);
        let found = match is_lapsed && (is_long || is_known) {
            true => Some(self.no_forecast(id, &format!("{error}."))?),
            false => None,
        };
        let check = FeedCheck::of_forecast(found);
        self.note(feed, &check, None, now, report)
    }

    fn no_forecast(&self, station: &str, why: &str) -> Result<Finding, StoreError> {
        let last = match self.store.forecast_issued(station)? {
            Some(issued) => format!(
                "The last forecast, of {}, is no longer used.",
                issued.format("%-d %B %Y")
            ),
            None => "No forecast has been taken in so far.".to_owned(),
        };
        Ok(Finding {
            trouble: Trouble::Forecast,
            what: format!("{why} {last}"),
        })
    }

    fn frozen(
        &self,
        feed: &StationFeed,
        now: DateTime<Utc>,
    ) -> Result<Option<Finding>, StoreError> {
        let newest = self.store.newest_day(&feed.station.id)?;
        Ok(frozen(
            &feed.station,
            &feed.origin,
            newest,
            now.date_naive(),
        ))
    }

    /// Whether the station's sensor looks as if it hung in the sun, beside its first neighbour.
    fn in_the_sun(
        &self,
        feed: &StationFeed,
        now: DateTime<Utc>,
    ) -> Result<Option<Finding>, StoreError> {
        let first = feed.station.neighbours.first();
        let Some(neighbour) = first.and_then(|id| self.config.station(id)) else {
            return Ok(None);
        };
        let today = now.date_naive();
        // A day more, as extremes may be moved to the day before.
        let from = today - Days::new(sunlit::DAYS + 1);
        let days = |feed: &StationFeed| -> Result<DailyReadings, StoreError> {
            let stored = self.store.readings_since(&feed.station.id, from)?;
            Ok(shifted((&stored).into(), feed.station.day_shift))
        };
        let known = self.store.open_findings(&feed.station.id)?;
        let known = known.iter().any(|one| one.trouble == Trouble::Sunlit);
        let found = sunlit::sunlit(&days(feed)?, &days(neighbour)?, today, known);
        Ok(found.map(|found| Finding {
            trouble: Trouble::Sunlit,
            what: sunlit::sunlit_words(&found, &neighbour.station.name),
        }))
    }

    /// Writes down what begins, goes on and is over, and tells the operator of the first and last.
    /// `file` is what a file that was taken in looked like, and what is held of it.
    fn note(
        &mut self,
        feed: &StationFeed,
        check: &FeedCheck,
        file: Option<(&FileProfile, &HeldOut)>,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let station = &feed.station;
        let id = &station.id;
        let known = self.store.open_findings(id)?;
        let changes = check.against(&known);
        for finding in &changes.begun {
            let trouble = finding.trouble.name();
            warn!(station = id, trouble, "begins: {}", finding.what);
        }
        for finding in &changes.over {
            let trouble = finding.trouble.name();
            warn!(station = id, trouble, "over: {}", finding.what);
        }
        let drafts = operator_drafts(&self.config, &changes.notices(station), id);
        report.messages += drafts.len();
        let changes = Changes {
            begun: changes.begun,
            going_on: changes.going_on,
            over: changes.over.iter().map(|over| over.trouble).collect(),
            profile: file.map(|(profile, _)| profile),
            held: file.map(|(_, held_out)| held_out.held.as_slice()),
            believed: file.map_or(&[], |(_, held_out)| &held_out.believed),
        };
        self.store.note_findings(id, &changes, &drafts, now)
    }
}

/// The messages that tell the operator of a station, if the configuration names one.
fn operator_drafts<'c>(
    config: &'c Config,
    notices: &[FeedNotice<'_>],
    id: &'c str,
) -> Vec<Draft<'c>> {
    let Some(whose) = operator(config).filter(|_| !notices.is_empty()) else {
        return Vec::new();
    };
    let (_, operator) = whose;
    operator
        .channels
        .iter()
        .map(|channel| {
            let message = feed_message(&config.service.name, &operator.name, *channel, notices);
            let about = About {
                kinds: notices.iter().map(|one| one.trouble.name()).collect(),
                places: vec![id],
                ..About::default()
            };
            operator_draft(whose, *channel, message, about)
        })
        .collect()
}
