//! `hatchbell feed confirm` and `refuse`: settles values that are held out of sums.

use super::super::{ConfigOption, configuration_in_use, counted, day, known, or_exit, say};
use crate::clock::Clock;
use crate::feed::vetting::{HeldOut, by_reason, finding, held_words};
use crate::station_feed::memory::{DecidedValue, HeldValue};
use crate::station_feed::parsed::Element;
use crate::store::Store;
use anyhow::bail;
use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use std::process::ExitCode;

/// Which held values are settled.
#[derive(Args)]
pub(super) struct SettleOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The station, by its id in the configuration
    station: String,
    /// The day of the value
    #[arg(value_parser = day, required_unless_present = "all", conflicts_with = "all")]
    day: Option<NaiveDate>,
    /// One of the day's two extremes; without it both
    extreme: Option<Extreme>,
    /// All held values from the day up to this one
    #[arg(long, value_name = "DAY", value_parser = day, requires = "day")]
    to: Option<NaiveDate>,
    /// All held values of the station
    #[arg(long)]
    all: bool,
}

/// An extreme as it is named on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Extreme {
    Max,
    Min,
}

impl SettleOptions {
    fn is_meant(&self, held: &HeldValue) -> bool {
        let element = match self.extreme {
            Some(Extreme::Max) => held.element == Element::Max,
            Some(Extreme::Min) => held.element == Element::Min,
            None => true,
        };
        let within = self.day.is_none_or(|from| {
            let to = self.to.unwrap_or(from);
            (from..=to).contains(&held.day)
        });
        element && within
    }
}

/// Confirms or refuses the values that are meant.
pub(super) fn run(options: &SettleOptions, confirmed: bool) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let id = &options.station;
    known("station", id, config.stations.keys().map(String::as_str))?;
    let mut store = Store::open(&config.service.database)?;
    let (meant, kept): (Vec<HeldValue>, Vec<HeldValue>) = store
        .held_values(id)?
        .into_iter()
        .partition(|held| options.is_meant(held));
    if meant.is_empty() {
        bail!(
            "no such value of {id} is held out of sums; hatchbell check --data lists those that are"
        );
    }
    let decided: Vec<DecidedValue> = meant
        .iter()
        .map(|held| DecidedValue {
            day: held.day,
            element: held.element,
            celsius: held.celsius,
            confirmed,
        })
        .collect();
    store.settle_held(
        id,
        &kept,
        &decided,
        finding(&kept).as_ref(),
        Clock::Machine.now(),
    )?;
    let what = match confirmed {
        true => "taken in, and never held again",
        false => "left out, and not asked about again",
    };
    say!("{id}: {} {what}", counted(meant.len(), "value"));
    for held in &meant {
        say!("  {}", held_words(held));
    }
    if !kept.is_empty() {
        say!("still held: {}", counted(kept.len(), "value"));
    }
    Ok(ExitCode::SUCCESS)
}

/// The commands that settle a held value.
pub(in crate::cli) fn command(station: &str, held: &HeldValue) -> String {
    let extreme = match held.element {
        Element::Max => "max",
        Element::Min => "min",
    };
    format!("hatchbell feed confirm {station} {} {extreme}", held.day)
}

/// What an import has held out, if anything: counts by reason, the newest few, and what to do.
pub(in crate::cli) fn say_held(station: &str, held_out: &HeldOut) {
    if !held_out.released.is_empty() {
        say!("{station}: {}", held_out.released);
    }
    let held = &held_out.held;
    let Some(newest) = held.last().filter(|_| held_out.fresh > 0) else {
        return;
    };
    let newly = match held_out.fresh {
        all if all == held.len() => String::new(),
        fresh => format!(", {fresh} of them new"),
    };
    say!(
        "{station}: held out of sums: {}{newly} ({})",
        counted(held.len(), "value"),
        by_reason(held)
    );
    for held in held.iter().rev().take(SHOWN) {
        say!("  {}", held_words(held));
    }
    say!(
        "  hatchbell check --data lists them all; {} takes one in, feed refuse leaves it out for good",
        command(station, newest)
    );
}

/// Values that are named.
const SHOWN: usize = 3;
