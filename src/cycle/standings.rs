//! Bringing the domain what is stored: where every site stands with each of its species.

use crate::config::{Config, StationFeed};
use crate::domain::biofix::{Anchor, anchor, anchored};
use crate::domain::milestone::{Milestone, Record, Standing, standing};
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

/// What is stored of a station, read once.
struct Station {
    readings: Readings,
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
    let mut stations: HashMap<&str, Station> = HashMap::new();
    let mut sites = Vec::new();
    for (member, site) in config.sites() {
        let Some(feed) = config.station(&site.station) else {
            continue;
        };
        let id = site.station.as_str();
        if !stations.contains_key(id) {
            stations.insert(id, read(store, id, today)?);
        }
        let Some(station) = stations.get_mut(id) else {
            continue;
        };
        for species in site.species.iter().filter_map(|id| config.species.get(id)) {
            let (species, anchor) = local(config, store, site, species, &station.readings, today)?;
            let season = species.season_on(today, site.latitude);
            let start = species.start.at_latitude(site.latitude);
            let past = past(station, config, start, &season);
            let record = Record {
                readings: &station.readings,
                past: &station.past[&past],
                forecast: &station.forecast,
            };
            let standing = standing(&species, site.latitude, record, today, config.limits);
            sites.push(Site {
                member,
                site,
                feed,
                species,
                anchor,
                standing,
            });
        }
    }
    Ok(sites)
}

fn read(store: &Store, id: &str, today: NaiveDate) -> Result<Station, StoreError> {
    let mut readings = store.readings(id)?;
    // What is dated after today has not happened for this evaluation.
    readings.split_off(&(today + Days::new(1)));
    Ok(Station {
        readings,
        forecast: store.forecast(id)?,
        past: HashMap::new(),
    })
}

/// Makes the past seasons if they are not there yet; returns their key.
fn past(station: &mut Station, config: &Config, start: MonthDay, season: &Season) -> (String, i32) {
    let key = (start.to_string(), season.year);
    station
        .past
        .entry(key.clone())
        .or_insert_with(|| past_seasons(&station.readings, start, season, config.limits));
    key
}

/// The species as the site's own catches have moved it.
fn local<'c>(
    config: &Config,
    store: &Store,
    site: &site::Site,
    species: &'c Species,
    readings: &Readings,
    today: NaiveDate,
) -> Result<(Cow<'c, Species>, Option<Anchor>), StoreError> {
    let pair = Pair {
        site: &site.id,
        species: &species.id,
    };
    let now = species.season_on(today, site.latitude);
    // The first catch of each season is the one that counts.
    let mut first: HashMap<i32, NaiveDate> = HashMap::new();
    for found in store.catches(pair)? {
        if found.day <= today {
            let season = species.season_on(found.day, site.latitude);
            first.entry(season.year).or_insert(found.day);
        }
    }
    let sum_on = |day: NaiveDate| {
        let season = species.season_on(day, site.latitude);
        let series = season_days(readings, &season, day, config.limits.longest_gap_days);
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
