//! `hatchbell check`: whether the configuration can be used, and how good the stored days are.

use super::feed::command;
use super::width::hanging;
use super::{
    ConfigOption, configuration, counted, errors, or_exit, print_problems, say, say_wrapped, today,
};
use crate::clock::Clock;
use crate::config::Config;
use crate::cycle::{daily, is_young, neighbour_of};
use crate::domain::phenology::past_season::past_seasons;
use crate::domain::phenology::season::{MonthDay, Season};
use crate::domain::weather::borrowed::{LentDays, extended_back};
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::gap_score::{GapScore, Way, leave_out};
use crate::domain::weather::gaps::{Estimates, Neighbour};
use crate::domain::weather::observation_day::{Comparison, Likeness, compare};
use crate::domain::weather::sunlit::{sunlit, sunlit_words};
use crate::feed::vetting::held_words;
use crate::station_feed::StationFeed;
use crate::station_feed::memory::HeldValue;
use crate::store::Store;
use crate::surroundings::look;
use chrono::NaiveDate;
use clap::Args;
use std::process::ExitCode;

mod online;

/// Check the configuration, and what it names on this machine
///
/// Reads the configuration and every species, option and dialect file it names, and reports all problems
/// at once as file:line:column; exit code 78 if it cannot be used. Then looks, without touching network
/// or database, at what it names: secrets (there, readable, closed to others, not empty), certificates
/// (readable, not over), files of stations (of their dialect), and the folders that are written to;
/// exit code 1 if the service could not work with something of it. What only the service's own user can
/// see, or what may come by itself, is a warning and leaves the exit code 0.
#[derive(Args)]
pub(super) struct CheckOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Look at the database as well: whether it is sound, history, how well missing days are estimated, whether
    /// a station publishes its maximum or minimum a day late, and which values are held out of sums
    #[arg(long)]
    data: bool,
    /// Ask every feed, sign in at the mail server and connect to every push server, without sending
    /// a message and without storing anything; a line each, exit code 1 if one of them fails
    #[arg(long)]
    online: bool,
}

pub(super) fn run(options: &CheckOptions) -> anyhow::Result<ExitCode> {
    let path = &options.config.config;
    let loaded = or_exit!(configuration(path));
    let found = look(&loaded, Clock::Machine.now());
    print_problems(&found);
    let errors = errors(&found);
    let config = loaded.config;
    if errors > 0 {
        eprintln!(
            "hatchbell: the configuration can be used, but what it names on this machine has {}",
            counted(errors, "error")
        );
    } else {
        say!(
            "{} is fine: {}, {}, {}, {}",
            path.display(),
            counted(config.stations.len(), "station"),
            counted(config.members.len(), "member"),
            counted(config.sites().count(), "site"),
            counted(config.addresses.len(), "recipient"),
        );
    }
    let mut good = errors == 0;
    if options.online {
        good &= online::say_who_answers(&config)?;
    }
    if options.data {
        let store = Store::open_to_read(&config.service.database)?;
        if !is_sound(&store)? {
            return Ok(ExitCode::FAILURE);
        }
        let today = today(&config, &store)?;
        for feed in config.stations.values() {
            super::print(format_args!("{}", station(&config, &store, feed, today)?));
        }
    }
    Ok(match good {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    })
}

/// Whether SQLite finds nothing wrong; what it finds is printed.
fn is_sound(store: &Store) -> anyhow::Result<bool> {
    let faults = store.faults()?;
    if faults.is_empty() {
        return Ok(true);
    }
    say!("the database is damaged:");
    for fault in &faults {
        super::print(format_args!("{}", hanging("  ", fault)));
    }
    say_wrapped(
        "Stop the service and put a backup in its place: hatchbell restore FILE. The damaged one is kept.",
    );
    Ok(false)
}

/// Lengths of the gaps that are tried.
const BLOCKS: [u32; 3] = [1, 5, 15];

fn station(
    config: &Config,
    store: &Store,
    feed: &StationFeed,
    today: NaiveDate,
) -> anyhow::Result<String> {
    let readings = daily(store, feed, today)?;
    let mut around: Vec<(&StationFeed, DailyReadings)> = Vec::new();
    for id in &feed.station.neighbours {
        if let Some(neighbour) = config.station(id) {
            around.push((neighbour, daily(store, neighbour, today)?));
        }
    }
    let neighbours: Vec<Neighbour<'_>> = around
        .iter()
        .map(|(neighbour, readings)| neighbour_of(feed, neighbour, readings))
        .collect();
    let mut text = format!(
        "\n{}: {}\n",
        feed.station.name,
        history(config, &readings, today)
    );
    for block in BLOCKS {
        for (way, name) in [
            (Way::Neighbours, "neighbours"),
            (Way::Line, "straight line"),
            (Way::Climatology, "own other years"),
        ] {
            let score = leave_out(&readings, &neighbours, way, block);
            text += &gap_words(block, name, &score);
        }
    }
    if let Some((neighbour, reference)) = around.first()
        && let Some(comparison) = compare(&readings, reference)
    {
        text += &day_words(feed, neighbour, &comparison);
    }
    if let Some((neighbour, reference)) = around.first()
        && let Some(sunlit) = sunlit(&readings, reference, today, false)
    {
        let words = sunlit_words(&sunlit, &neighbour.station.name);
        text += &format!(
            "  warning: {words} Its sums run ahead; hang it in the shade or a screen, or use another station\n"
        );
    }
    if is_young(&readings, today)
        && let Some(back) = extended_back(&readings, &neighbours)
    {
        for lender in &back.lenders {
            text += &lent_words(&around[lender.place].0.station.name, lender, back.own_from);
        }
    }
    text += &held(feed, &store.held_values(&feed.station.id)?);
    Ok(text)
}

fn history(config: &Config, readings: &DailyReadings, today: NaiveDate) -> String {
    let start = MonthDay::parse("01-01").expect("a day");
    let season = Season::containing(today, start);
    let past = past_seasons(readings, &Estimates::new(), start, &season, config.limits);
    match (readings.first_day(), readings.last_day()) {
        (Some(first), Some(last)) => format!(
            "{} from {first} to {last}, {} before this year",
            counted(readings.known_days(), "day"),
            counted(past.len(), "whole calendar year"),
        ),
        _ => "nothing stored; import its history".to_owned(),
    }
}

/// The days that a neighbour lends to a record that is too short, and by how much they are moved.
fn lent_words(neighbour: &str, lender: &LentDays, own_from: NaiveDate) -> String {
    let mut text = format!(
        "  {} before {own_from} come from {neighbour}, minimum and maximum moved by month, °C:",
        counted(lender.days, "day")
    );
    let months: Vec<String> = MONTHS
        .iter()
        .zip(lender.added.0)
        .map(|(month, (min, max))| format!("{month} {min:+.1} {max:+.1}"))
        .collect();
    for line in months.chunks(4) {
        text += &format!("\n    {}", line.join("  "));
    }
    text + "\n"
}

/// The months in short.
const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

fn gap_words(block: u32, way: &str, score: &GapScore) -> String {
    if score.days == 0 {
        return String::new();
    }
    format!(
        "  gaps of {:>2} d by {way:<16} minimum ±{:.1} °C, maximum ±{:.1} °C, a day's sum ±{:.2} °C·d ({:+.2} on average, {})\n",
        block,
        score.min_c(),
        score.max_c(),
        score.degree_days(),
        score.degree_day_bias(),
        counted(score.days, "day left out"),
    )
    .replace("day left outs", "days left out")
}

/// The values that are held out of sums, each with the command that takes it in.
fn held(feed: &StationFeed, held: &[HeldValue]) -> String {
    if held.is_empty() {
        return String::new();
    }
    let mut text = format!(
        "  held out of sums: {}; \"refuse\" instead of \"confirm\" leaves one out for good\n",
        counted(held.len(), "value")
    );
    for value in held {
        let id = &feed.station.id;
        text += &format!("    {}\n      {}\n", held_words(value), command(id, value));
    }
    text
}

fn day_words(feed: &StationFeed, neighbour: &StationFeed, comparison: &Comparison) -> String {
    let line = |name: &str, key: &str, likeness: Likeness, late: bool| {
        let advice = if late {
            format!("; set {key} = \"day-before\" for this station")
        } else {
            String::new()
        };
        format!(
            "  {name} beside {}: correlation {:.2} with the same day, {:.2} with the day before{advice}\n",
            neighbour.station.name, likeness.same_day, likeness.day_before
        )
    };
    let shift = feed.station.day_shift;
    let set = if shift.min || shift.max {
        "  (as set: extremes are already moved to the day before where the station says so)\n"
    } else {
        ""
    };
    format!(
        "{}{}{set}",
        line(
            "minimum",
            "minimum_belongs_to",
            comparison.min,
            comparison.min_is_day_late()
        ),
        line(
            "maximum",
            "maximum_belongs_to",
            comparison.max,
            comparison.max_is_day_late()
        ),
    )
}
