//! `hatchbell replay`: plays a season through the service's own cycle, into a passing database.

use super::{ConfigOption, configuration, counted, or_exit, progress, runtime, say};
use crate::clock::Clock;
use crate::config::Config;
use crate::cycle::{Engine, Setup};
use crate::station_feed::origin::Origin;
use crate::store::Store;
use anyhow::{Context, bail};
use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, Utc};
use clap::Args;
use std::collections::BTreeSet;
use std::process::ExitCode;
use tokio::sync::watch;

/// Play a season day by day and print each alert on the day it would have been sent
///
/// Goes through the same steps as the service, with a clock that jumps from day to day and a
/// database that is thrown away at the end. Stations with a file are read from it; stations with
/// an address are taken from the database, so nothing is fetched. Nothing is sent.
#[derive(Args)]
pub(super) struct ReplayOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The year the season starts in; without it the year of demo.starts, or last year
    #[arg(long, value_name = "YEAR", value_parser = clap::value_parser!(i32).range(1700..=2200))]
    season: Option<i32>,
    /// Print one JSON object a message instead, each on a line
    #[arg(long)]
    json: bool,
    /// Days by which new temperatures come late; without it demo.published_lag_days, or 3
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(0..=30))]
    lag: Option<u32>,
}

/// Lag of ordinary feeds, days: the median of 707 downloads of one GHCN-Daily station.
const ORDINARY_LAG: u32 = 3;

pub(super) fn run(options: &ReplayOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let demo = config.demo;
    let year = options
        .season
        .or(demo.map(|demo| demo.starts.year()))
        .unwrap_or_else(|| Clock::Machine.now().year() - 1);
    let lag = options
        .lag
        .or(demo.map(|demo| demo.published_lag_days))
        .unwrap_or(ORDINARY_LAG);
    let (first, last) = days_of(&config, year, lag)?;
    let folder = tempfile::tempdir().context("no folder for the passing database")?;
    let store = Store::open_for_a_while(&folder.path().join("replay.db"))?;
    let mut setup = Setup::for_replay(&config, lag).map_err(anyhow::Error::msg)?;
    keep_stored_stations(&config, &mut setup)?;
    if !options.json {
        say!(
            "{}: season {year}, {} with {} of {}, temperatures {} late\n",
            config.service.name,
            counted(config.members.len(), "member"),
            counted(config.sites().count(), "site"),
            counted(config.stations.len(), "station"),
            counted(lag as usize, "day"),
        );
    }
    let days: Vec<NaiveDate> = first.iter_days().take_while(|day| *day <= last).collect();
    let bar = progress::steps(days.len(), "days");
    let (_keep, stopping) = watch::channel(false);
    let mut engine = Engine::new(
        config,
        setup,
        store,
        Clock::Set(at_six(first)),
        if options.json {
            Box::new(std::io::sink())
        } else {
            Box::new(progress::AboveBar {
                bar: bar.clone(),
                to: super::Terminal,
            })
        },
        stopping,
    );
    let runtime = runtime()?;
    let mut milestones = 0;
    for day in days {
        bar.set_message(day.to_string());
        engine.clock = Clock::Set(at_six(day));
        let report = runtime.block_on(engine.cycle(&|| {}))?;
        if report.failed > 0 {
            bail_on_feeds(&engine)?;
        }
        milestones += report.milestones;
        bar.inc(1);
    }
    bar.finish_and_clear();
    let messages = engine.store.messages()?;
    if options.json {
        for message in &messages {
            say!("{}", serde_json::to_string(message)?);
        }
        return Ok(ExitCode::SUCCESS);
    }
    let people: BTreeSet<&str> = messages.iter().map(|one| one.recipient.as_str()).collect();
    let words = messages
        .iter()
        .map(|one| one.text.split_whitespace().count());
    say!(
        "season {year} played: {} recorded, {} to {}, longest {} words",
        counted(milestones, "milestone"),
        counted(messages.len(), "message"),
        match people.len() {
            1 => "1 person".to_owned(),
            many => format!("{many} people"),
        },
        words.max().unwrap_or(0)
    );
    Ok(ExitCode::SUCCESS)
}

fn at_six(day: NaiveDate) -> DateTime<Utc> {
    let six = NaiveTime::from_hms_opt(6, 0, 0).expect("a time of day");
    day.and_time(six).and_utc()
}

/// From the day on which the first day of the first season is published to the end of the last
/// season.
fn days_of(config: &Config, year: i32, lag: u32) -> anyhow::Result<(NaiveDate, NaiveDate)> {
    let seasons: Vec<_> = config
        .sites()
        .flat_map(|(_, site)| site.species.iter().map(move |id| (site, id)))
        .filter_map(|(site, id)| {
            let start = config.species.get(id)?.start.at_latitude(site.latitude);
            Some(crate::domain::phenology::season::Season::starting_in(
                year, start,
            ))
        })
        .collect();
    let first = seasons.iter().map(|season| season.start).min();
    let last = seasons.iter().map(|season| season.end).max();
    match (first, last) {
        (Some(first), Some(last)) => Ok((first + Days::new(u64::from(lag)), last)),
        _ => bail!("there is no site with a species to play a season for"),
    }
}

/// Stations without a file are played from the database.
fn keep_stored_stations(config: &Config, setup: &mut Setup) -> anyhow::Result<()> {
    for feed in config.stations.values() {
        if matches!(feed.origin, Origin::File(_)) {
            continue;
        }
        let id = &feed.station.id;
        let (readings, rain) = Store::open_to_read(&config.service.database)
            .and_then(|store| Ok((store.readings(id)?, store.rain_since(id, NaiveDate::MIN)?)))
            .with_context(|| {
                format!("station {id} has no file, and a replay does not fetch; import its history first")
            })?;
        setup.keep(id, readings, rain);
    }
    Ok(())
}

fn bail_on_feeds(engine: &Engine) -> anyhow::Result<()> {
    for feed in engine.config.stations.values() {
        if let Some(problem) = engine.store.feed(&feed.station.id)?.problem {
            bail!("station {}: {problem}", feed.station.id);
        }
    }
    Ok(())
}
