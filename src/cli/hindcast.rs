//! `hatchbell hindcast`: scores the outlook on past seasons, in tables or JSON.

use super::{ConfigOption, configuration_in_use, counted, or_exit, progress, say};
use crate::clock::Clock;
use crate::config::dialect_file;
use crate::domain::phenology::hindcast::{
    HindcastPlan, LeadScore, PastUsed, Score, ThresholdScore, add, hindcast,
};
use crate::domain::phenology::past_season::{self, PastSeason};
use crate::domain::phenology::season::{MonthDay, Season};
use crate::domain::phenology::season_days::Limits;
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::degree_day::{Method, Model};
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::gaps::Estimates;
use crate::domain::weather::reading::Readings;
use crate::feed::fetch::{FetchPolicy, read_file};
use crate::feed::parse::parse;
use crate::station_feed::dialect::Binding;
use crate::store::Store;
use anyhow::{Context, bail};
use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use serde_json::json;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

mod forecasts;
mod left_out;

use left_out::{Incomplete, LeftOut, incomplete_years};

/// Show how good the outlooks would have been in past seasons
///
/// For each past season of each station, with only the days known by then, issues the outlook 60,
/// 45, 30, 21, 14 and 7 days ahead of a threshold and holds it against what happened: mean absolute
/// error of the likely date, bias (late is positive), how often the 10-90 % range held, and its
/// width. Beside it stand the plain outlook (past seasons taken as they were), by how much the error
/// changes against it and how far that could be chance (years drawn anew, nine tenths), the
/// station's mean date, and last year's date. The threshold is fixed, so that only the weather is scored.
///
/// Without FILES the stations of the configuration are scored by what is stored. What is left out, and
/// why, stands at the end.
#[derive(Args)]
pub(super) struct HindcastOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Thresholds, °C·d over base 10 °C from 1 January by the simple average
    #[arg(long, value_name = "SUM", default_values_t = [560.0, 820.0, 1500.0])]
    threshold: Vec<f64>,
    /// Days by which the data lag behind
    #[arg(long, value_name = "DAYS", default_value_t = 0, value_parser = clap::value_parser!(u32).range(0..=30))]
    lag: u32,
    /// Let only earlier seasons (at least 10) stand for the rest of one, as in real service
    #[arg(long, conflicts_with = "other_decades")]
    earlier_only: bool,
    /// Let only seasons of other blocks of ten years stand for the rest of one
    #[arg(long)]
    other_decades: bool,
    /// Fewest whole seasons a station must have
    #[arg(long, value_name = "SEASONS", default_value_t = 20)]
    seasons: usize,
    /// Most missing days a season may have, those cut off at its ends included
    #[arg(long, value_name = "DAYS", default_value_t = 10)]
    missing: u32,
    /// Only the stations that the constants of the outlook were, or were not, fitted on
    #[arg(long, value_enum)]
    half: Option<Half>,
    /// Score the forecasts that were kept of the configured stations: by days ahead, and what they bring
    #[arg(long, conflicts_with_all = ["files", "half"])]
    forecasts: bool,
    /// Print JSON instead of tables
    #[arg(long)]
    json: bool,
    /// Read FILES by this dialect
    #[arg(long, value_name = "NAME", default_value = "ghcn-extract")]
    dialect: String,
    /// The unit of FILES, where the dialect comes in several
    #[arg(long, value_name = "UNIT", value_parser = super::unit)]
    unit: Option<Unit>,
    /// Station files, one station each
    #[arg(value_name = "FILES")]
    files: Vec<PathBuf>,
}

/// Stations split by the CRC-32 of their name: even ones were used for fitting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Half {
    /// Used for fitting
    Fitted,
    /// Not used for fitting
    HeldOut,
}

impl Half {
    fn holds(self, name: &str) -> bool {
        let mut crc = flate2::Crc::new();
        crc.update(name.as_bytes());
        crc.sum().is_multiple_of(2) == (self == Half::Fitted)
    }
}

const LEADS: [u32; 6] = [60, 45, 30, 21, 14, 7];

pub(super) fn run(options: &HindcastOptions) -> anyhow::Result<ExitCode> {
    if options
        .threshold
        .iter()
        .any(|t| !(1.0..=6000.0).contains(t))
    {
        bail!("--threshold must be from 1 to 6000 °C·d");
    }
    if options.forecasts {
        return forecasts::run(options);
    }
    let stations = if options.files.is_empty() {
        let config = or_exit!(configuration_in_use(&options.config.config)).config;
        let store = Store::open_to_read(&config.service.database)?;
        let mut stations = Vec::new();
        for feed in config.stations.values() {
            stations.push((feed.station.id.clone(), store.readings(&feed.station.id)?));
        }
        stations
    } else {
        read_files(options)?
    };
    let plan = plan(options)?;
    let mut all = Vec::new();
    let mut left_out = Vec::new();
    let mut used = 0;
    let mut seasons_used = 0;
    let bar = progress::steps(stations.len(), "stations scored");
    for (name, readings) in bar.wrap_iter(stations.iter()) {
        if options.half.is_some_and(|half| !half.holds(name)) {
            continue;
        }
        let (seasons, incomplete) = whole_seasons(readings, options.missing);
        let is_used = seasons.len() >= options.seasons;
        if !is_used || !incomplete.is_empty() {
            left_out.push(LeftOut {
                station: name.clone(),
                whole: (!is_used).then_some(seasons.len()),
                incomplete,
            });
        }
        if !is_used {
            continue;
        }
        used += 1;
        seasons_used += seasons.len();
        add(&mut all, hindcast(&seasons, &plan));
    }
    if used == 0 {
        bail!(
            "no station has {} whole seasons; import more history or lower --seasons\n{}",
            options.seasons,
            left_out::text(&left_out, options.missing).trim_end()
        );
    }
    if options.json {
        say!(
            "{}",
            serde_json::to_string_pretty(&as_json(&all, used, seasons_used, &left_out))?
        );
    } else {
        say!(
            "{}, {}, data {} late\n",
            counted(used, "station"),
            counted(seasons_used, "season"),
            counted(options.lag as usize, "day")
        );
        for threshold in &all {
            say!("{}", text(threshold));
        }
        if !left_out.is_empty() {
            say!("{}", left_out::text(&left_out, options.missing).trim_end());
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn plan(options: &HindcastOptions) -> anyhow::Result<HindcastPlan> {
    Ok(HindcastPlan {
        model: Model::new(10.0, None, Method::SimpleAverage)?,
        thresholds: options.threshold.clone(),
        leads: LEADS.to_vec(),
        lag: options.lag,
        past: match (options.earlier_only, options.other_decades) {
            (true, _) => PastUsed::Earlier,
            (false, true) => PastUsed::OtherDecades,
            (false, false) => PastUsed::Others,
        },
    })
}

fn read_files(options: &HindcastOptions) -> anyhow::Result<Vec<(String, Readings)>> {
    let (file, text) = dialect_file::BUILT_IN
        .iter()
        .find(|(file, _)| file.ends_with(&format!("/{}.toml", options.dialect)))
        .with_context(|| format!("there is no built-in dialect \"{}\"", options.dialect))?;
    let dialect = dialect_file::read(file, text).expect("built-in dialects are sound");
    let unit = match options.unit {
        Some(unit) => unit,
        None if dialect.units.len() == 1 => dialect.units[0],
        None => bail!("a {} file does not say its unit; add --unit", dialect.name),
    };
    let binding = Binding {
        dialect,
        unit,
        code: None,
        latitude: None,
    };
    let today = Clock::Machine.now().date_naive();
    let bar = progress::steps(options.files.len(), "files read");
    bar.wrap_iter(options.files.iter())
        .map(|path| Ok((stem(path), read_one(path, &binding, today)?)))
        .collect()
}

fn read_one(path: &Path, binding: &Binding, today: NaiveDate) -> anyhow::Result<Readings> {
    let bytes = read_file(path, FetchPolicy::default().max_bytes)?;
    let parsed = parse(&bytes, binding, today)
        .map_err(|rejection| anyhow::anyhow!("{}, {rejection}", path.display()))?;
    Ok(parsed.readings)
}

fn stem(path: &Path) -> String {
    path.file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}

/// Every whole season from 1 January, and the years of the record that are none.
fn whole_seasons(readings: &Readings, missing: u32) -> (Vec<PastSeason>, Vec<Incomplete>) {
    let start = MonthDay::parse("01-01").expect("a day");
    let Some(last) = readings.keys().next_back() else {
        return (Vec::new(), Vec::new());
    };
    let after = Season::starting_in(Season::containing(*last, start).year + 1, start);
    let limits = Limits {
        longest_gap_days: missing,
        most_estimated_days: missing,
    };
    let mut seasons = past_season::whole_seasons(
        &DailyReadings::from(readings),
        &Estimates::new(),
        start,
        &after,
        limits,
    );
    let mut incomplete = incomplete_years(readings);
    seasons.retain(|season| {
        let lacks = incomplete.iter().find(|year| year.year == season.year);
        lacks.is_none_or(|year| year.missing <= missing)
    });
    // A year of few missing days may still have too long a gap.
    incomplete.retain(|year| seasons.iter().all(|season| season.year != year.year));
    (seasons, incomplete)
}

fn text(score: &ThresholdScore) -> String {
    let row = |title: &str, of: &dyn Fn(&LeadScore) -> f64, digits: usize| {
        let cells: String = score
            .leads
            .iter()
            .map(|lead| format!("{:>8.digits$}", of(lead)))
            .collect();
        format!("  {title:<30}{cells}\n")
    };
    let heads: String = score
        .leads
        .iter()
        .map(|of| format!("{:>8}", format!("{} d", of.lead)))
        .collect();
    let mut text = format!("{:.0} °C·d, days ahead{:>12}{heads}\n", score.threshold, "");
    text += &row(
        "mean absolute error, days",
        &|l| l.seen.mean_absolute_error(),
        2,
    );
    text += &row("  the plain outlook", &|l| l.plain.mean_absolute_error(), 2);
    text += &row(
        "  change, %",
        &|l| l.by_year.change().unwrap_or(f64::NAN),
        1,
    );
    let spread = |l: &LeadScore| l.by_year.spread().unwrap_or((f64::NAN, f64::NAN));
    text += &row("    years drawn anew: from, %", &|l| spread(l).0, 1);
    text += &row("    to, % (nine tenths)", &|l| spread(l).1, 1);
    text += &row("bias, days", &|l| l.seen.bias(), 2);
    text += &row("10-90 % range holds, %", &|l| 100.0 * l.seen.coverage(), 1);
    text += &row("  the plain outlook", &|l| 100.0 * l.plain.coverage(), 1);
    text += &row("mean width of the range, days", &|l| l.seen.width(), 1);
    text += &row("  the plain outlook", &|l| l.plain.width(), 1);
    text += &row("cases", &|l| l.seen.cases as f64, 0);
    text += &format!(
        "  mean date of the other seasons: error {:.2} days; last year's date: {:.2} days\n",
        score.calendar.mean_absolute_error(),
        score.last_year.mean_absolute_error()
    );
    text
}

fn as_json(
    all: &[ThresholdScore],
    stations: usize,
    seasons: usize,
    left_out: &[LeftOut],
) -> serde_json::Value {
    let of = |score: &Score| {
        json!({
            "cases": score.cases,
            "mean_absolute_error_days": score.mean_absolute_error(),
            "bias_days": score.bias(),
            "range_holds": score.coverage(),
            "range_width_days": score.width(),
        })
    };
    let thresholds: Vec<_> = all
        .iter()
        .map(|score| {
            let leads: Vec<_> = score
                .leads
                .iter()
                .map(|one| {
                    json!({
                        "lead_days": one.lead,
                        "outlook": of(&one.seen),
                        "plain": of(&one.plain),
                        "change_percent": one.by_year.change(),
                        "change_spread_percent": one.by_year.spread(),
                    })
                })
                .collect();
            json!({
                "threshold": score.threshold,
                "leads": leads,
                "calendar_error_days": score.calendar.mean_absolute_error(),
                "last_year_error_days": score.last_year.mean_absolute_error(),
            })
        })
        .collect();
    let left_out: Vec<_> = left_out.iter().map(left_out::as_json).collect();
    json!({
        "stations": stations,
        "seasons": seasons,
        "thresholds": thresholds,
        "left_out": left_out,
    })
}
