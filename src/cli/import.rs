//! `hatchbell import`.

use super::{ConfigOption, configuration, counted, or_exit, say};
use crate::clock::Clock;
use crate::domain::series::{Readings, newest_complete};
use crate::domain::temperature::Unit;
use crate::feed::fetch::{FetchPolicy, Origin, read_file};
use crate::feed::parse::{Parsed, parse};
use crate::feed::refusal::Why;
use crate::feed::vet::vet;
use crate::store::Store;
use anyhow::{Context, bail};
use clap::Args;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::ExitCode;

/// Put a weather-station file into the database
///
/// Reads a CSV file (or .csv.gz, or a .zip where the dialect has them) the way the station's feed is read, and merges its days into
/// what is stored: new days are added, changed values are kept beside the old ones, nothing is
/// deleted. Use it for history, or for days that the feed no longer holds. What was refused is listed
/// with line and reason.
#[derive(Args)]
pub(super) struct Options {
    #[command(flatten)]
    config: ConfigOption,
    /// The station the file belongs to, by its id in the configuration
    #[arg(long, value_name = "ID")]
    station: String,
    /// Read the file by another dialect than the station's feed
    #[arg(long, value_name = "NAME")]
    dialect: Option<String>,
    /// Read the file in another unit than the station's feed
    #[arg(long, value_name = "UNIT", value_parser = super::unit)]
    unit: Option<Unit>,
    /// Take the file even where it contradicts what is stored, for example after a wrong unit
    #[arg(long)]
    replace: bool,
    /// Say what the file holds without storing it
    #[arg(long)]
    dry_run: bool,
    /// The file
    file: PathBuf,
}

/// Refused rows shown for each reason; more are counted.
const ROWS_SHOWN: usize = 5;

pub(super) fn run(options: &Options) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let Some(feed) = config.station(&options.station) else {
        let ids: Vec<&str> = config
            .stations
            .iter()
            .map(|feed| feed.station.id.as_str())
            .collect();
        bail!(
            "there is no station \"{}\" in {}; there are {}",
            options.station,
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
    let origin = Origin::File(options.file.clone());
    let bytes = read_file(&options.file, FetchPolicy::default().max_bytes)?;
    let now = Clock::Machine.now();
    let parsed = parse(&bytes, &binding, now.date_naive())
        .map_err(|rejection| anyhow::anyhow!("{origin}, {rejection}; nothing was stored"))?;
    let stored = match Store::open_to_read(&config.service.database) {
        Ok(store) if !options.replace => store.readings(&options.station)?,
        _ => Readings::new(),
    };
    vet(&parsed, &binding, &stored)
        .map_err(|rejection| anyhow::anyhow!("{origin}, {rejection}; nothing was stored"))?;
    describe(&parsed, binding.unit);
    if options.dry_run {
        say!("nothing was stored (--dry-run)");
        return Ok(ExitCode::SUCCESS);
    }
    let mut store = Store::open(&config.service.database)?;
    let merged = store
        .merge(&options.station, &parsed.readings, now)
        .context("the file was read but not stored")?;
    store.merge_rain(&options.station, &parsed.rain)?;
    store.withdraw(&options.station, &parsed.failed, now)?;
    say!(
        "{}: {} added, {} completed, {} revised, {} as they were",
        options.station,
        counted(merged.added, "day"),
        counted(merged.completed, "day"),
        counted(merged.revised, "value"),
        merged.unchanged,
    );
    Ok(ExitCode::SUCCESS)
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
    let mut by_reason: BTreeMap<Why, Vec<String>> = BTreeMap::new();
    for row in &parsed.refused {
        by_reason
            .entry(row.why)
            .or_default()
            .push(format!("line {} ({})", row.line, row.field));
    }
    for (why, rows) in by_reason {
        let shown = rows[..rows.len().min(ROWS_SHOWN)].join(", ");
        let more = match rows.len().saturating_sub(ROWS_SHOWN) {
            0 => String::new(),
            more => format!(", and {more} more"),
        };
        say!("refused, {why}: {shown}{more}");
    }
}
