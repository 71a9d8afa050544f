//! `hatchbell import`: puts a station's file into the database; bulk.rs takes files of many stations.

use super::feed::say_held;
use super::{ConfigOption, bulk, configuration, counted, or_exit, say};
use crate::clock::Clock;
use crate::config::Config;
use crate::cycle::screened;
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::{Readings, newest_complete};
use crate::feed::fetch::read_file;
use crate::feed::parse::parse;
use crate::feed::vetting::vet;
use crate::station_feed::dialect::Binding;
use crate::station_feed::origin::Origin;
use crate::station_feed::parsed::Parsed;
use crate::station_feed::refusal::Refusals;
use crate::store::Store;
use crate::store::readings::Merged;
use anyhow::{Context, bail};
use clap::Args;
use std::path::PathBuf;
use std::process::ExitCode;

/// Put a weather-station file into the database
///
/// Reads a CSV file (or .csv.gz, or a .zip where the dialect has them) the way the station's feed is read, and merges its days into
/// what is stored: new days are added, changed values are kept beside the old ones, nothing is
/// deleted. Use it for history, or for days that the feed no longer holds. What was refused is listed
/// with line and reason.
///
/// With --bulk it reads many GHCN-Daily files of many stations (by_year or by_station, .csv or
/// .csv.gz) and takes what they have of every configured station with a code. Files read to their end
/// are passed over the next time, so an import that was stopped is simply started again. Of two files
/// with different values for a day the one named later counts.
#[derive(Args)]
pub(super) struct ImportOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The station the file belongs to, by its id in the configuration
    #[arg(
        long,
        value_name = "ID",
        required_unless_present = "bulk",
        conflicts_with = "bulk"
    )]
    station: Option<String>,
    /// Read files of many stations, for all configured ones
    #[arg(long)]
    bulk: bool,
    /// Keep the days of all other stations of the files as well, by their codes
    #[arg(long, requires = "bulk")]
    every_station: bool,
    /// Take the station's days from what --every-station kept, instead of from a file
    #[arg(long, conflicts_with_all = ["bulk", "files", "dialect", "unit"])]
    kept: bool,
    /// Read the file by another dialect than the station's feed
    #[arg(long, value_name = "NAME", conflicts_with = "bulk")]
    dialect: Option<String>,
    /// Read the file in another unit than the station's feed
    #[arg(long, value_name = "UNIT", value_parser = super::unit, conflicts_with = "bulk")]
    unit: Option<Unit>,
    /// Take the file even where it contradicts what is stored, for example after a wrong unit
    #[arg(long)]
    replace: bool,
    /// Say what the file holds without storing it
    #[arg(long)]
    dry_run: bool,
    /// The file; with --bulk one or more
    #[arg(value_name = "FILE", required_unless_present = "kept")]
    files: Vec<PathBuf>,
}

/// Most bytes of a file, unpacked. A file of all stations of a region over many years is larger than
/// any feed may be.
const LARGEST_FILE_BYTES: u64 = 1 << 30;

pub(super) fn run(options: &ImportOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let Some(station) = &options.station else {
        return bulk::run(
            &config,
            &options.files,
            bulk::BulkOptions {
                every_station: options.every_station,
                replace: options.replace,
                dry_run: options.dry_run,
            },
        );
    };
    let Some(feed) = config.station(station) else {
        let ids: Vec<&str> = config.stations.keys().map(String::as_str).collect();
        bail!(
            "there is no station \"{station}\" in {}; there are {}",
            options.config.config.display(),
            ids.join(", ")
        );
    };
    let mut binding = feed.binding.clone();
    if let Some(name) = &options.dialect {
        let known = &config.dialects;
        let Some(dialect) = known.get(name) else {
            let names: Vec<&str> = known.keys().map(String::as_str).collect();
            bail!(
                "there is no dialect \"{name}\"; there are {}",
                names.join(", ")
            );
        };
        binding.dialect = dialect.clone();
        if !dialect.units.contains(&binding.unit) {
            binding.unit = dialect.units[0];
        }
    }
    if let Some(unit) = options.unit {
        binding.unit = unit;
    }
    let now = Clock::Machine.now();
    let (origin, mut parsed) = match &options.files[..] {
        [] => {
            binding.unit = Unit::TenthsCelsius;
            kept(&config, station, &binding)?
        }
        [file] => {
            let origin = Origin::File(file.clone()).to_string();
            let bytes = read_file(file, LARGEST_FILE_BYTES)?;
            let parsed = parse(&bytes, &binding, now.date_naive()).map_err(|rejection| {
                anyhow::anyhow!("{origin}, {rejection}; nothing was stored")
            })?;
            (origin, parsed)
        }
        _ => bail!("--station takes one file; files of many stations are imported with --bulk"),
    };
    let stored = match Store::open_to_read(&config.service.database) {
        Ok(store) if !options.replace => store.readings(station)?,
        _ => Readings::new(),
    };
    vet(&parsed, &binding, &stored)
        .map_err(|rejection| anyhow::anyhow!("{origin}, {rejection}; nothing was stored"))?;
    describe(&parsed, binding.unit);
    let passing = tempfile::tempdir()?;
    let mut store = match options.dry_run {
        false => Store::open(&config.service.database)?,
        true if config.service.database.exists() => Store::open_to_read(&config.service.database)?,
        true => Store::open_for_a_while(&passing.path().join("none.db"))?,
    };
    let known = store.readings(station)?;
    let held_out = screened(&store, feed, &mut parsed.readings, &known, now)?;
    say_held(station, &held_out);
    if options.dry_run {
        say!("nothing was stored (--dry-run)");
        return Ok(ExitCode::SUCCESS);
    }
    let merged = store
        .merge_all(&[(station, &parsed)], now)
        .context("the file was read but not stored")?;
    store.settle_held(station, &held_out.held, &[], held_out.finding.as_ref(), now)?;
    for merged in merged {
        say!("{station}: {}", in_words(merged));
    }
    Ok(ExitCode::SUCCESS)
}

/// What a merge did.
pub(super) fn in_words(merged: Merged) -> String {
    format!(
        "{} added, {} completed, {} revised, {} as they were",
        counted(merged.added, "day"),
        counted(merged.completed, "day"),
        counted(merged.revised, "value"),
        merged.unchanged,
    )
}

/// What `--every-station` kept of a station.
fn kept(config: &Config, station: &str, binding: &Binding) -> anyhow::Result<(String, Parsed)> {
    let code = binding.code.as_deref().with_context(|| {
        format!("station \"{station}\" has no code, so nothing can be kept of it")
    })?;
    let store = Store::open_to_read(&config.service.database)?;
    let (readings, rain) = store.archived(code, i32::MIN)?;
    let days = readings.len();
    let parsed = Parsed {
        readings,
        rain,
        rows: days,
        values: 2 * days,
        ..Parsed::default()
    };
    Ok((format!("what was kept of {code}"), parsed))
}

fn describe(parsed: &Parsed, unit: Unit) {
    let span = match (
        parsed.readings.keys().next(),
        newest_complete(&parsed.readings),
    ) {
        (Some(first), Some(newest)) => format!("{first} to {newest}"),
        _ => "no whole day".to_owned(),
    };
    say!(
        "read as {unit}: {}, {}, {span}",
        counted(parsed.rows, "row"),
        counted(parsed.readings.len(), "day"),
    );
    if parsed.provisional > 0 {
        say!(
            "left out, because such days are still moving: {}",
            counted(parsed.provisional, "row")
        );
    }
    let mut refused = Refusals::default();
    refused.extend(parsed.refused.iter().cloned());
    for line in refused.lines() {
        say!("refused, {line}");
    }
}
