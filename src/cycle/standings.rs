//! Bringing the domain what is stored: where every site stands with each of its species.

use crate::config::{Config, StationFeed};
use crate::domain::biofix::{Anchor, anchor, anchored};
use crate::domain::blend::{Blend, Part, Source, blended, parts};
use crate::domain::coverage::{Hatching, NoCoverage};
use crate::domain::gaps::{Completed, Estimates, Neighbour, complete};
use crate::domain::milestone::{Milestone, Record, Standing, standing};
use crate::domain::observation_day::shifted;
use crate::domain::outlook::{PastSeason, past_seasons};
use crate::domain::season::{MonthDay, Season};
use crate::domain::series::{Readings, season_days};
use crate::domain::site;
use crate::domain::species::Species;
use crate::store::milestones::Pair;
use crate::store::{Store, StoreError};
use chrono::{Days, NaiveDate};
use std::borrow::Cow;
use std::collections::HashMap;

/// Where a site stands with one of its species.
pub struct Site<'c> {
    /// Whose it is.
    pub member: &'c site::Member,
    /// The site.
    pub site: &'c site::Site,
    /// Its station.
    pub feed: &'c StationFeed,
    /// The species, moved by the site's own catches if there are any.
    pub species: Cow<'c, Species>,
    /// How it was moved.
    pub anchor: Option<Anchor>,
    /// What each of several stations gave to the newest days; empty where there is one.
    pub parts: Vec<Part>,
    /// Where it stands.
    pub standing: Standing,
}

impl Site<'_> {
    /// The site and the species by their ids.
    pub fn pair(&self) -> Pair<'_> {
        Pair {
            site: &self.site.id,
            species: &self.species.id,
        }
    }
}

/// What is stored of a site's station or stations, read once.
struct Station {
    /// What each of several stations gave to the newest days.
    parts: Vec<Part>,
    /// Under the days they belong to, and completed.
    readings: Readings,
    estimates: Estimates,
    forecast: Readings,
    /// Whole past seasons by the start of the sum and the season they stand before.
    past: HashMap<(String, i32), Vec<PastSeason>>,
}

/// Where every site stands with each of its species on `today`, by what is stored.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn site_standings<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
) -> Result<Vec<Site<'c>>, StoreError> {
    let any = |_: &site::Site| true;
    with_records(config, store, today, any, |site, _| site)
}

/// Where a site stands with each of its species, and when larvae hatch there or why not.
pub type Hatchings<'c> = Vec<(Site<'c>, Result<Hatching, NoCoverage>)>;

/// Where a site stands with each of its species on `today`, and when larvae hatch and grow there.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn hatchings<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    site: &str,
) -> Result<Hatchings<'c>, StoreError> {
    let wanted = |one: &site::Site| one.id == site;
    with_records(config, store, today, wanted, |here, record| {
        let latitude = here.site.latitude;
        let hatching = Hatching::of_record(&here.species, latitude, record, today, config.limits);
        (here, hatching)
    })
}

/// What `make` makes of each wanted site and species and what is known of its station.
fn with_records<'c, T>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    wanted: impl Fn(&site::Site) -> bool,
    make: impl Fn(Site<'c>, Record<'_>) -> T,
) -> Result<Vec<T>, StoreError> {
    let mut days: HashMap<&str, Readings> = HashMap::new();
    for feed in &config.stations {
        days.insert(&feed.station.id, daily(store, feed, today)?);
    }
    let mut stations: HashMap<String, Station> = HashMap::new();
    let mut made = Vec::new();
    for (member, site) in config.sites().filter(|(_, site)| wanted(site)) {
        let Some(feed) = config.station(&site.station) else {
            continue;
        };
        let id = match &site.blend {
            Some(blend) => format!("{blend:?}"),
            None => site.station.clone(),
        };
        if !stations.contains_key(&id) {
            let blend = site.blend.as_ref();
            stations.insert(id.clone(), read(config, store, (feed, blend), &days)?);
        }
        let Some(station) = stations.get_mut(&id) else {
            continue;
        };
        for species in site.species.iter().filter_map(|id| config.species.get(id)) {
            let (species, anchor) = local(config, store, site, species, station, today)?;
            let season = species.season_on(today, site.latitude);
            let start = species.start.at_latitude(site.latitude);
            let past = past(station, config, start, &season);
            let record = Record {
                readings: &station.readings,
                estimates: &station.estimates,
                past: &station.past[&past],
                forecast: &station.forecast,
            };
            let standing = standing(&species, site.latitude, record, today, config.limits);
            let here = Site {
                member,
                site,
                feed,
                species,
                anchor,
                parts: station.parts.clone(),
                standing,
            };
            made.push(make(here, record));
        }
    }
    Ok(made)
}

fn read(
    config: &Config,
    store: &Store,
    (feed, blend): (&StationFeed, Option<&Blend>),
    days: &HashMap<&str, Readings>,
) -> Result<Station, StoreError> {
    let neighbours: Vec<Neighbour<'_>> = feed
        .station
        .neighbours
        .iter()
        .filter_map(|id| {
            Some(neighbour_of(
                feed,
                config.station(id)?,
                days.get(id.as_str())?,
            ))
        })
        .collect();
    let (own, parts) = match blend {
        Some(blend) => {
            let (readings, parts) = blend_of(config, blend, days);
            (Cow::Owned(readings), parts)
        }
        None => (Cow::Borrowed(&days[feed.station.id.as_str()]), Vec::new()),
    };
    let Completed {
        readings,
        estimates,
    } = complete(&own, &neighbours, config.limits.longest_gap_days);
    Ok(Station {
        parts,
        readings,
        estimates,
        forecast: store.forecast(&feed.station.id)?,
        past: HashMap::new(),
    })
}

/// The days of several stations as one, and what each gave to the newest of them.
fn blend_of(
    config: &Config,
    blend: &Blend,
    days: &HashMap<&str, Readings>,
) -> (Readings, Vec<Part>) {
    let sources: Vec<(&Source, &StationFeed, &Readings)> = blend
        .sources
        .iter()
        .filter_map(|source| {
            let id = source.station.as_str();
            Some((source, config.station(id)?, days.get(id)?))
        })
        .collect();
    let weighted: Vec<(&Readings, f64)> = sources
        .iter()
        .map(|(source, _, readings)| (*readings, source.weight))
        .collect();
    let blended = blended(&weighted, blend.order);
    let parts = parts(&blended.made_of, sources.len())
        .into_iter()
        .zip(&sources)
        .map(|(days, (source, feed, _))| Part {
            station: source.station.clone(),
            name: feed.station.name.clone(),
            days,
        })
        .collect();
    (blended.readings, parts)
}

/// The newest whole day of any station of a site.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn newest_day_of(store: &Store, site: &site::Site) -> Result<Option<NaiveDate>, StoreError> {
    let mut newest = None;
    for station in site.stations() {
        newest = newest.max(store.newest_day(station)?);
    }
    Ok(newest)
}

/// A neighbour as the estimate of missing days sees it.
pub fn neighbour_of<'n>(
    feed: &StationFeed,
    neighbour: &StationFeed,
    readings: &'n Readings,
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
pub fn daily(store: &Store, feed: &StationFeed, today: NaiveDate) -> Result<Readings, StoreError> {
    let mut readings = shifted(&store.readings(&feed.station.id)?, feed.station.day_shift);
    // What is dated after today has not happened for this evaluation.
    readings.split_off(&(today + Days::new(1)));
    Ok(readings)
}

/// Makes the past seasons if they are not there yet; returns their key.
fn past(station: &mut Station, config: &Config, start: MonthDay, season: &Season) -> (String, i32) {
    let key = (start.to_string(), season.year);
    station.past.entry(key.clone()).or_insert_with(|| {
        past_seasons(
            &station.readings,
            &station.estimates,
            start,
            season,
            config.limits,
        )
    });
    key
}

/// The species as the site's own catches have moved it.
fn local<'c>(
    config: &Config,
    store: &Store,
    site: &site::Site,
    species: &'c Species,
    station: &Station,
    today: NaiveDate,
) -> Result<(Cow<'c, Species>, Option<Anchor>), StoreError> {
    let pair = Pair {
        site: &site.id,
        species: &species.id,
    };
    let now = species.season_on(today, site.latitude);
    // The first catch of each season is the one that counts.
    let mut first: HashMap<i32, NaiveDate> = HashMap::new();
    for day in store.catches(pair)? {
        if day <= today {
            let season = species.season_on(day, site.latitude);
            first.entry(season.year).or_insert(day);
        }
    }
    let sum_on = |day: NaiveDate| {
        let season = species.season_on(day, site.latitude);
        let series = season_days(
            &station.readings,
            &season,
            day,
            config.limits.longest_gap_days,
            &station.estimates,
        );
        let reaches = series.days.last().is_some_and(|last| last.date == day);
        reaches.then(|| species.sum_of(&series.days))
    };
    let this_season = first.get(&now.year).and_then(|day| sum_on(*day));
    let mut earlier: Vec<&NaiveDate> = first
        .iter()
        .filter(|(year, _)| **year < now.year)
        .map(|(_, day)| day)
        .collect();
    earlier.sort();
    let earlier: Vec<f64> = earlier.into_iter().filter_map(|day| sum_on(*day)).collect();
    let flight = species.threshold(Milestone::AdultFlight);
    Ok(match anchor(flight, this_season, &earlier) {
        Some(anchor) => (Cow::Owned(anchored(species, anchor.shift)), Some(anchor)),
        None => (Cow::Borrowed(species), None),
    })
}
