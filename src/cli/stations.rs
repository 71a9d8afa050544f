//! `hatchbell stations`: reads the lists of stations and ranks those around a place.

use super::{configuration, counted, or_exit};
use crate::clock::Clock;
use crate::config::Config;
use crate::domain::place::completeness::{Completeness, first_counted};
use crate::domain::place::globe::Place;
use crate::domain::place::station_rank::{Candidate, Ranked, Wanted, rank};
use crate::domain::weather::reading::{Readings, newest_complete};
use crate::feed::fetch::{FetchPolicy, Fetched, Fetcher, user_agent};
use crate::feed::station_list::{BadLines, Inventory, StationList, inventory, station_list};
use crate::station_feed::origin::Origin;
use crate::station_feed::version::Validators;
use crate::store::Store;
use anyhow::{Context, bail};
use chrono::{Datelike, NaiveDate};
use clap::Args;
use std::collections::HashMap;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;

mod words;

pub(super) use words::{hyphenated, quoted};

/// Find weather stations near a site
///
/// Reads the station list (ghcnd-stations.txt) and the inventory (ghcnd-inventory.txt) of
/// GHCN-Daily and ranks the stations with daily maximum and minimum around a place: by distance,
/// height, length of record, and whether they still report. For the best it prints station
/// tables to paste into the configuration. It needs no configuration itself.
///
/// The inventory knows first and last years only, not what is missing between. With --config, days
/// missing are counted in the database: for configured stations in their readings, for all others
/// in what `hatchbell import --bulk --every-station` kept, over the last ten years that it has.
#[derive(Args)]
pub(super) struct StationsOptions {
    /// The station list: a file, or an address that starts with https://
    #[arg(value_name = "LIST")]
    list: String,
    /// The inventory: a file, or an address that starts with https://
    #[arg(value_name = "INVENTORY")]
    inventory: String,
    /// The site's latitude, degrees, negative in the southern hemisphere
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    latitude: f64,
    /// The site's longitude, degrees, negative west of Greenwich
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    longitude: f64,
    /// The site's height above sea level, m; without it heights do not count
    #[arg(long, value_name = "M", allow_negative_numbers = true)]
    elevation: Option<f64>,
    /// Farthest distance, km
    #[arg(long, value_name = "KM", default_value_t = 80.0)]
    within: f64,
    /// Most stations shown
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = clap::value_parser!(u16).range(1..=200))]
    count: u16,
    /// Judge by this day whether stations still report; the default is today
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    date: Option<NaiveDate>,
    /// A configuration whose database knows the days of some or all of the stations
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
}

/// How far around a place days are counted when stations are proposed, km.
const COUNTED_WITHIN_KM: f64 = 150.0;

/// A list of all stations has about 10 MB, an inventory about 30; a slow line is given time.
const LONGEST_DOWNLOAD: Duration = Duration::from_secs(900);

pub(super) fn run(options: &StationsOptions) -> anyhow::Result<ExitCode> {
    let place = checked_place(options)?;
    let config = match &options.config {
        Some(path) => Some(or_exit!(configuration(path)).config),
        None => None,
    };
    let contact = config
        .as_ref()
        .map_or("run by hand", |config| &config.service.contact);
    let (mut ranked, wanted) = ranked(&Lists {
        list: &options.list,
        inventory: &options.inventory,
        contact,
        place,
        elevation_m: options.elevation,
        date: options.date,
        archive: None,
    })?;
    let nearest = ranked
        .iter()
        .min_by(|a, b| a.against.distance.total_cmp(&b.against.distance))
        .cloned();
    ranked.retain(|ranked| ranked.against.distance <= options.within);
    match (ranked.is_empty(), nearest) {
        (false, _) => {}
        (true, Some(nearest)) => bail!("{}", words::none_within(options.within, &nearest)),
        (true, None) => bail!("no station of the list has both daily extremes in one year"),
    }
    if let Some(config) = &config {
        let known = with_missing_days(ranked, config)?;
        ranked = rank(known, &wanted);
    }
    super::print(format_args!(
        "{}",
        words::all(&ranked, usize::from(options.count), &wanted, options.within)
    ));
    Ok(ExitCode::SUCCESS)
}

/// Two lists, and the place that stations are wanted for.
pub(super) struct Lists<'l> {
    /// The station list: a file or an address.
    pub list: &'l str,
    /// The inventory: a file or an address.
    pub inventory: &'l str,
    /// What servers are told of who asks.
    pub contact: &'l str,
    /// The place.
    pub place: Place,
    /// Its height, m.
    pub elevation_m: Option<f64>,
    /// The day by which stations report or do not; today without it.
    pub date: Option<NaiveDate>,
    /// What tells how many of their days are missing.
    pub archive: Option<&'l Config>,
}

/// All stations of the lists with both extremes, the best for the place first.
fn ranked(lists: &Lists<'_>) -> anyhow::Result<(Vec<Ranked>, Wanted)> {
    let policy = FetchPolicy {
        total_timeout: LONGEST_DOWNLOAD,
        ..FetchPolicy::default()
    };
    let fetcher = Fetcher::new(policy, &user_agent(lists.contact), None)?;
    let list = read_list(&fetcher, lists.list, station_list)?;
    let inventory = read_list(&fetcher, lists.inventory, inventory)?;
    warn("station list", &list.bad);
    warn("inventory", &inventory.bad);
    let today = lists
        .date
        .unwrap_or_else(|| Clock::Machine.now().date_naive());
    let candidates = candidates(list, &inventory)?;
    let wanted = Wanted {
        place: lists.place,
        elevation_m: lists.elevation_m,
        within_km: f64::INFINITY,
        today: day_reached(today, inventory.newest_year),
    };
    Ok((rank(candidates, &wanted), wanted))
}

/// A station near a place that still reports.
pub(super) struct NearStation {
    /// Its name and how far away it is.
    pub words: String,
    ranked: Ranked,
}

/// The best stations for a place that still report, at most three.
pub(super) fn near(lists: &Lists<'_>) -> anyhow::Result<Vec<NearStation>> {
    let (mut ranked, wanted) = ranked(lists)?;
    if let Some(archive) = lists.archive {
        let nearby = |one: &Ranked| one.against.distance <= COUNTED_WITHIN_KM;
        ranked.retain(nearby);
        ranked = rank(with_missing_days(ranked, archive)?, &wanted);
    }
    let near = words::suggested(&ranked)
        .into_iter()
        .map(|one| NearStation {
            words: format!(
                "{}, {:.0} km away, {} to {}{}",
                one.candidate.name,
                one.against.distance,
                one.years.first,
                one.years.last,
                words::missing_share(one.candidate.completeness)
            ),
            ranked: one.clone(),
        });
    Ok(near.collect())
}

/// The id of the station that was chosen, and its tables, with the others as neighbours.
pub(super) fn tables_of(near: &[NearStation], chosen: usize) -> (String, String) {
    let mut stations: Vec<&Ranked> = near.iter().map(|one| &one.ranked).collect();
    stations[..=chosen].rotate_right(1);
    let ids = words::ids(&stations);
    (ids[0].clone(), words::tables(&stations, &ids))
}

fn checked_place(options: &StationsOptions) -> anyhow::Result<Place> {
    let Some(place) = Place::new(options.latitude, options.longitude) else {
        bail!("--latitude goes from -90 to 90 and --longitude from -180 to 180 degrees");
    };
    if options
        .elevation
        .is_some_and(|m| !(-450.0..=9000.0).contains(&m))
    {
        bail!("--elevation is in metres, from -450 to 9000");
    }
    if !(1.0..=21_000.0).contains(&options.within) {
        bail!("--within is in km, from 1 to 21000");
    }
    Ok(place)
}

/// Gets a file and reads it.
fn read_list<T>(
    fetcher: &Fetcher,
    named: &str,
    read: impl Fn(&[u8]) -> Result<T, crate::feed::Rejection>,
) -> anyhow::Result<T> {
    let origin = if named.starts_with("https://") || named.starts_with("http://") {
        Origin::Url(reqwest::Url::parse(named).with_context(|| format!("{named} is no address"))?)
    } else {
        Origin::File(PathBuf::from(named))
    };
    let fetched = super::runtime()?.block_on(fetcher.fetch(&origin, &Validators::default()))?;
    let Fetched::Body { bytes, .. } = fetched else {
        bail!("{origin}: the server says that the file is known, but it was never asked for");
    };
    read(&bytes).map_err(|rejection| anyhow::anyhow!("{origin}, {rejection}"))
}

fn warn(what: &str, bad: &BadLines) {
    if bad.cut_off {
        eprintln!("warning: the {what} stops in mid-line, so it may have been cut off on the way");
    }
    if let Some((line, text)) = &bad.first {
        eprintln!(
            "warning: {} of the {what} could not be read and left out (first: line {line}: {text})",
            counted(bad.count, "line")
        );
    }
}

/// Stations of the list with years of both extremes.
fn candidates(list: StationList, inventory: &Inventory) -> anyhow::Result<Vec<Candidate>> {
    let mut in_both = false;
    let candidates: Vec<Candidate> = list
        .stations
        .into_iter()
        .filter_map(|station| {
            let spans = inventory.spans.get(&station.code)?;
            in_both = true;
            Some(Candidate {
                completeness: None,
                code: station.code,
                name: station.name,
                place: station.place,
                elevation_m: station.elevation_m,
                maximum: spans.maximum?,
                minimum: spans.minimum?,
            })
        })
        .collect();
    if !in_both {
        bail!(
            "no station of the list is in the inventory with a maximum or minimum; take both files of one day"
        );
    }
    Ok(candidates)
}

/// An inventory of an earlier year knows nothing of this one: stations are judged by its own end.
fn day_reached(today: NaiveDate, newest_year: i32) -> NaiveDate {
    if newest_year >= today.year() - i32::from(today.month() == 1) {
        return today;
    }
    eprintln!(
        "warning: the inventory ends with {newest_year}; whether stations still report is judged as of then, so download it anew"
    );
    NaiveDate::from_ymd_opt(newest_year, 12, 31).unwrap_or(today)
}

/// The stations with what the database tells of their missing days.
fn with_missing_days(ranked: Vec<Ranked>, config: &Config) -> anyhow::Result<Vec<Candidate>> {
    let store = Store::open_to_read(&config.service.database)?;
    let own = own_completeness(config, &store)?;
    let years = store.archived_years()?;
    let since = first_counted(&years);
    let mut archived = Vec::new();
    for station in ranked {
        let code = &station.candidate.code;
        let readings = match since {
            Some(since) if !own.contains_key(code) => store.archived(code, since)?.0,
            _ => Readings::new(),
        };
        archived.push((station, readings));
    }
    // The archive reaches as far as the newest day of any of them.
    let through = archived
        .iter()
        .filter_map(|(_, readings)| newest_complete(readings))
        .max();
    let known = archived.into_iter().map(|(station, readings)| {
        let candidate = station.candidate;
        let in_archive = || {
            let since = station.years.first;
            Completeness::archived(&readings, &years, since, through?)
        };
        Candidate {
            completeness: own.get(&candidate.code).copied().or_else(in_archive),
            ..candidate
        }
    });
    Ok(known.collect())
}

/// How complete the readings of configured stations are, by the stations' codes.
fn own_completeness(
    config: &Config,
    store: &Store,
) -> anyhow::Result<HashMap<String, Completeness>> {
    let mut known = HashMap::new();
    for feed in config.stations.values() {
        if let Some(code) = &feed.binding.code
            && let Some(counted) = Completeness::of(&store.readings(&feed.station.id)?)
        {
            known.insert(code.clone(), counted);
        }
    }
    Ok(known)
}
