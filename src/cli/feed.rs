//! `hatchbell feed`: `try` reads one file of a feed and says what was understood; confirm and refuse
//! are in settle.rs.

use super::{EXIT_CONFIG, counted, print_problems, runtime, say};
use crate::clock::Clock;
use crate::config::dialect_file;
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::newest_complete;
use crate::feed::fetch::{FetchPolicy, Fetched, Fetcher, user_agent};
use crate::feed::table::of_origin;
use crate::feed::trial::{Known, Misfit, Trial, try_dialects};
use crate::feed::unpack::{listed, names_in_zip};
use crate::feed::vetting::vet_alone;
use crate::station_feed::dialect::{Binding, Dialect};
use crate::station_feed::origin::Origin;
use crate::station_feed::parsed::Parsed;
use crate::station_feed::refusal::{RefusedRow, Why};
use crate::station_feed::version::Validators;
use anyhow::bail;
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

mod settle;
mod suggestion;

pub(super) use settle::{command, say_held};

/// Look at a weather service's files before they are used, and settle values that are held
#[derive(Args)]
pub(super) struct FeedOptions {
    #[command(subcommand)]
    command: FeedCommand,
}

#[derive(Subcommand)]
enum FeedCommand {
    Try(TryOptions),
    /// Take in values that are held out of sums
    ///
    /// They become readings at once and are never held again. "hatchbell check --data" lists what is held.
    Confirm(settle::SettleOptions),
    /// Leave out for good values that are held out of sums
    ///
    /// The same value is not asked about again; another one of that day is looked at anew.
    Refuse(settle::SettleOptions),
}

/// Read a file once and say what was understood
///
/// Fetches the address or reads the file, finds the dialect and the unit that fit, and shows the
/// columns used, the days found and what was refused, with a station's block to copy into the
/// configuration. Needs no configuration and stores nothing.
#[derive(Args)]
struct TryOptions {
    /// An address that starts with https:// or http://, or a file (.csv, .csv.gz, .zip)
    #[arg(value_name = "URL-OR-FILE")]
    place: String,
    /// Try this dialect only: a built-in one by its name, or a .toml file with your own
    #[arg(long, value_name = "NAME")]
    dialect: Option<String>,
    /// Take this unit instead of the one that fits best
    #[arg(long, value_name = "UNIT", value_parser = super::unit)]
    unit: Option<Unit>,
    /// The station's code, for a file that holds several
    #[arg(long, value_name = "CODE")]
    code: Option<String>,
}

/// Refused rows shown for each reason; more are counted.
const ROWS_SHOWN: usize = 3;
/// Stations of a file that are listed.
const STATIONS_SHOWN: usize = 12;

pub(super) fn run(options: &FeedOptions) -> anyhow::Result<ExitCode> {
    let options = match &options.command {
        FeedCommand::Try(options) => options,
        FeedCommand::Confirm(options) => return settle::run(options, true),
        FeedCommand::Refuse(options) => return settle::run(options, false),
    };
    let Some(dialects) = dialects(options.dialect.as_deref())? else {
        return Ok(ExitCode::from(EXIT_CONFIG));
    };
    let origin = origin(&options.place);
    let bytes = fetch(&origin)?;
    let today = Clock::Machine.now().date_naive();
    let known = Known {
        unit: options.unit,
        code: options.code.clone(),
    };
    let (fitting, others) = try_dialects(&bytes, &dialects, &known, today);
    let Some(best) = fitting.first() else {
        bail!("{origin}: {}", why_none(&bytes, &origin, &others));
    };
    describe(best, today);
    if let [_, further @ ..] = fitting.as_slice()
        && !further.is_empty()
    {
        let names: Vec<String> = further
            .iter()
            .map(|trial| format!("{} ({})", trial.dialect.name, trial.unit))
            .collect();
        say!("also fits    {}; try them with --dialect", names.join(", "));
    }
    say!("\nFor the configuration, with a name of your own:\n");
    say!(
        "{}",
        suggestion::block(best, &origin, &options.place, today)
    );
    Ok(ExitCode::SUCCESS)
}

/// A station whose days a file or address has, by what a trial makes of it.
pub(super) struct FoundStation {
    /// Its id.
    pub id: String,
    /// Its table of the configuration.
    pub table: String,
    binding: Binding,
    parsed: Parsed,
}

impl FoundStation {
    /// Its first and its last whole day.
    pub fn span(&self) -> Option<(NaiveDate, NaiveDate)> {
        let days = self.parsed.readings.iter();
        let mut whole = days.filter(|(_, reading)| reading.extremes().is_some());
        let (first, _) = whole.next()?;
        Some((*first, newest_complete(&self.parsed.readings)?))
    }

    /// Why its days cannot be of a latitude, if so.
    pub fn misfit(&self, latitude: f64) -> Option<String> {
        let binding = Binding {
            latitude: Some(latitude),
            ..self.binding.clone()
        };
        let refused = vet_alone(&self.parsed, &binding).err();
        refused.map(|rejection| rejection.to_string())
    }
}

/// A station whose days a file or address has.
pub(super) fn found_station(place: &str) -> anyhow::Result<FoundStation> {
    let dialects = dialects(None)?.unwrap_or_default();
    let origin = origin(place);
    let bytes = fetch(&origin)?;
    let today = Clock::Machine.now().date_naive();
    let (fitting, others) = try_dialects(&bytes, &dialects, &Known::default(), today);
    let Some(best) = fitting.first() else {
        bail!("{origin}: {}", why_none(&bytes, &origin, &others));
    };
    if best.dialect.model {
        bail!("{origin}: this is a model's forecast; name a station that measures");
    }
    let table = suggestion::block(best, &origin, place, today);
    Ok(FoundStation {
        id: suggestion::id(best, &origin),
        table: format!("\n{table}\n"),
        binding: Binding {
            dialect: best.dialect.clone(),
            unit: best.unit,
            code: best.code.clone(),
            latitude: None,
        },
        parsed: best.parsed.clone(),
    })
}

/// The dialects to try; `None` if a file with one has problems, which are printed.
fn dialects(name: Option<&str>) -> anyhow::Result<Option<Vec<Dialect>>> {
    if let Some(path) = name.filter(|name| name.ends_with(".toml")) {
        let text = std::fs::read_to_string(path)
            .map_err(|error| anyhow::anyhow!("{path}: cannot be read ({error})"))?;
        return Ok(match dialect_file::read(path, &text) {
            Ok(dialect) => Some(vec![dialect]),
            Err(problems) => {
                print_problems(&problems);
                None
            }
        });
    }
    let all: Vec<Dialect> = dialect_file::BUILT_IN
        .iter()
        .filter_map(|(file, text)| dialect_file::read(file, text).ok())
        .collect();
    let Some(name) = name else {
        return Ok(Some(all));
    };
    let names: Vec<String> = all.iter().map(|dialect| dialect.name.clone()).collect();
    match all.into_iter().find(|dialect| dialect.name == name) {
        Some(dialect) => Ok(Some(vec![dialect])),
        None => bail!(
            "there is no built-in dialect \"{name}\"; there are {}; a dialect of your own is named by its .toml file",
            names.join(", ")
        ),
    }
}

fn origin(place: &str) -> Origin {
    match reqwest::Url::parse(place) {
        Ok(url) if matches!(url.scheme(), "http" | "https") => Origin::Url(url),
        _ => Origin::File(PathBuf::from(place)),
    }
}

fn fetch(origin: &Origin) -> anyhow::Result<Vec<u8>> {
    let policy = FetchPolicy {
        attempts: 1,
        ..FetchPolicy::default()
    };
    let fetcher = Fetcher::new(policy, &user_agent("a trial by hand"), None)?;
    let fetched = runtime()?.block_on(fetcher.fetch(origin, &Validators::default()))?;
    match fetched {
        Fetched::Body { bytes, .. } => Ok(bytes),
        Fetched::NotModified => bail!("{origin}: there is nothing to read"),
    }
}

/// Why no dialect fits: what is wrong with the file for the dialects whose columns it has; without
/// any, what all of them say, or what the file looks like.
fn why_none(bytes: &[u8], origin: &Origin, others: &[Misfit<'_>]) -> String {
    let near: Vec<&Misfit<'_>> = others.iter().filter(|misfit| misfit.has_columns).collect();
    if let [misfit, ..] = near.as_slice() {
        let mut reasons: Vec<String> = vec![misfit.rejection.to_string()];
        for misfit in &near {
            let reason = misfit.rejection.to_string();
            if !reasons.contains(&reason) {
                reasons.push(format!("as {}: {reason}", misfit.dialect.name));
            }
        }
        return reasons.join("\n  ");
    }
    if others.len() > 1
        && let Some(names) = names_in_zip(bytes)
    {
        return of_archive(&names);
    }
    let is_file = matches!(origin, Origin::File(_));
    let reason = |misfit: &Misfit<'_>| of_origin(misfit.rejection.clone(), is_file).to_string();
    let mut reasons = others.iter().map(reason);
    let first = reasons.next().unwrap_or_default();
    if reasons.all(|reason| reason == first) {
        return first;
    }
    let header = others
        .iter()
        .find(|misfit| misfit.dialect.name == "ncei-export")
        .map_or_else(String::new, |misfit| format!(": {}", misfit.rejection));
    let names: Vec<&str> = others
        .iter()
        .map(|misfit| misfit.dialect.name.as_str())
        .collect();
    format!(
        "it has the columns of no dialect that is built in{header}\n  tried: {}\n  For a file of your own write a dialect of your own, as config/dialects/own-station.toml shows, and name it with --dialect",
        names.join(", ")
    )
}

/// Why an archive fits no dialect, and what to do with it.
fn of_archive(names: &[String]) -> String {
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    if names.is_empty() {
        return "this is a zip archive that cannot be read; fetch it again".to_owned();
    }
    format!(
        "this is a zip archive of none of the services whose archives are read; it holds {}: unpack it and try its file of daily rows",
        listed(&names)
    )
}

fn describe(trial: &Trial<'_>, today: NaiveDate) {
    let parsed = &trial.parsed;
    say!(
        "dialect      {}: {}",
        trial.dialect.name,
        trial.dialect.title
    );
    let columns: Vec<String> = trial
        .columns
        .iter()
        .map(|(what, name)| format!("{what} {name}"))
        .collect();
    say!("columns      {}", columns.join(", "));
    say!("unit         {}", unit_words(trial));
    if let Some(words) = value_words(parsed) {
        say!("values       {words}");
    }
    if trial.stations.len() > 1 {
        say!("stations     {}", station_words(trial));
    } else if let Some(code) = &trial.code {
        say!("station      {code}");
    }
    say!("days         {}", day_words(trial));
    if let Some(newest) = newest_complete(&parsed.readings) {
        let days = (today - newest).num_days();
        let count = usize::try_from(days.unsigned_abs()).unwrap_or(usize::MAX);
        let side = if days < 0 { "after" } else { "before" };
        say!(
            "newest day   {newest}, {} {side} today",
            counted(count, "day")
        );
    }
    if parsed.provisional > 0 {
        say!(
            "left out     {}, because such days are still moving",
            counted(parsed.provisional, "row")
        );
    }
    for line in refused_words(&parsed.refused) {
        say!("refused      {line}");
    }
    if parsed.refused.is_empty() {
        say!("refused      nothing");
    }
}

fn unit_words(trial: &Trial<'_>) -> String {
    if let [_] = trial.dialect.units.as_slice() {
        return format!("{}, which is the dialect's only one", trial.unit);
    }
    let (chosen, others): (Vec<_>, Vec<_>) = trial
        .units
        .iter()
        .partition(|tried| tried.unit == trial.unit);
    let mut words = trial.unit.to_string();
    if let Some(Ok(Some(range))) = chosen.first().map(|tried| &tried.outcome) {
        words += &format!(": {range:.1} °C between maximum and minimum on average");
    }
    for tried in others {
        words += &match &tried.outcome {
            Ok(Some(range)) => format!("; {} is possible too ({range:.1} °C)", tried.unit),
            Ok(None) => format!("; {} is possible too", tried.unit),
            Err(rejection) => format!("; not {}: {}", tried.unit, rejection.what),
        };
    }
    words
}

/// What the days come to in °C, so that a wrong unit shows.
fn value_words(parsed: &Parsed) -> Option<String> {
    let days: Vec<_> = parsed
        .readings
        .iter()
        .filter_map(|(day, reading)| Some((*day, reading.extremes()?)))
        .collect();
    let (cold, coldest) = days.iter().min_by(|a, b| a.1.min().total_cmp(&b.1.min()))?;
    let (warm, warmest) = days.iter().max_by(|a, b| a.1.max().total_cmp(&b.1.max()))?;
    let ranges: f64 = days.iter().map(|(_, day)| day.max() - day.min()).sum();
    Some(format!(
        "from {:.1} °C ({cold}) to {:.1} °C ({warm}); maximum and minimum {:.1} °C apart on average",
        coldest.min(),
        warmest.max(),
        ranges / days.len() as f64
    ))
}

fn station_words(trial: &Trial<'_>) -> String {
    let shown: Vec<String> = trial
        .stations
        .iter()
        .take(STATIONS_SHOWN)
        .map(|station| match station.with_extreme {
            0 => format!("{} (no temperatures)", station.code),
            _ => format!("{} ({})", station.code, counted(station.rows, "row")),
        })
        .collect();
    let more = match trial.stations.len().saturating_sub(STATIONS_SHOWN) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let read = trial.code.as_deref().unwrap_or("none");
    format!(
        "{}{more}; read: {read}, another one with --code",
        shown.join(", ")
    )
}

fn day_words(trial: &Trial<'_>) -> String {
    let readings = &trial.parsed.readings;
    let whole = trial.whole_days();
    let (Some(first), Some(last)) = (readings.keys().next(), readings.keys().next_back()) else {
        return format!("none in {}", counted(trial.parsed.rows, "row"));
    };
    let span = (*last - *first).num_days() + 1;
    let absent = usize::try_from(span)
        .unwrap_or(0)
        .saturating_sub(readings.len());
    format!(
        "{first} to {last}: {} with both extremes, {} with one, {} missing; rain on {}",
        counted(whole, "day"),
        readings.len() - whole,
        absent,
        counted(trial.parsed.rain.len(), "day"),
    )
}

fn refused_words(refused: &[RefusedRow]) -> Vec<String> {
    let mut by_reason: BTreeMap<Why, Vec<&RefusedRow>> = BTreeMap::new();
    for row in refused {
        by_reason.entry(row.why).or_default().push(row);
    }
    by_reason
        .into_iter()
        .map(|(why, rows)| {
            let shown: Vec<String> = rows
                .iter()
                .take(ROWS_SHOWN)
                .map(|row| format!("line {} ({})", row.line, row.field))
                .collect();
            let more = match rows.len().saturating_sub(ROWS_SHOWN) {
                0 => String::new(),
                more => format!(" and {more} more"),
            };
            format!("{why}: {}{more}", shown.join(", "))
        })
        .collect()
}

/// The last part of a path without its endings, for names.
fn stem(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    name.split('.').next().unwrap_or_default().to_owned()
}
