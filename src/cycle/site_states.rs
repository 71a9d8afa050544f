//! Bringing the domain what is stored: where every site stands with each of its species.

use super::station_days::{RecentDays, SoFarAndSoil, StationDays, read, record_of};
use crate::config::Config;
use crate::domain::phenology::biofix::{Anchor, Catch, anchor, anchored};
use crate::domain::phenology::outlook::FULL_SEASONS;
use crate::domain::phenology::past_season::{Past, past_seasons};
use crate::domain::phenology::season::{MonthDay, Season};
use crate::domain::phenology::season_days::season_days;
use crate::domain::phenology::season_state::{
    Hold, Record, SeasonSoFar, SeasonState, season_state_of,
};
use crate::domain::phenology::soil_course::SoilCourse;
use crate::domain::phenology::species::Species;
use crate::domain::place::site;
use crate::domain::telling::notice::{Notice, NoticeKind};
use crate::domain::treatment::hatching::{Hatching, NoCoverage};
use crate::domain::weather::blend::{Blend, Part};
use crate::domain::weather::degree_day::Model;
use crate::domain::weather::gaps::How;
use crate::station_feed::StationFeed;
use crate::store::milestones::Pair;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use std::borrow::Cow;
use std::cell::OnceCell;
use std::cmp::Reverse;
use std::collections::{BTreeMap, HashMap};
use std::ops::RangeInclusive;
use std::rc::Rc;

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
    pub parts: Rc<[Part]>,
    /// How the estimated days of the sum were estimated.
    pub estimated: EstimatedDays,
    /// Where it stands.
    pub state: Rc<SeasonState>,
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
            need: None,
            kind,
        }
    }
}

/// What the season of a species depends on at a station: the species, the season's start, the cap,
/// and how far catches have moved it.
type SpeciesKey = (String, NaiveDate, NaiveDate, Option<(u64, Option<u64>)>);

/// The season of a species at a station.
pub(super) struct SpeciesSeason {
    state: Rc<SeasonState>,
    parts: Rc<[Part]>,
    estimated: EstimatedDays,
    pub(super) so_far: Rc<SeasonSoFar>,
    soil: Rc<SoilCourse>,
    hatching: OnceCell<Result<Rc<Hatching>, NoCoverage>>,
}

impl SpeciesSeason {
    /// When the larvae hatch, worked out once for all sites.
    pub(super) fn hatching(&self, here: &SiteState<'_>) -> Result<Rc<Hatching>, NoCoverage> {
        let made =
            || Hatching::of_season(&here.species, here.site.latitude, &self.so_far).map(Rc::new);
        self.hatching.get_or_init(made).clone()
    }

    /// The soil of the season.
    pub(super) fn soil(&self) -> Rc<SoilCourse> {
        Rc::clone(&self.soil)
    }
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

/// Where one site stands with each of its species.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn states_of_site<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    id: &str,
) -> Result<Vec<SiteState<'c>>, StoreError> {
    let wanted = |one: &site::Site| one.id == id;
    with_records(config, store, today, wanted, |site, _| site)
}

/// What `make` makes of each wanted site and species and what is known of its station, in the order
/// of the sites.
pub(super) fn with_records<'c, T>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    wanted: impl Fn(&site::Site) -> bool,
    make: impl Fn(SiteState<'c>, Record<'_>) -> T,
) -> Result<Vec<T>, StoreError> {
    let of_sites = by_station(config, store, today, wanted, |station, species| {
        let made = species.into_iter().map(|(here, season)| {
            let start = here.species.start.at_latitude(here.site.latitude);
            let record = record_of(station, (season.so_far.season, start));
            make(here, record)
        });
        made.collect::<Vec<T>>()
    })?;
    Ok(of_sites.into_iter().flatten().collect())
}

/// What `make` makes of each wanted site with all its species, in the order of the sites.
pub(super) fn with_sites<'c, T>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    wanted: impl Fn(&site::Site) -> bool,
    make: impl Fn(Vec<(SiteState<'c>, Rc<SpeciesSeason>)>) -> T,
) -> Result<Vec<T>, StoreError> {
    by_station(config, store, today, wanted, |_, species| make(species))
}

/// Sites of one station are taken together, so that its days are in memory once and only meanwhile.
pub(super) fn by_station<'c, T>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    wanted: impl Fn(&site::Site) -> bool,
    make: impl Fn(&StationDays, Vec<(SiteState<'c>, Rc<SpeciesSeason>)>) -> T,
) -> Result<Vec<T>, StoreError> {
    let sites: Vec<(&site::Member, &site::Site)> =
        config.sites().filter(|(_, site)| wanted(site)).collect();
    let mut groups: Vec<(&StationFeed, Option<&Blend>, Vec<usize>)> = Vec::new();
    let mut group_of: HashMap<(&str, Option<String>), usize> = HashMap::new();
    for (place, (_, site)) in sites.iter().enumerate() {
        let Some(feed) = config.station(&site.station) else {
            continue;
        };
        let blend = site.blend.as_ref();
        let key = (
            site.station.as_str(),
            blend.map(|blend| format!("{blend:?}")),
        );
        let group = *group_of.entry(key).or_insert_with(|| {
            groups.push((feed, blend, Vec::new()));
            groups.len() - 1
        });
        groups[group].2.push(place);
    }
    let mut days = RecentDays::new(config, store, today);
    let mut made: Vec<Option<T>> = sites.iter().map(|_| None).collect();
    for (feed, blend, places) in groups {
        let mut station = read(store, (feed, blend), &mut days)?;
        let mut known = HashMap::new();
        for place in places {
            let (member, site) = sites[place];
            let mut of_site = Vec::with_capacity(site.species.len());
            for species in site.species.iter().filter_map(|id| config.species.get(id)) {
                let (species, anchor) = local(config, store, site, species, &station, today)?;
                let season = season_at(
                    &mut station,
                    &mut known,
                    config,
                    &species,
                    anchor,
                    site,
                    today,
                );
                let here = SiteState {
                    member,
                    site,
                    feed,
                    species,
                    anchor,
                    parts: Rc::clone(&season.parts),
                    estimated: season.estimated,
                    state: Rc::clone(&season.state),
                };
                of_site.push((here, season));
            }
            made[place] = Some(make(&station, of_site));
        }
    }
    Ok(made.into_iter().flatten().collect())
}

/// The season of a species at a site's station, worked out unless another site has asked before.
fn season_at(
    station: &mut StationDays,
    known: &mut HashMap<SpeciesKey, Rc<SpeciesSeason>>,
    config: &Config,
    species: &Species,
    anchor: Option<Anchor>,
    site: &site::Site,
    today: NaiveDate,
) -> Rc<SpeciesSeason> {
    let season = species.season_on(today, site.latitude);
    let key = (
        species.id.clone(),
        season.start,
        species.window_cap(&season, site.latitude),
        anchor.map(|anchor| (anchor.shift.to_bits(), anchor.first_catch.map(f64::to_bits))),
    );
    if let Some(season) = known.get(&key) {
        return Rc::clone(season);
    }
    let start = species.start.at_latitude(site.latitude);
    past(station, config, start, &season);
    let (so_far, soil) = season_so_far(station, config, (species.model, season, start), today);
    let state = season_state_of(species, site.latitude, &so_far, today, config.limits);
    let made = Rc::new(SpeciesSeason {
        parts: parts_of(station, &state).into(),
        estimated: estimated_days(station, &state),
        state: Rc::new(state),
        so_far,
        soil,
        hatching: OnceCell::new(),
    });
    known.insert(key, Rc::clone(&made));
    made
}

/// The season so far by a model, worked out unless another species has asked before.
fn season_so_far(
    station: &mut StationDays,
    config: &Config,
    (model, season, start): (Model, Season, MonthDay),
    today: NaiveDate,
) -> SoFarAndSoil {
    let key = (model, season.start);
    if let Some((_, known)) = station.seasons.iter().find(|(of, _)| *of == key) {
        return known.clone();
    }
    let record = record_of(station, (season, start));
    let made = Rc::new(SeasonSoFar::of(
        &model,
        season,
        record,
        today,
        config.limits,
    ));
    let soil = Rc::new(SoilCourse::of(&made, record.past));
    station
        .seasons
        .push((key, (Rc::clone(&made), Rc::clone(&soil))));
    (made, soil)
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

/// The station of a site that gave its newest whole day; of several, or if there is no day yet, the
/// one that publishes soonest.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub(super) fn newest_station<'c>(
    config: &'c Config,
    store: &Store,
    site: &site::Site,
) -> Result<Option<&'c site::Station>, StoreError> {
    let mut stations = Vec::new();
    // Of equals the maximum is the last one, and the first one named is meant.
    for id in site.stations().into_iter().rev() {
        if let Some(feed) = config.station(id) {
            let lag = Reverse(feed.station.usual_lag_days);
            stations.push(((store.newest_day(id)?, lag), &feed.station));
        }
    }
    let newest = stations.into_iter().max_by_key(|(key, _)| *key);
    Ok(newest.map(|(_, station)| station))
}

/// Makes the past seasons if they are not there yet.
fn past(station: &mut StationDays, config: &Config, start: MonthDay, season: &Season) {
    let key = (start, season.year);
    station.past.entry(key).or_insert_with(|| {
        let seasons = past_seasons(
            &station.readings,
            &station.estimates,
            start,
            season,
            config.limits,
        );
        let past = Past::of_record(seasons, start, station.own_from);
        match &station.normals {
            Some(normals) if past.seasons.len() < FULL_SEASONS => {
                let near = normals.raised(normals.warmer(&station.readings));
                Past::of_normals(&near, season, start, past.seasons.len())
            }
            _ => past,
        }
    });
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
    let mut seasons: BTreeMap<i32, Vec<Catch>> = BTreeMap::new();
    for (day, beetles) in store.catches(pair)? {
        if day > today {
            continue;
        }
        let season = species.season_on(day, site.latitude);
        let series = season_days(
            &station.readings,
            &season,
            day,
            config.limits.longest_gap_days,
            &station.estimates,
        );
        if series.days.last().is_some_and(|last| last.date == day) {
            let sum = species.sum_of(&series.days);
            seasons
                .entry(season.year)
                .or_default()
                .push(Catch { sum, beetles });
        }
    }
    let this_season = seasons.remove(&now.year).unwrap_or_default();
    let earlier: Vec<Vec<Catch>> = seasons.into_values().collect();
    Ok(match anchor(species, &this_season, &earlier) {
        Some(anchor) => (Cow::Owned(anchored(species, &anchor)), Some(anchor)),
        None => (Cow::Borrowed(species), None),
    })
}
