//! The days of stations as they are stored: read, put under the days they belong to, blended and
//! completed.

use crate::config::Config;
use crate::domain::phenology::outlook::FULL_SEASONS;
use crate::domain::phenology::past_season::Past;
use crate::domain::phenology::season::{MonthDay, Season};
use crate::domain::phenology::season_state::{Record, SeasonSoFar};
use crate::domain::phenology::soil_course::SoilCourse;
use crate::domain::weather::blend::{Blend, Part, PartIn, Source, blended, parts};
use crate::domain::weather::borrowed::{LentDays, extended_back};
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::degree_day::Model;
use crate::domain::weather::forecast_skill::{ForecastSkill, learnt_from};
use crate::domain::weather::foretold_days::StationForecast;
use crate::domain::weather::gaps::{Completed, Estimates, Neighbour, complete, has_gaps};
use crate::domain::weather::normals::Normals;
use crate::domain::weather::observation_day::shifted;
use crate::feed::reader::read_normals;
use crate::station_feed::StationFeed;
use crate::store::{Store, StoreError};
use chrono::{Datelike, NaiveDate};
use std::collections::{BTreeMap, HashMap, VecDeque};
use std::rc::Rc;
use tracing::warn;

/// What is stored of a site's station or stations, read once for all sites that share it.
pub(super) struct StationDays {
    /// What each of several stations gave to the newest days.
    pub parts: Vec<Part>,
    /// Under the days they belong to, and completed.
    pub readings: DailyReadings,
    pub estimates: Estimates,
    /// The neighbours that each day comes from that was estimated by them.
    pub stood_in: BTreeMap<NaiveDate, Vec<usize>>,
    /// These neighbours.
    pub neighbours: Vec<Part>,
    /// The forecast of the station, as long as it has not lapsed.
    pub forecast: Option<StationForecast>,
    /// Whole past seasons by the start of the sum and the season they stand before.
    pub past: HashMap<(MonthDay, i32), Past>,
    /// The first day of its own, where the days before it are borrowed from neighbours.
    pub own_from: Option<NaiveDate>,
    /// The normals of the place, where it has too little of a past.
    pub normals: Option<Normals>,
    /// Seasons so far, which species of one model and start share.
    pub seasons: Vec<((Model, NaiveDate), SoFarAndSoil)>,
}

/// A season so far and its soil.
pub(super) type SoFarAndSoil = (Rc<SeasonSoFar>, Rc<SoilCourse>);

/// The days of stations as they were read last; more than a site's own and its neighbours are
/// seldom needed again.
pub(super) struct RecentDays<'c> {
    config: &'c Config,
    store: &'c Store,
    today: NaiveDate,
    recent: VecDeque<(&'c str, Rc<DailyReadings>)>,
}

/// Stations whose days are kept at hand.
const AT_HAND: usize = 8;

impl<'c> RecentDays<'c> {
    /// None read yet.
    pub fn new(config: &'c Config, store: &'c Store, today: NaiveDate) -> Self {
        Self {
            config,
            store,
            today,
            recent: VecDeque::with_capacity(AT_HAND),
        }
    }

    fn of(&mut self, feed: &'c StationFeed) -> Result<Rc<DailyReadings>, StoreError> {
        let id = feed.station.id.as_str();
        if let Some((_, days)) = self.recent.iter().find(|(of, _)| *of == id) {
            return Ok(Rc::clone(days));
        }
        let days = Rc::new(daily(self.store, feed, self.today)?);
        if self.recent.len() == AT_HAND {
            self.recent.pop_front();
        }
        self.recent.push_back((id, Rc::clone(&days)));
        Ok(days)
    }

    fn named(
        &mut self,
        id: &str,
    ) -> Result<Option<(&'c StationFeed, Rc<DailyReadings>)>, StoreError> {
        let Some(feed) = self.config.station(id) else {
            return Ok(None);
        };
        Ok(Some((feed, self.of(feed)?)))
    }
}

/// What is known of a station, with the past seasons before one.
pub(super) fn record_of(station: &StationDays, (season, start): (Season, MonthDay)) -> Record<'_> {
    let past = station.past.get(&(start, season.year));
    Record {
        readings: &station.readings,
        estimates: &station.estimates,
        past: past.map_or(&[], |past| past.seasons.as_slice()),
        borrowed: past.and_then(|past| past.borrowed),
        forecast: station.forecast.as_ref(),
    }
}

pub(super) fn read<'c>(
    store: &Store,
    (feed, blend): (&StationFeed, Option<&Blend>),
    days: &mut RecentDays<'c>,
) -> Result<StationDays, StoreError> {
    let (own, parts) = match blend {
        Some(blend) => blend_of(blend, days)?,
        None => match days.named(&feed.station.id)? {
            Some((_, own)) => (own, Vec::new()),
            None => Default::default(),
        },
    };
    let mut feeds: Vec<(&StationFeed, Rc<DailyReadings>)> = Vec::new();
    let is_young = is_young(&own, days.today);
    if is_young || has_gaps(&own) {
        for id in &feed.station.neighbours {
            feeds.extend(days.named(id)?);
        }
    }
    let neighbours: Vec<Neighbour<'_>> = feeds
        .iter()
        .map(|(neighbour, readings)| neighbour_of(feed, neighbour, readings))
        .collect();
    let Completed {
        readings,
        estimates,
        stood_in,
    } = complete(&own, &neighbours, days.config.limits.longest_gap_days);
    let back = is_young
        .then(|| extended_back(&readings, &neighbours))
        .flatten();
    let (readings, own_from, lenders) = match back {
        Some(back) => (back.readings, Some(back.own_from), back.lenders),
        None => (readings, None, Vec::new()),
    };
    let lent = |lender: &LentDays| part(feeds[lender.place].0, PartIn::Past, lender.days);
    let parts = parts.into_iter().chain(lenders.iter().map(lent)).collect();
    Ok(StationDays {
        parts,
        readings,
        estimates,
        stood_in,
        neighbours: feeds
            .iter()
            .map(|(feed, _)| part(feed, PartIn::Missing, 0))
            .collect(),
        forecast: forecast_of(store, feed, &own, days.today)?,
        past: HashMap::new(),
        own_from,
        normals: is_young.then(|| normals_of(feed)).flatten(),
        seasons: Vec::new(),
    })
}

/// A station's forecast that may be used on `today`, with what its forecasts have been worth by the days
/// that were measured.
fn forecast_of(
    store: &Store,
    feed: &StationFeed,
    own: &DailyReadings,
    today: NaiveDate,
) -> Result<Option<StationForecast>, StoreError> {
    let id = &feed.station.id;
    let Some(forecast) = store.forecast(id, today)? else {
        return Ok(None);
    };
    let kept = store.kept_forecasts(id, (learnt_from(today), today))?;
    Ok(Some(StationForecast {
        issued_on: forecast.issued.date_naive(),
        days: forecast.days,
        skill: ForecastSkill::learnt(&kept, own),
    }))
}

/// Whether a record is too short for a past of its own.
pub fn is_young(own: &DailyReadings, today: NaiveDate) -> bool {
    let years = |first: NaiveDate| usize::try_from(today.year() - first.year()).unwrap_or(0);
    own.first_day()
        .is_none_or(|first| years(first) <= FULL_SEASONS)
}

/// The normals that a station names, if they can be read; `check` says what is wrong with them.
fn normals_of(feed: &StationFeed) -> Option<Normals> {
    let path = feed.normals.as_ref()?;
    match read_normals(path) {
        Ok(normals) => Some(normals),
        Err(problem) => {
            warn!(station = feed.station.id, "normals are not used: {problem}");
            None
        }
    }
}

/// The days of several stations as one, and what each gave to the newest of them.
fn blend_of(
    blend: &Blend,
    days: &mut RecentDays<'_>,
) -> Result<(Rc<DailyReadings>, Vec<Part>), StoreError> {
    let mut sources: Vec<(&Source, &StationFeed, Rc<DailyReadings>)> = Vec::new();
    for source in &blend.sources {
        if let Some((feed, readings)) = days.named(&source.station)? {
            sources.push((source, feed, readings));
        }
    }
    let weighted: Vec<(&DailyReadings, f64)> = sources
        .iter()
        .map(|(source, _, readings)| (&**readings, source.weight))
        .collect();
    let blended = blended(&weighted, blend.order);
    let parts = parts(&blended.made_of, sources.len())
        .into_iter()
        .zip(&sources)
        .map(|(days, (_, feed, _))| part(feed, PartIn::Newest, days))
        .collect();
    Ok((Rc::new(blended.readings), parts))
}

fn part(feed: &StationFeed, of: PartIn, days: usize) -> Part {
    Part {
        of,
        station: feed.station.id.clone(),
        name: feed.station.name.clone(),
        days,
    }
}

/// A neighbour as the estimate of missing days sees it.
pub fn neighbour_of<'n>(
    feed: &StationFeed,
    neighbour: &StationFeed,
    readings: &'n DailyReadings,
) -> Neighbour<'n> {
    let heights = neighbour.station.elevation_m.zip(feed.station.elevation_m);
    Neighbour {
        readings,
        height_above_m: heights.map(|(there, here)| there - here),
    }
}

/// A station's readings up to `today`, under the days they belong to.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn daily(
    store: &Store,
    feed: &StationFeed,
    today: NaiveDate,
) -> Result<DailyReadings, StoreError> {
    let stored = store.daily_readings(&feed.station.id)?;
    let mut readings = shifted(stored, feed.station.day_shift);
    // What is dated after today has not happened for this evaluation.
    readings.truncate_after(today);
    Ok(readings)
}
