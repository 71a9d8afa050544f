//! Taking in: every station once, however many sites share it.

use super::yardstick::yardstick;
use super::{Beat, Engine, Report, daily, with_beat};
use crate::domain::weather::forecast::Forecast;
use crate::domain::weather::forecast_skill::ForecastSkill;
use crate::domain::weather::foretold_days::{ForetoldDays, JUMP, StationForecast};
use crate::feed::ahead::{Ahead, Request};
use crate::feed::reader::{FetchOutcome, IntakeError};
use crate::station_feed::StationFeed;
use crate::station_feed::fingerprint::LastRead;
use crate::station_feed::origin::Origin;
use crate::station_feed::parsed::Parsed;
use crate::station_feed::refusal::{RefusedRow, Why};
use crate::station_feed::version::Validators;
use crate::store::feeds::FeedState;
use crate::store::taking_in::{Said, TakenIn};
use crate::store::{Store, StoreError};
use chrono::{DateTime, Days, NaiveDate, Utc};
use tracing::{info, warn};

/// Refused rows shown in the log for one file; more are counted.
const ROWS_SHOWN: usize = 3;

/// Days of rain that are taken from a feed: watering in is asked about in this season and the last. An
/// import takes all there is.
const RAIN_DAYS: u64 = 800;

/// The place of a station's file in the order of what is fetched; its forecast comes next.
fn place(index: usize) -> usize {
    2 * index
}

impl Engine {
    /// Hosts are asked side by side; what they say is taken in in the order of the stations.
    pub(super) async fn take_in(
        &mut self,
        now: DateTime<Utc>,
        beat: Beat<'_>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let read_for = self.config.read_for();
        let asked = |feed: &&StationFeed| read_for.contains_key(feed.station.id.as_str());
        let feeds = self.config.stations.values().filter(asked);
        let feeds: Vec<StationFeed> = feeds.cloned().collect();
        let mut ahead = self.reader.ahead(self.requests(&feeds, now)?);
        for (index, feed) in feeds.iter().enumerate() {
            if *self.stop.borrow() {
                return Ok(());
            }
            // Nobody is asked for what is brought by hand.
            if feed.origin != Origin::ByHand {
                report.stations += 1;
                let reading =
                    self.take_in_station(feed, &mut ahead, place(index), now, beat, report);
                if !reading.await? {
                    report.failed += 1;
                }
            }
            self.take_in_forecast(feed, &mut ahead, place(index) + 1, now, beat, report)
                .await?;
            beat();
        }
        Ok(())
    }

    /// What is to be fetched, by its place.
    fn requests(
        &self,
        feeds: &[StationFeed],
        now: DateTime<Utc>,
    ) -> Result<Vec<(usize, Request)>, StoreError> {
        let mut requests = Vec::new();
        for (index, feed) in feeds.iter().enumerate() {
            if feed.origin != Origin::ByHand {
                let (_, known) = self.known_version(feed)?;
                let request = self.reader.request(feed, &known, now.date_naive());
                requests.extend(request.map(|request| (place(index), request)));
            }
            let forecast = feed.forecast.as_ref();
            let request = forecast.and_then(|forecast| self.reader.forecast_request(forecast));
            requests.extend(request.map(|request| (place(index) + 1, request)));
        }
        Ok(requests)
    }

    /// How a station was read last, and the validators of its file if it would be read so again.
    fn known_version(&self, feed: &StationFeed) -> Result<(FeedState, Validators), StoreError> {
        let state = self.store.feed(&feed.station.id)?;
        let last_read = LastRead::of(&state.fingerprint, &feed.fingerprint());
        let known = match last_read.is_known_version() {
            true => state.validators.clone(),
            false => Validators::default(),
        };
        Ok((state, known))
    }

    /// Whether it went well.
    async fn take_in_station(
        &mut self,
        feed: &StationFeed,
        ahead: &mut Ahead,
        place: usize,
        now: DateTime<Utc>,
        beat: Beat<'_>,
        report: &mut Report,
    ) -> Result<bool, StoreError> {
        let id = &feed.station.id;
        let (state, _) = self.known_version(feed)?;
        let fingerprint = feed.fingerprint();
        let last_read = LastRead::of(&state.fingerprint, &fingerprint);
        let today = now.date_naive();
        let mut stop = self.stop.clone();
        let fetched = tokio::select! {
            fetched = with_beat(ahead.answer(place), beat) => fetched,
            Ok(_) = stop.wait_for(|stop| *stop) => return Ok(true),
        };
        let outcome = match fetched {
            Some(fetched) => {
                let stored = |parsed: &Parsed| {
                    let (store, config) = (&self.store, &self.config);
                    let mut known = yardstick(store, config, feed, &feed.binding, parsed)?;
                    known.stored_unit = feed.unit_before(&state.fingerprint);
                    Ok::<_, StoreError>(known)
                };
                self.reader.read_fetched(feed, fetched, stored, today)?
            }
            None => tokio::select! {
                outcome = with_beat(self.reader.read_kept(feed, today), beat) => outcome,
                Ok(_) = stop.wait_for(|stop| *stop) => return Ok(true),
            },
        };
        match outcome {
            Ok(FetchOutcome::Unchanged) => {
                self.arrived_unchanged(feed, now, report)?;
                self.store.feed_went_well(id, &fingerprint, None, now)?;
                Ok(true)
            }
            Ok(FetchOutcome::Readings {
                mut readings,
                stored,
                mut rain,
                failed,
                refused,
                validators,
                profile,
            }) => {
                let guarded = match profile {
                    Some(profile) => {
                        let same = last_read.is_held_against_last_file();
                        Some(self.guard(feed, &mut readings, &stored, (profile, same), now)?)
                    }
                    None => None,
                };
                let recent = rain.split_off(&(now.date_naive() - Days::new(RAIN_DAYS)));
                let said = Said {
                    readings: &readings,
                    rain: &recent,
                    failed: &failed,
                };
                let taken = self.store.take_in(id, said, feed.origin.to_string(), now)?;
                // Days refused as future are asked for again once the clock has caught up, and values
                // that time may speak for to see whether they are still said.
                let waits = guarded.as_ref().is_some_and(|guarded| guarded.waits());
                let validators = if waits || refused.iter().any(|row| row.why == Why::Future) {
                    Default::default()
                } else {
                    validators
                };
                if let Some(guarded) = guarded {
                    self.arrived(feed, guarded, now, report)?;
                }
                self.store
                    .feed_went_well(id, &fingerprint, Some(&validators), now)?;
                log_refused(id, &refused);
                log_taken_in(id, taken, refused.len());
                Ok(true)
            }
            Err(error) => {
                self.failed(id, &error, now)?;
                self.did_not_arrive(feed, &error, now, report)?;
                Ok(false)
            }
        }
    }

    /// A forecast that fails is logged, and told once the one before has lapsed.
    async fn take_in_forecast(
        &mut self,
        feed: &StationFeed,
        ahead: &mut Ahead,
        place: usize,
        now: DateTime<Utc>,
        beat: Beat<'_>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let Some(forecast) = &feed.forecast else {
            return Ok(());
        };
        let id = &feed.station.id;
        let mut stop = self.stop.clone();
        let forecast_origin = forecast.origin.to_string();
        let fetched = tokio::select! {
            fetched = with_beat(ahead.answer(place), beat) => fetched,
            Ok(_) = stop.wait_for(|stop| *stop) => return Ok(()),
        };
        let Some(fetched) = fetched else {
            return Ok(());
        };
        match self.reader.read_forecast(forecast, fetched) {
            Ok(Some(parsed)) => {
                let forecast = Forecast {
                    issued: now,
                    days: parsed.readings,
                    rain: parsed.rain,
                    wind: parsed.wind,
                };
                self.store.replace_forecast(id, &forecast)?;
                log_refused(id, &parsed.refused);
                info!(
                    station = id,
                    days = forecast.days.len(),
                    "took in a forecast (a model)"
                );
                if let Some(day) = jump_of(&self.store, feed, forecast)? {
                    warn!(
                        station = id,
                        "the forecast jumps by {JUMP:.0} °C or more to {day}: it is not used from that day on"
                    );
                }
                self.forecast_arrived(feed, &forecast_origin, now, report)
            }
            Ok(None) => Ok(()),
            Err(error) => {
                warn!(station = id, "no new forecast taken in: {error}");
                self.forecast_did_not_arrive(feed, &error, now, report)
            }
        }
    }

    fn failed(&self, id: &str, error: &IntakeError, now: DateTime<Utc>) -> Result<(), StoreError> {
        warn!(station = id, "nothing taken in: {error}");
        self.store.feed_failed(id, &error.to_string(), now)
    }
}

/// The day to which a forecast jumps from the one before it, which may be the station's newest.
fn jump_of(
    store: &Store,
    feed: &StationFeed,
    forecast: Forecast,
) -> Result<Option<NaiveDate>, StoreError> {
    let issued_on = forecast.issued.date_naive();
    let observed = daily(store, feed, issued_on)?;
    let last = observed.first_day().and_then(|first| {
        observed
            .between(first, issued_on)
            .filter_map(|(day, reading)| Some((day, reading.extremes()?)))
            .last()
    });
    let forecast = StationForecast {
        issued_on,
        days: forecast.days,
        skill: ForecastSkill::default(),
    };
    Ok(last.and_then(|last| ForetoldDays::following(last, &forecast).jumps_on))
}

fn log_taken_in(station: &str, taken: TakenIn, refused: usize) {
    let TakenIn {
        merged,
        left_out,
        batch,
    } = taken;
    info!(
        station,
        added = merged.added,
        completed = merged.completed,
        revised = merged.revised,
        refused,
        batch,
        "took in"
    );
    if left_out > 0 {
        info!(
            station,
            left_out, "left out what the feed says as in a batch that was undone"
        );
    }
}

fn log_refused(station: &str, refused: &[RefusedRow]) {
    for row in refused.iter().take(ROWS_SHOWN) {
        warn!(station, "refused {row}");
    }
    if refused.len() > ROWS_SHOWN {
        let more = refused.len() - ROWS_SHOWN;
        warn!(
            station,
            "refused {more} more rows; import the file by hand to see them all"
        );
    }
}
