//! `hatchbell import`: puts a station's file into the database; bulk.rs takes files of many stations.

use super::batches::{self, batch_line, in_words};
use super::feed::say_held;
use super::{ConfigOption, bulk, configuration_in_use, counted, or_exit, say};
use crate::clock::Clock;
use crate::config::Config;
use crate::cycle::{screened, yardstick};
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::{Readings, newest_complete};
use crate::feed::fetch::read_file;
use crate::feed::parse::parse;
use crate::feed::vetting::{FileChanges, Yardstick, vet, vet_alone};
use crate::station_feed::dialect::Binding;
use crate::station_feed::origin::Origin;
use crate::station_feed::parsed::Parsed;
use crate::station_feed::refusal::Refusals;
use crate::store::Store;
use crate::store::batches::OpenBatch;
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
///
/// Every import is a batch with a number, and so is every file of a feed that revises what is stored.
/// --list shows them. --undo takes one back, also much later: added days go, other values and the rain
/// become what they were. What has changed since then is left alone and named; undo the later batches
/// first, the newest before the others. An undo is a batch too, so it can be undone. What a feed said in
/// a batch that was undone is not taken in again until the feed says something else; import its file to
/// have it all the same. Values kept of stations that are not configured (--every-station) are not
/// undone: nothing uses them before --kept.
#[derive(Args)]
pub(super) struct ImportOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The station the file belongs to, by its id in the configuration
    #[arg(
        long,
        value_name = "ID",
        required_unless_present_any = ["bulk", "list", "undo"],
        conflicts_with_all = ["bulk", "undo"]
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
    /// List what was imported and what feeds revised, newest first; with --station of one station
    #[arg(long, conflicts_with_all = ["bulk", "kept", "files", "dialect", "unit", "replace", "dry_run"])]
    list: bool,
    /// How many batches to list
    #[arg(long, value_name = "BATCHES", default_value_t = 20, requires = "list", value_parser = clap::value_parser!(u32).range(1..))]
    most: u32,
    /// Take a batch back, by its number
    #[arg(long, value_name = "BATCH", conflicts_with_all = ["bulk", "kept", "list", "files", "dialect", "unit", "replace"])]
    undo: Option<i64>,
    /// The file; with --bulk one or more
    #[arg(value_name = "FILE", required_unless_present_any = ["kept", "list", "undo"])]
    files: Vec<PathBuf>,
}

/// Most bytes of a file, unpacked. A file of all stations of a region over many years is larger than
/// any feed may be.
const LARGEST_FILE_BYTES: u64 = 1 << 30;

pub(super) fn run(options: &ImportOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    if let Some(number) = options.undo {
        return batches::undo(&config, number, options.dry_run);
    }
    if options.list {
        return batches::list(&config, options.station.as_deref(), options.most);
    }
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
        if dialect.model {
            bail!(
                "\"{name}\" is the forecast of a model and no station's record; nothing was stored"
            );
        }
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
    let known = match Store::open_to_read(&config.service.database) {
        Ok(store) => yardstick(&store, &config, feed, &binding, &parsed)?,
        Err(_) => Yardstick::of(feed, Readings::new()),
    };
    match options.replace {
        true => vet_alone(&parsed, &binding),
        false => vet(&parsed, &binding, &known),
    }
    .map_err(|rejection| anyhow::anyhow!("{origin}, {rejection}; nothing was stored"))?;
    describe(&parsed, binding.unit);
    if options.replace {
        say!("{}", FileChanges::of(&parsed.readings, &known.stored));
    }
    let passing = tempfile::tempdir()?;
    let mut store = match options.dry_run {
        false => Store::open(&config.service.database)?,
        true if config.service.database.exists() => Store::open_to_read(&config.service.database)?,
        true => Store::open_for_a_while(&passing.path().join("none.db"))?,
    };
    let held_out = screened(&store, feed, &mut parsed.readings, &known.stored, now)?;
    say_held(station, &held_out);
    if options.dry_run {
        say!("nothing was stored (--dry-run)");
        return Ok(ExitCode::SUCCESS);
    }
    let mut batch = OpenBatch::of_import(origin);
    let merged = store
        .merge_all(&[(station, &parsed)], &mut batch, now)
        .context("the file was read but not stored")?;
    store.settle_held(station, &held_out.held, &[], held_out.finding.as_ref(), now)?;
    for merged in merged {
        say!("{station}: {}", in_words(merged));
    }
    if let Some(line) = batch_line(&batch) {
        say!("{line}");
    }
    Ok(ExitCode::SUCCESS)
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
