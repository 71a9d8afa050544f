//! Bringing the domain what is stored: where every site stands with each of its species.

use crate::config::{Config, StationFeed};
use crate::domain::phenology::biofix::{Anchor, anchor, anchored};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::{PastSeason, past_seasons};
use crate::domain::phenology::season::{MonthDay, Season};
use crate::domain::phenology::season_days::season_days;
use crate::domain::phenology::season_state::{Hold, Record, SeasonState, state};
use crate::domain::phenology::species::Species;
use crate::domain::place::site;
use crate::domain::telling::notice::{Notice, NoticeKind};
use crate::domain::weather::blend::{Blend, Part, PartIn, Source, blended, parts};
use crate::domain::weather::gaps::{Completed, Estimates, How, Neighbour, complete};
use crate::domain::weather::observation_day::shifted;
use crate::domain::weather::reading::Readings;
use crate::store::milestones::Pair;
use crate::store::{Store, StoreError};
use chrono::{Days, NaiveDate};
use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap};
use std::ops::RangeInclusive;

/// Where a site stands with one of its species.
pub struct SiteState<'c> {
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
    /// What each of several stations gave to the newest days, and neighbours to missing ones; empty
    /// where all is measured at one station.
    pub parts: Vec<Part>,
    /// How the estimated days of the sum were estimated.
    pub estimated: EstimatedDays,
    /// Where it stands.
    pub state: SeasonState,
}

/// The estimated days of a sum by how they were estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct EstimatedDays {
    /// By neighbours.
    pub by_neighbours: u32,
    /// By a straight line between the days on both sides.
    pub by_line: u32,
    /// By the station's own other years.
    pub by_other_years: u32,
}

impl SiteState<'_> {
    /// The site and the species by their ids.
    pub fn pair(&self) -> Pair<'_> {
        Pair {
            site: &self.site.id,
            species: &self.species.id,
        }
    }

    /// Something to tell about it.
    pub(super) fn notice<'n>(&'n self, kind: NoticeKind<'n>) -> Notice<'n> {
        Notice {
            member: self.member,
            site: self.site,
            station: &self.feed.station,
            parts: &self.parts,
            need: None,
            kind,
        }
    }
}

/// What is stored of a site's station or stations, read once.
struct StationDays {
    /// What each of several stations gave to the newest days.
    parts: Vec<Part>,
    /// Under the days they belong to, and completed.
    readings: Readings,
    estimates: Estimates,
    /// The neighbours that each day comes from that was estimated by them.
    stood_in: BTreeMap<NaiveDate, Vec<usize>>,
    /// These neighbours.
    neighbours: Vec<Part>,
    forecast: Readings,
    /// Whole past seasons by the start of the sum and the season they stand before.
    past: HashMap<(String, i32), Vec<PastSeason>>,
}

/// Where every site stands with each of its species on `today`, by what is stored.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn site_states<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
) -> Result<Vec<SiteState<'c>>, StoreError> {
    let any = |_: &site::Site| true;
    with_records(config, store, today, any, |site, _| site)
}

/// What `make` makes of each wanted site and species and what is known of its station.
pub(super) fn with_records<'c, T>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    wanted: impl Fn(&site::Site) -> bool,
    make: impl Fn(SiteState<'c>, Record<'_>) -> T,
) -> Result<Vec<T>, StoreError> {
    let mut days: HashMap<&str, Readings> = HashMap::new();
    for feed in &config.stations {
        days.insert(&feed.station.id, daily(store, feed, today)?);
    }
    let mut stations: HashMap<String, StationDays> = HashMap::new();
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
            let state = state(&species, site.latitude, record, today, config.limits);
            let here = SiteState {
                member,
                site,
                feed,
                species,
                anchor,
                parts: parts_of(station, &state),
                estimated: estimated_days(station, &state),
                state,
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
) -> Result<StationDays, StoreError> {
    let feeds: Vec<(&StationFeed, &Readings)> = feed
        .station
        .neighbours
        .iter()
        .filter_map(|id| Some((config.station(id)?, days.get(id.as_str())?)))
        .collect();
    let neighbours: Vec<Neighbour<'_>> = feeds
        .iter()
        .map(|(neighbour, readings)| neighbour_of(feed, neighbour, readings))
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
        stood_in,
    } = complete(&own, &neighbours, config.limits.longest_gap_days);
    Ok(StationDays {
        parts,
        readings,
        estimates,
        stood_in,
        neighbours: feeds
            .iter()
            .map(|(feed, _)| part(feed, PartIn::Missing, 0))
            .collect(),
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
        .map(|(days, (_, feed, _))| part(feed, PartIn::Newest, days))
        .collect();
    (blended.readings, parts)
}

fn part(feed: &StationFeed, of: PartIn, days: usize) -> Part {
    Part {
        of,
        station: feed.station.id.clone(),
        name: feed.station.name.clone(),
        days,
    }
}

/// What stations gave to the newest days, and neighbours to the missing ones of the sum.
fn parts_of(station: &StationDays, state: &SeasonState) -> Vec<Part> {
    let mut neighbours = station.neighbours.clone();
    if let Some(days) = summed(state) {
        for place in station.stood_in.range(days).flat_map(|(_, places)| places) {
            neighbours[*place].days += 1;
        }
    }
    neighbours.retain(|neighbour| neighbour.days > 0);
    let newest = station.parts.iter().cloned();
    newest.chain(neighbours).collect()
}

/// How the estimated days of the sum were estimated.
fn estimated_days(station: &StationDays, state: &SeasonState) -> EstimatedDays {
    let of = |how| match summed(state) {
        Some(days) => station
            .estimates
            .range(days)
            .filter(|(_, h)| **h == how)
            .count() as u32,
        None => 0,
    };
    let (by_neighbours, by_other_years) = (of(How::Neighbours), of(How::Climatology));
    EstimatedDays {
        by_neighbours,
        by_line: state.estimated_days - by_neighbours - by_other_years,
        by_other_years,
    }
}

/// The days of the sum: from the season's start to the newest one, or to a gap too long to bridge.
fn summed(state: &SeasonState) -> Option<RangeInclusive<NaiveDate>> {
    let last = match state.hold {
        Some(Hold::Gap(gap)) => gap.from.pred_opt()?,
        _ => state.data_through?,
    };
    let first = state.season.start;
    (first <= last).then_some(first..=last)
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
fn past(
    station: &mut StationDays,
    config: &Config,
    start: MonthDay,
    season: &Season,
) -> (String, i32) {
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
    station: &StationDays,
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
