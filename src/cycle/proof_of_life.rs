//! Telling the operator once a week how the service is, if they want to hear it.

use super::unreachable::{operator, operator_draft};
use super::{Engine, Report};
use crate::domain::telling::feed_trouble::is_stale;
use crate::notify::wording::{Health, proof_of_life};
use crate::store::StoreError;
use crate::store::outbox::{About, Draft};
use chrono::{DateTime, TimeDelta, Utc};

/// Time between two. An hour less than a week, or each would come a cycle later than the last.
const A_WEEK: TimeDelta = TimeDelta::hours(7 * 24 - 1);

/// One noted for later than this was noted by a clock that was ahead.
const AHEAD: TimeDelta = TimeDelta::days(1);

impl Engine {
    /// Writes a proof of life if one is wanted and due. `last_cycle` is when the cycle before ended.
    pub(super) fn prove_life(
        &mut self,
        now: DateTime<Utc>,
        last_cycle: Option<DateTime<Utc>>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        if !self.config.service.proof_of_life {
            return Ok(());
        }
        let health = self.health(now, last_cycle)?;
        if health.since != self.store.healthy_since()? {
            self.store.note_health(health.since)?;
        }
        let last = self.store.last_proof_of_life()?;
        let is_due = last.is_none_or(|last| now - last >= A_WEEK || last - now > AHEAD);
        let Some(whose) = operator(&self.config).filter(|_| is_due) else {
            return Ok(());
        };
        let (_, operator) = whose;
        let drafts: Vec<Draft<'_>> = operator
            .channels
            .iter()
            .map(|channel| {
                let service = &self.config.service.name;
                let message = proof_of_life(service, &operator.name, *channel, &health);
                let about = About {
                    kinds: vec!["proof-of-life"],
                    places: Vec::new(),
                    ..About::default()
                };
                operator_draft(whose, *channel, message, about)
            })
            .collect();
        report.messages += drafts.len();
        self.store.write_proof_of_life(&drafts, now)
    }

    /// How the service is. It has been well since nothing was wrong at any cycle, and no two cycles
    /// of the schedule were left out.
    fn health(
        &self,
        now: DateTime<Utc>,
        last_cycle: Option<DateTime<Utc>>,
    ) -> Result<Health, StoreError> {
        let read_for = self.config.read_for();
        let (mut stations, mut fresh, mut failing) = (0, 0, 0);
        for feed in self.config.stations.values() {
            let station = &feed.station;
            if !read_for.contains_key(station.id.as_str()) {
                continue;
            }
            stations += 1;
            let newest = self.store.newest_day(&station.id)?;
            fresh += usize::from(!is_stale(station, newest, now.date_naive()));
            failing += usize::from(self.store.feed(&station.id)?.failing_since.is_some());
        }
        let tally = self.store.tally()?;
        let is_well = fresh == stations && failing == 0 && tally.failing == 0;
        let missed = last_cycle.is_some_and(|last| {
            let mut due = self.config.service.schedule.after(&last).skip(1);
            due.next().is_some_and(|second| second < now)
        });
        let before = self.store.healthy_since()?;
        let before = before.filter(|since| !missed && *since <= now);
        Ok(Health {
            since: is_well.then(|| before.unwrap_or(now)),
            stations,
            fresh,
            waiting: tally.waiting,
        })
    }
}
