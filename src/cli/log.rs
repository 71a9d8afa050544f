//! `hatchbell log`.

use super::{ConfigOption, configuration, or_exit, say, today};
use crate::clock::Clock;
use crate::cycle::site_standings;
use crate::domain::journal::{Deed, check};
use crate::domain::milestone::Milestone;
use crate::store::Store;
use anyhow::bail;
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use std::process::ExitCode;

/// Note what was seen at a site
///
/// A first catch of adults re-anchors the season there: flight is what was seen, and later
/// milestones move with it. In later years it goes on to speak beside the published threshold.
#[derive(Args)]
pub(super) struct Options {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    Catch(CatchOptions),
    Undo(UndoOptions),
    List(ListOptions),
}

/// A trap catch or first sighting of adult beetles
#[derive(Args)]
struct CatchOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The site, by its id
    #[arg(long, value_name = "ID")]
    site: String,
    /// The species, by its id
    #[arg(long, value_name = "ID")]
    species: String,
    /// The day it was seen
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    date: NaiveDate,
    /// A remark to keep with it
    #[arg(long, value_name = "TEXT")]
    remark: Option<String>,
}

/// Take an entry back, by its number
#[derive(Args)]
struct UndoOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The number that `log list` shows
    number: i64,
}

/// List the entries that stand
#[derive(Args)]
struct ListOptions {
    #[command(flatten)]
    config: ConfigOption,
}

pub(super) fn run(options: &Options) -> anyhow::Result<ExitCode> {
    match &options.what {
        What::Catch(options) => catch(options),
        What::Undo(options) => undo(options),
        What::List(options) => list(options),
    }
}

fn catch(options: &CatchOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let site = super::site(&config, &options.site)?;
    if !site.species.contains(&options.species) {
        bail!(
            "{} is not watched for \"{}\"; its species are {}",
            site.id,
            options.species,
            site.species.join(", ")
        );
    }
    let store = Store::open(&config.service.database)?;
    let today = today(&config, &store)?;
    let deed = Deed::Catch {
        species: options.species.clone(),
    };
    check(&deed, options.date, &store.entries(&site.id)?, today, None)?;
    let now = Clock::Machine.now();
    let number = store.log(
        &site.id,
        options.date,
        &deed,
        options.remark.as_deref(),
        now,
    )?;
    let standings = site_standings(&config, &store, options.date)?;
    if let Some(here) = standings
        .iter()
        .find(|here| here.site.id == options.site && here.species.id == options.species)
    {
        let table = config.species[&options.species].threshold(Milestone::AdultFlight);
        let (low, high) = table.range.unwrap_or((table.value, table.value));
        say!(
            "The sum on that day was {:.0} °C·d; the table has flight at {:.0} ({low:.0} to {high:.0}).",
            here.standing.degree_days,
            table.value
        );
    }
    say!(
        "logged as number {number}: {} at {} on {}. The next cycle plans with it; hatchbell outlook {} shows it now.",
        options.species,
        site.name,
        options.date,
        site.id
    );
    Ok(ExitCode::SUCCESS)
}

fn undo(options: &UndoOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let store = Store::open(&config.service.database)?;
    if !store.undo(options.number, Clock::Machine.now())? {
        bail!(
            "there is no entry {} that stands; see log list",
            options.number
        );
    }
    say!("entry {} no longer counts", options.number);
    Ok(ExitCode::SUCCESS)
}

fn list(options: &ListOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let store = Store::open_to_read(&config.service.database)?;
    for (_, site) in config.sites() {
        for entry in store.entries(&site.id)? {
            let of = entry
                .deed
                .species()
                .map_or(String::new(), |species| format!(" of {species}"));
            let remark = entry
                .remark
                .map_or(String::new(), |remark| format!(": {remark}"));
            say!(
                "{:>4}  {}  {}{of} at {}{remark}",
                entry.number,
                entry.day,
                entry.deed.kind(),
                entry.site,
            );
        }
    }
    Ok(ExitCode::SUCCESS)
}
