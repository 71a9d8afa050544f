//! What is wrong: what somebody has to see to, and what the sites lack meanwhile.

use super::site::held;
use super::{OutboxStatus, StationStatus, StatusSite};
use crate::config::Config;
use crate::domain::phenology::season_state::Hold;
use crate::domain::weather::foretold_days::JUMP;
use crate::report::words::counted;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use serde::Serialize;
use std::collections::{BTreeMap, HashMap};

/// The kinds of trouble.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProblemKind {
    /// The service runs with another configuration, or a member's has mistakes.
    Configuration,
    /// Messages do not arrive.
    Undelivered,
    /// The broker of the home server cannot be published to.
    HomeServer,
    /// No new days arrive from a station.
    Stale,
    /// Something else is wrong with a station's feed: values held out of sums are a part of it.
    Feed,
    /// Milestones are held back.
    Held,
}

/// Something that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StatusProblem {
    /// The kind of trouble.
    pub kind: ProblemKind,
    /// What it is and, where that helps, what to do.
    pub what: String,
}

/// Sites that are named before the others are only counted.
const NAMED_SITES: usize = 3;

/// What is wrong, with as few words for many sites as for one.
pub(super) fn problems(
    config: &Config,
    found: &[&StatusSite],
    stations: &[StationStatus],
    outbox: &OutboxStatus,
    configuration: Vec<String>,
) -> Vec<StatusProblem> {
    let of = |kind| move |what| StatusProblem { kind, what };
    let read_for = config.read_for();
    let read = || {
        let is_read = |station: &&StationStatus| read_for.contains_key(station.station.as_str());
        stations.iter().filter(is_read)
    };
    let sites = sites_of_stations(found);
    let stale = read()
        .filter(|station| station.stale)
        .map(|station| stale(station, sites.get(station.station.as_str()).copied()));
    let feeds = read().flat_map(StationStatus::troubles);
    let mut all: Vec<StatusProblem> = Vec::new();
    all.extend(
        configuration
            .into_iter()
            .map(of(ProblemKind::Configuration)),
    );
    all.extend(
        undelivered(outbox)
            .into_iter()
            .map(of(ProblemKind::Undelivered)),
    );
    all.extend(stale.map(of(ProblemKind::Stale)));
    all.extend(feeds.map(of(ProblemKind::Feed)));
    all.extend(forecast_jumps(found).into_iter().map(of(ProblemKind::Feed)));
    all.extend(holds(found).into_iter().map(of(ProblemKind::Held)));
    all
}

/// What is wrong with the broker of the home server, if there is one.
pub(super) fn of_broker(
    config: &Config,
    store: &Store,
) -> Result<Option<StatusProblem>, StoreError> {
    let trouble = store.broker_trouble()?;
    let trouble = trouble.filter(|_| config.mqtt.is_some());
    Ok(trouble.map(|trouble| StatusProblem {
        kind: ProblemKind::HomeServer,
        what: format!(
            "not published since {}: {}",
            trouble.since.format("%Y-%m-%d %H:%M UTC"),
            trouble.why
        ),
    }))
}

/// How many sites each station stands for.
fn sites_of_stations<'s>(found: &[&'s StatusSite]) -> HashMap<&'s str, usize> {
    let mut sites = HashMap::new();
    for station in found.iter().flat_map(|site| &site.stations) {
        *sites.entry(station.as_str()).or_default() += 1;
    }
    sites
}

fn undelivered(outbox: &OutboxStatus) -> Vec<String> {
    let mut lines: Vec<String> = outbox
        .problems
        .iter()
        .map(|problem| format!("not delivered: {problem}"))
        .collect();
    if outbox.failing > 0 {
        let messages = counted(outbox.failing as usize, "message");
        lines.push(format!("not delivered yet: {messages}, tried again later"));
    }
    lines
}

fn stale(station: &StationStatus, sites: Option<usize>) -> String {
    let since = match station.newest_day {
        Some(day) => format!("stale since {day}"),
        None => "no days yet".to_owned(),
    };
    match sites {
        Some(sites) => format!("{}: {since} ({})", station.name, counted(sites, "site")),
        None => format!("{}: {since} (a neighbour only)", station.name),
    }
}

/// Forecasts of which days are not used because they jump, once a station.
fn forecast_jumps(found: &[&StatusSite]) -> Vec<String> {
    let jumps = found.iter().flat_map(|site| &site.jumps);
    let jumps: BTreeMap<&str, NaiveDate> = jumps
        .map(|(station, day)| (station.as_str(), *day))
        .collect();
    let line = |(station, day)| {
        format!(
            "{station}: the forecast jumps by {JUMP:.0} °C or more to {day} and is not used from that day on"
        )
    };
    jumps.into_iter().map(line).collect()
}

/// Holds, those of one station and reason together.
fn holds(sites: &[&StatusSite]) -> Vec<String> {
    let mut found: Vec<(&str, Hold, Vec<&str>)> = Vec::new();
    for site in sites {
        for (station, hold) in &site.holds {
            let known = found
                .iter_mut()
                .find(|(of, why, _)| of == station && why == hold);
            match known {
                // The species of a site follow each other.
                Some((_, _, sites)) if sites.last() == Some(&site.name.as_str()) => {}
                Some((_, _, sites)) => sites.push(&site.name),
                None => found.push((station, *hold, vec![&site.name])),
            }
        }
    }
    let lines = found.into_iter().map(|(station, hold, sites)| {
        let named = sites[..sites.len().min(NAMED_SITES)].join("; ");
        let more = match sites.len().saturating_sub(NAMED_SITES) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let why = held(hold);
        format!("milestones held at {named}{more}: {station}: {why}")
    });
    lines.collect()
}
